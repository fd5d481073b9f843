"""What a person states of an oven, and what one commit writes about ovens."""

from dataclasses import dataclass, field
from enum import StrEnum

from monitor.model.cycle import OvenRecord
from monitor.model.cycle_record import CycleNote
from monitor.model.oven_air import OvenAir
from monitor.model.oven_run import OvenRun


class FactKind(StrEnum):
    CHECKLIST = "checklist"  # its value: the items that were ticked, joined by commas (B-40)
    CUTOUT = "cutout"  # an independent thermal cut-out with manual reset is fitted (B-51)
    PROOF_TEST = "proof_test"  # the yearly test with its numbers, as JSON (B-50); "passed" in old rows
    # Its steps, as they are done one by one; JSON of what was entered.
    PROOF_CUTOUT = "proof_cutout"
    PROOF_SENSOR = "proof_sensor"
    PROOF_LEASE = "proof_lease"
    PROOF_POWER = "proof_power"
    PROOF_STOP = "proof_stop"
    MEASURED = "measured"  # what the newest commissioning run without problems tells, as JSON
    LEARNED = "learned"  # what a person accepted of one, as JSON; empty = taken back


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenFact:
    oven: str
    at_s: float
    kind: FactKind
    value: str
    who: str


@dataclass(slots=True, kw_only=True)
class OvenChanges:
    """Part of a batch; applying it twice would write records twice, so the store takes it once."""

    states: dict[str, str] = field(default_factory=dict)  # oven -> what its supervision remembers, as text
    records: list[OvenRecord] = field(default_factory=list)
    first_outs: dict[tuple[str, str], str] = field(default_factory=dict)  # (oven, trip) -> as text
    facts: list[OvenFact] = field(default_factory=list)
    air: list[OvenAir] = field(default_factory=list)
    cycles: dict[tuple[str, str], CycleNote] = field(default_factory=dict)  # (oven, cycle)
    runs: dict[tuple[str, str], OvenRun] = field(default_factory=dict)  # (oven, run), replaces what was kept

    def is_empty(self) -> bool:
        noted = self.air or self.cycles or self.runs
        return not (self.states or self.records or self.first_outs or self.facts or noted)
