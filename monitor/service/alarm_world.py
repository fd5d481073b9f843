"""What the desk of alarms needs of the rest of the service, and where its table and rules come from."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from monitor.alarms.hiding import Cause
from monitor.alarms.sampling import faults_of
from monitor.errors import BadInputError
from monitor.model.alarm_change import AlarmChanges
from monitor.model.alarm_row import AlarmRow
from monitor.model.answers import StatusAnswer
from monitor.model.audit import AuditEntry
from monitor.model.condition import Condition
from monitor.model.hiding_rule import HidingRule
from monitor.model.message import Message

DRYING = "drying"  # mode of an oven with a cycle in it
COOLING = "cooling"


# What was told before, the status and now [Unix s] -> what is to be told, and what has been then.
Notices = Callable[[frozenset[str], StatusAnswer, float], tuple[tuple[Message, ...], frozenset[str]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSources:
    """The alarm table and the rules behind it."""

    rows: Mapping[str, AlarmRow] = field(default_factory=dict)
    rules: Mapping[str, HidingRule] = field(default_factory=dict)
    conditions: Callable[[StatusAnswer, float], tuple[Condition, ...]] = lambda _status, _now_s: ()
    notices: Notices = lambda previous, _status, _now_s: ((), previous)

    def __post_init__(self) -> None:
        """BadInputError for a row that breaks A-17 or names a rule that there is not."""
        for row in self.rows.values():
            faults = [
                *faults_of(row),
                *(f"{row.type}: no rule {name}" for name in row.hidden_by if name not in self.rules),
            ]
            if faults:
                raise BadInputError(f"alarm table: {faults[0]}")


class AlarmWorld(Protocol):
    """What the desk needs of the rest of the service. All of it is called on the worker's thread."""

    rows: Mapping[str, AlarmRow]
    rules: Mapping[str, HidingRule]

    def is_ready(self) -> bool:
        """False while the past is still being read in: everything looks old then (A-23)."""

    def status(self) -> StatusAnswer: ...

    def conditions(self, status: StatusAnswer, now_s: float) -> tuple[Condition, ...]: ...

    def notices(
        self, previous: frozenset[str], status: StatusAnswer, now_s: float
    ) -> tuple[tuple[Message, ...], frozenset[str]]:
        """What comes due, and was not told before."""

    def modes(self, status: StatusAnswer) -> frozenset[Cause]:
        """What goes on at places that explains alarms, such as ("drying", oven)."""

    def note(self, changes: AlarmChanges) -> None:
        """Into the batch that is committed next."""

    def audit(self, *entries: AuditEntry) -> None: ...

    def tell(self, messages: Sequence[Message]) -> None:
        """To delivery, within the same batch."""

    def publish(self, topic: str, payload: bytes) -> bool:
        """Retained; whether it will be sent."""

    def is_connected(self) -> bool: ...


class ServiceAlarmWorld:
    """Implements the desk's AlarmWorld on the worker's thread."""

    def __init__(
        self,
        sources: AlarmSources,
        *,
        status: Callable[[], StatusAnswer],
        note: Callable[[AlarmChanges], None],
        audit: Callable[..., None],
        tell: Callable[[Sequence[Message]], None],
        publish: Callable[[str, bytes], bool],
        is_connected: Callable[[], bool],
        is_ready: Callable[[], bool] = lambda: True,
    ) -> None:
        self.rows = sources.rows
        self.rules = sources.rules
        self._conditions = sources.conditions
        self._notices = sources.notices
        self.status = status
        self.note = note
        self._audit = audit
        self.tell = tell
        self.publish = publish
        self.is_connected = is_connected
        self.is_ready = is_ready

    def conditions(self, status: StatusAnswer, now_s: float) -> tuple[Condition, ...]:
        return self._conditions(status, now_s)

    def notices(
        self, previous: frozenset[str], status: StatusAnswer, now_s: float
    ) -> tuple[tuple[Message, ...], frozenset[str]]:
        return self._notices(previous, status, now_s)

    def audit(self, *entries: AuditEntry) -> None:
        self._audit(*entries)

    def modes(self, status: StatusAnswer) -> frozenset[Cause]:
        """A cycle that runs in an oven, and one that cools after it; both also of what lies in it."""
        found = set()
        for oven in status.ovens:
            mode = DRYING if oven.cycle is not None else COOLING if oven.hot else None
            if mode is not None:
                found.add((mode, oven.key))
                found |= {(mode, spool.key) for spool in status.spools if spool.place == oven.key}
        return frozenset(found)
