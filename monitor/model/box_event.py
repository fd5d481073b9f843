"""What a person tells of a box's desiccant, and what the estimator noticed by itself."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from monitor.model.inventory import Box, Charge
from monitor.model.records import Withdrawn, effective


class Colour(StrEnum):
    """What indicating beads look like; it turns gradually, and above the humidity that filament asks for."""

    DRY = "dry"
    TURNING = "turning"
    TURNED = "turned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recharged:
    """The desiccant was changed: from then on this charge is inside."""

    kind: ClassVar[str] = "recharged"
    desiccant: str  # key of the desiccant table
    dry_g: float
    loading_pct: float | None = None  # water [% of dry mass] when filled; None = dry as usual
    is_regenerated: bool = False  # came from the oven, not from a shut tin


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeWeighed:
    """The charge on a scale, without bag or tray [g]."""

    kind: ClassVar[str] = "weighed"
    mass_g: float
    resolution_g: float  # smallest step of the scale


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSeen:
    """What the beads looked like."""

    kind: ClassVar[str] = "colour"
    colour: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class NothingDone:
    """The answer to a question: nobody changed anything about that time."""

    kind: ClassVar[str] = "nothing_done"


BoxWhat = Recharged | ChargeWeighed | ColourSeen | NothingDone | Withdrawn


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxEvent:
    """One record. Records are never changed: a correction is a new one that names what it replaces."""

    box: str
    at_s: float  # when it happened
    entered_s: float
    who: str
    what: BoxWhat
    event_id: int = 0  # given by the store
    replaces: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxHistory:
    """All that was ever stated about one box."""

    versions: tuple[tuple[int, Box | None], ...]  # (from_ms, as the inventory had it), oldest first
    events: tuple[BoxEvent, ...] = ()  # by event_id

    def present(self) -> Box | None:
        """As the inventory's newest version has it."""
        return self.versions[-1][1] if self.versions else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Noticed:
    """What the estimator saw happen, worked out from readings: gone when these are seen in a new light."""

    box: str
    at_ms: int
    kind: str  # of `monitor.estimate.box_lid.EventKind`
    water_g: float = 0.0  # let in
    step_pct: float = 0.0  # of a sensor [%RH]
    found_ms: int = 0  # readings up to this time told it


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCheckpoint:
    """The computed state of a box at a time, packed; may be deleted at any time and computed anew."""

    box: str
    at_ms: int
    content: bytes
    loading_pct: tuple[float, float, float]  # p10, p50, p90


def charges(history: BoxHistory) -> tuple[tuple[int, Charge | None], ...]:
    """Every charge that was ever inside, (from_ms, charge), by time.

    The inventory file states a charge only where it says another one than before: loading the same file
    again changes no desiccant.
    """
    stated: list[tuple[int, int, Charge | None]] = []
    before: Charge | None = None
    for number, (from_ms, box) in enumerate(history.versions):
        charge = None if box is None else box.desiccant
        if number == 0 or charge != before:
            stated.append((from_ms, 0, charge))
        before = charge
    stated += [
        (round(event.at_s * 1000), event.event_id, _charge(event.what, event.at_s))
        for event in effective(history.events)
        if isinstance(event.what, Recharged)
    ]
    return tuple((from_ms, charge) for from_ms, _, charge in sorted(stated, key=lambda item: item[:2]))


def told_of(history: BoxHistory, *kinds: type) -> Sequence[BoxEvent]:
    """Standing records of some kinds, by time."""
    return [event for event in effective(history.events) if isinstance(event.what, kinds)]


def _charge(what: Recharged, at_s: float) -> Charge:
    return Charge(kind=what.desiccant, dry_g=what.dry_g, loading_pct=what.loading_pct, filled_s=at_s)
