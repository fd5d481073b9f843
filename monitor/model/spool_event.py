"""What happens to a spool and a person tells: events that may be entered late and corrected."""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from monitor.model.inventory import Spool
from monitor.model.records import Withdrawn, effective, stated_at


class Sign(StrEnum):
    """What is seen or heard at the printer; each says something about water, or about something else."""

    POPPING = "popping"  # pops, hiss, steam at the nozzle
    BUBBLES = "bubbles"  # bubbles in the strand or pits in the wall
    STRINGS = "strings"
    MATT = "matt"  # rough, matt or fuzzy surface
    WEAK = "weak"  # layers part easily
    SNAPS = "snaps"  # the filament breaks in the hand or the tube
    SOFT = "soft"  # sticky, soft or cloudy filament
    CLEAN = "clean"  # prints clean and quiet


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """From then on it is at this place; None = nobody knows where."""

    kind: ClassVar[str] = "moved"
    place: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bagged:
    """Sealed in a tight bag: from then on its water stays as it is."""

    kind: ClassVar[str] = "bagged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """Its bag was opened: from then on the air of its place reaches it."""

    kind: ClassVar[str] = "opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """Filament printed off it [g]."""

    kind: ClassVar[str] = "used"
    grams: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A weighing of the spool with its reel [g]."""

    kind: ClassVar[str] = "weighed"
    mass_g: float
    resolution_g: float  # smallest step of the scale
    repeats: int = 1  # readings that `mass_g` is the mean of
    is_warm: bool = False  # still warm from drying: the air it moves lifts the reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Dried:
    """Dried in something that this program does not watch; the event's time is its end."""

    kind: ClassVar[str] = "dried"
    temperature_c: float
    hours: float
    room_humidity_pct: float | None = None  # of the air drawn in; None = that of its place


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What its prints show."""

    kind: ClassVar[str] = "signs"
    seen: tuple[Sign, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoiled:
    """A person judged it beyond saving."""

    kind: ClassVar[str] = "spoiled"
    why: str


What = Moved | Bagged | Opened | Used | Weighed | Dried | Signs | Spoiled | Withdrawn


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolEvent:
    """One record. Records are never changed: a correction is a new one that names what it replaces."""

    spool: str
    at_s: float  # when it happened
    entered_s: float
    who: str
    what: What
    event_id: int = 0  # given by the store
    replaces: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolHistory:
    """All that was ever stated about one spool."""

    versions: tuple[tuple[int, Spool | None], ...]  # (from_ms, as the inventory had it), oldest first
    events: tuple[SpoolEvent, ...] = ()  # by event_id

    def present(self) -> Spool | None:
        """As the inventory's newest version has it."""
        return self.versions[-1][1] if self.versions else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """The computed state of a spool at a time, packed; may be deleted at any time and computed anew."""

    spool: str
    at_ms: int
    content: bytes
    mean_pct: tuple[float, float, float]  # p10, p50, p90
    outer_pct: tuple[float, float, float]


_NOTHING = object()  # unlike any place, None among them


def place_at(history: SpoolHistory, at_ms: int) -> str | None:
    """Where it was at a time: the newest statement up to then, of the inventory or of a move."""
    return stated_at(places(history), at_ms, None)


def places(history: SpoolHistory) -> tuple[tuple[int, str | None], ...]:
    """Every statement of where it is, (from_ms, place), by time.

    The inventory file states a place only where it says another one than before: loading the same file
    again moves nothing.
    """
    stated: list[tuple[int, int, str | None]] = []
    before: object = _NOTHING
    for from_ms, spool in history.versions:
        place = None if spool is None else spool.place
        if place != before:
            stated.append((from_ms, 0, place))
        before = place
    stated += [
        (round(event.at_s * 1000), event.event_id, event.what.place)
        for event in effective(history.events)
        if isinstance(event.what, Moved)
    ]
    return tuple((from_ms, place) for from_ms, _, place in sorted(stated, key=lambda item: item[:2]))
