"""Records that are never changed: which of them stand after corrections and withdrawals."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Protocol, TypeVar

_Value = TypeVar("_Value")


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn:
    """The record that this one replaces is not true."""

    kind: ClassVar[str] = "withdrawn"
    why: str


class Record(Protocol):
    """One thing that a person told."""

    @property
    def at_s(self) -> float: ...

    @property
    def event_id(self) -> int: ...

    @property
    def replaces(self) -> int | None: ...

    @property
    def what(self) -> object: ...


_Record = TypeVar("_Record", bound=Record)


def effective(records: Iterable[_Record]) -> tuple[_Record, ...]:
    """What holds now, by time: without what was replaced, withdrawn, or itself withdraws."""
    records = tuple(records)
    gone = {record.replaces for record in records if record.replaces is not None}
    left = [r for r in records if r.event_id not in gone and not isinstance(r.what, Withdrawn)]
    return tuple(sorted(left, key=lambda record: (record.at_s, record.event_id)))


def stated_at(stated: Sequence[tuple[int, _Value]], at_ms: int, otherwise: _Value) -> _Value:
    """The newest of statements (from_ms, value), which are sorted by time, up to a time."""
    value = otherwise
    for from_ms, each in stated:
        if from_ms > at_ms:
            break
        value = each
    return value
