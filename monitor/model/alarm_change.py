"""What a commit writes of alarms, and what was kept of them."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAlarm:
    """An alarm's state as text; `shown` is beside it so that only what is not normal need be read."""

    shown: str
    content: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmTransition:
    """One line of the log of transitions; never changed (A-13)."""

    number: int  # +1 each, of all alarms of the site
    at_ms: int  # Unix time UTC
    key: str
    type: str
    place: str
    activation: str
    what: str  # one of alarms.events.WHAT
    was: str  # state shown before
    now: str
    priority: str
    who: str
    waited_s: float | None = None  # of an activation: how long it held before it; None = not kept
    told: bool = False  # people were told in this step


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmFigure:
    """A number of the alarm table as a person set it (A-32). The newest of a (type, name) holds."""

    type: str
    name: str
    old: float | None
    value: float | None  # None = as in the table again
    who: str
    why: str
    at_ms: int


@dataclass(slots=True, kw_only=True)
class AlarmChanges:
    states: dict[str, KeptAlarm] = field(default_factory=dict)  # by key
    log: list[AlarmTransition] = field(default_factory=list)
    figures: list[AlarmFigure] = field(default_factory=list)

    def is_empty(self) -> bool:
        return not (self.states or self.log or self.figures)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmsKept:
    """What the service must know of alarms when it starts again."""

    states: dict[str, str] = field(default_factory=dict)  # text by key
    newest_number: int = 0
    figures: tuple[AlarmFigure, ...] = ()  # all, oldest first
