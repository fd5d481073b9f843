"""One row of the alarm table: why a kind of alarm exists, when it is raised and what is done then (A-29)."""

from dataclasses import dataclass
from enum import StrEnum


class AlarmClass(StrEnum):
    PROCESS = "process"
    INSTRUMENT = "instrument"
    SYSTEM = "system"
    SAFETY = "safety"


class Consequence(StrEnum):
    """What comes of doing nothing; with the time to respond it gives the priority (A.6)."""

    NUISANCE = "nuisance"  # a print is done again
    SPOILED = "spoiled"  # a spool is spoiled, or several boxes get wet
    EQUIPMENT = "equipment"
    PERSON = "person"  # somebody is hurt, or it burns


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRow:
    """Durations in seconds, deadbands in the unit of the compared value."""

    type: str
    alarm_class: AlarmClass
    name: str  # two or three words for a list
    causes: tuple[str, ...]
    consequence: Consequence
    why: str  # the consequence in words
    act: str  # imperative, doable by whoever stands there
    respond_s: float  # time to respond where no model tells one
    set_point: str  # in words, with its unit
    basis: str  # where the set-point comes from
    deadband: float  # one-sided
    on_delay_s: float  # covered time
    off_delay_s: float
    k: int  # of the newest n samples so many must hold
    n: int
    latches: bool = False  # until a reset
    realarm_s: float | None = None  # acknowledged and still so after this: told again
    shelve_max_s: float  # 0 = cannot be shelved
    hidden_by: tuple[str, ...] = ()  # rules that may hide it
    test: str  # where it is shown to be raised end to end
