"""What is kept of one alarm: three axes that are independent, and the state shown that follows."""

import hashlib
import re
from dataclasses import dataclass
from enum import StrEnum

from monitor.model.alarm_row import AlarmClass, AlarmRow
from monitor.model.message import Priority


class Shown(StrEnum):
    """The states of A.1."""

    NORM = "norm"
    UNACK = "unack"
    ACKED = "acked"
    RTNUN = "rtnun"
    LATCHD = "latchd"
    SHLVD = "shlvd"
    DSUPR = "dsupr"
    OOSRV = "oosrv"


class Suppression(StrEnum):
    NONE = "none"
    SHELVED = "shelved"
    DESIGNED = "designed"
    OUT_OF_SERVICE = "out_of_service"


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the rule said of it last: numbers in the row's unit, and the sentences."""

    value: float | None = None
    limit: float | None = None
    deadline_s: float | None = None  # Unix s
    what: str = ""
    why: str = ""
    act: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Put aside by a person for a bounded time (A-06)."""

    since_s: float
    lasts_s: float
    elapsed_s: float = 0.0
    one_shot: bool
    who: str
    why: str

    def is_over(self, wall_s: float) -> bool:
        """By either clock, whichever is sooner: a clock that is set back makes no shelf longer."""
        return max(self.elapsed_s, wall_s - self.since_s) >= self.lasts_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Hiding:
    """Hidden by a declared rule while its cause lasts, for a bounded time (A-26, A-27)."""

    rule: str
    text: str
    since_s: float
    lasts_s: float
    elapsed_s: float = 0.0
    is_over: bool = False  # its time is up: it hides no more, though its cause still lasts

    def is_due(self, wall_s: float) -> bool:
        return max(self.elapsed_s, wall_s - self.since_s) >= self.lasts_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """Out of service by hand; nothing ends it but a person, so it is brought to mind each day (A-08)."""

    since_s: float
    who: str
    why: str
    reminded: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmState:
    """One row of the alarm table at one place. Durations in seconds, points in time in Unix seconds."""

    key: str  # as in its topic
    type: str
    place: str  # inventory key; may be empty
    active: bool = False  # the condition, after its delays
    frozen_since_s: float | None = (
        None  # it cannot be told since then; `active` is what was known last
    )
    acked: bool = True
    latched: bool = False
    shelf: Shelf | None = None
    hiding: Hiding | None = None
    away: Away | None = None
    count: int = 0  # activations and re-alarms so far
    activation: str = ""  # names the newest of them
    since_s: float | None = None  # when it became active
    told: bool = False  # people were told of this activation
    told_priority: Priority = Priority.NOTICE  # the most urgent that they were told
    priority: Priority = Priority.LOW
    acked_by: str = ""
    acked_for_s: float = 0.0  # towards the re-alarm
    pending_s: float | None = None  # covered time that a change has waited for its delay
    window: tuple[bool, ...] = ()  # the newest samples, for k of n
    sample: str = ""  # names the newest of them
    said: Said = Said()

    @property
    def condition(self) -> bool | None:
        """As known now; None while it cannot be told."""
        return None if self.frozen_since_s is not None else self.active

    @property
    def suppression(self) -> Suppression:
        """The one that is shown where there are several."""
        if self.away is not None:
            return Suppression.OUT_OF_SERVICE
        if self.shelf is not None:
            return Suppression.SHELVED
        if self.hiding is not None and not self.hiding.is_over:
            return Suppression.DESIGNED
        return Suppression.NONE

    @property
    def beneath(self) -> Shown:
        """The state without suppression."""
        if self.active:
            return Shown.ACKED if self.acked else Shown.UNACK
        if not self.acked:
            return Shown.RTNUN
        return Shown.LATCHD if self.latched else Shown.NORM

    @property
    def shown(self) -> Shown:
        return _HIDDEN.get(self.suppression, self.beneath)


_HIDDEN = {
    Suppression.SHELVED: Shown.SHLVD,
    Suppression.DESIGNED: Shown.DSUPR,
    Suppression.OUT_OF_SERVICE: Shown.OOSRV,
}
_KEY_MAX = 63
_NOT_OF_A_KEY = re.compile(r"[^a-z0-9_-]")


def alarm_key(kind: str, place: str) -> str:
    """The key of a type at a place; with a hash where it would not fit a topic as it is."""
    whole = f"{kind}-{place}" if place else kind
    key = _NOT_OF_A_KEY.sub("-", whole.lower())
    return key if key == whole and len(key) <= _KEY_MAX else f"{key[:50]}-{_digest(whole)[:12]}"


def begin(kind: str, place: str) -> AlarmState:
    """An alarm that has never been raised."""
    return AlarmState(key=alarm_key(kind, place), type=kind, place=place)


def activation_id(key: str, count: int, wall_s: float) -> str:
    """At most 32 characters that a push topic may hold; never the same for another activation."""
    return f"{_digest(key)[:10]}-{count:x}-{max(round(wall_s), 0):x}"


def is_safety(state: AlarmState, row: AlarmRow) -> bool:
    """Such an alarm is never hidden, held back or grouped."""
    return row.alarm_class is AlarmClass.SAFETY or state.priority is Priority.SAFETY


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
