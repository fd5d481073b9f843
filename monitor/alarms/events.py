"""What happens to an alarm, and what comes of it."""

from dataclasses import dataclass, field

from monitor.alarms.state import Said
from monitor.model.message import MessageKind, Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """When an event happens, and whether people may be told of what is no matter of safety."""

    wall_s: float
    elapsed_s: float = 0.0  # monotonic, since this alarm was stepped last
    is_quiet: bool = False  # settling or silenced


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """The rule looked. `covered_s` is monotonic time since it looked before with data all the way (A-16)."""

    holds: bool | None
    priority: Priority
    covered_s: float = 0.0
    sample: str = ""  # names the reading it rests on; empty = each look is one
    said: Said = field(default_factory=Said)


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledged:
    activation: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelved:
    lasts_s: float
    one_shot: bool
    why: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unshelved:
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Silenced:
    """Noise stops for a while, which changes no alarm: it is neither seen nor reset by that (A-05)."""

    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OutOfService:
    why: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned:
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ResetAsked:
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticked:
    """Time passes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignSuppressed:
    rule: str
    text: str
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignLifted:
    """The cause is gone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarted:
    """The program starts: what was kept is as it was (A-12)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vanished:
    """Its place or its row is no more."""

    why: str


Event = (
    Sampled
    | Acknowledged
    | Shelved
    | Unshelved
    | Silenced
    | OutOfService
    | Returned
    | ResetAsked
    | Ticked
    | DesignSuppressed
    | DesignLifted
    | Restarted
    | Vanished
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tell:
    """People are to be told; `occurrence` is the activation, or names a reminder."""

    kind: MessageKind
    occurrence: str
    priority: Priority


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A line for the log of transitions (A-13). `what` is one of WHAT."""

    what: str
    who: str
    why: str = ""
    waited_s: float | None = None  # of an activation: covered time that enough samples held before it


WHAT = (
    "activated",
    "cleared",
    "worse",
    "told again",
    "acknowledged",
    "shelved",
    "unshelved",
    "shelf over",
    "out of service",
    "returned",
    "reset",
    "hidden",
    "shown again",
    "hidden too long",
    "frozen",
    "known again",
    "vanished",
)
Effect = Tell | Noted
