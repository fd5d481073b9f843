"""What is told and found of a sensor: checks, comparisons, corrections, and what of them holds when."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import ClassVar

from monitor.model.records import Withdrawn, effective

TOLERANCE_PCT = 1.8  # of the data sheet of an SHT40, typical [%RH]
INTERVAL_MONTHS = 12
FAILED_INTERVAL_MONTHS = 6
# Drier than in the dampest corner [%RH]. One sensor tells two places apart by about 1 %RH, and may itself be
# off by as much as this: to move it for less makes nothing surer.
MISPLACED_PCT = 2.0


class Verdict(StrEnum):
    """What a check says of a sensor."""

    WITHIN = "within"  # its data sheet's tolerance
    CORRECT = "correct"
    REPLACE = "replace"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """True humidity = offset + gain x reading [%RH]. Readings stay as they came (A-35)."""

    offset_pct: float = 0.0
    gain: float = 1.0

    def corrected(self, reading_pct: float) -> float:
        """What is held to be so [%RH], within 0 to 100."""
        return min(max(self.offset_pct + self.gain * reading_pct, 0.0), 100.0)


NO_CORRECTION = Correction()


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """From then on this sensor is on the channel; what held for the one before does not hold for it."""

    kind: ClassVar[str] = "installed"
    serial: str
    tolerance_pct: float = TOLERANCE_PCT  # of its data sheet [%RH]
    interval_months: int = INTERVAL_MONTHS  # between checks


@dataclass(frozen=True, slots=True, kw_only=True)
class InJar:
    """Put over a salt: from then on its readings are not those of its place."""

    kind: ClassVar[str] = "in_jar"
    salt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """Back at its place."""

    kind: ClassVar[str] = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """Settled over a salt: what it read there, and what it should have read."""

    kind: ClassVar[str] = "checked"
    salt: str
    temperature_c: float
    reading_pct: float  # raw
    shown_pct: float  # with the correction that stood
    reference_pct: float
    uncertainty_pct: float  # of the reference, 95 %
    tolerance_pct: float  # that was asked of it

    @property
    def error_pct(self) -> float:
        """As found: of what was shown [%RH]."""
        return self.shown_pct - self.reference_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Side by side with others in the same air."""

    kind: ClassVar[str] = "compared"
    others: tuple[str, ...]  # channels
    shown_pct: float
    others_pct: float  # median of what the others showed
    allowed_pct: float  # that they may differ by, after their data sheets
    is_odd: bool  # the one of three or more that differs

    @property
    def difference_pct(self) -> float:
        return self.shown_pct - self.others_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionSet:
    """From then on readings are corrected so; an offset of 0 and a gain of 1 end a correction."""

    kind: ClassVar[str] = "correction_set"
    offset_pct: float
    gain: float
    uncertainty_pct: float | None = None  # of what it leaves, 95 %, where the place usually is
    checks: tuple[int, ...] = ()  # records that it rests on


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One corner of a box that a sensor lay in."""

    name: str
    humidity_pct: float
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """The corners of its box, the dampest first: where the sensor that stays has to sit (A-39)."""

    kind: ClassVar[str] = "mapped"
    corners: tuple[Corner, ...]
    spread_pct: float  # between the dampest and the driest
    is_uneven: bool  # by more than one sensor can tell of two places
    is_short: bool  # a stay was under a day
    sits_at: str | None = None  # the corner in which the sensor sits from then on; None: not told


@dataclass(frozen=True, slots=True, kw_only=True)
class Seated:
    """From then on it sits in another of the corners that were looked at last."""

    kind: ClassVar[str] = "seated"
    sits_at: str


SensorWhat = Installed | InJar | Back | Checked | Compared | CorrectionSet | Mapped | Seated | Withdrawn
# What changes the air of a place when it is told, or what is held of it.
MOVES_AIR = (Installed, InJar, Back, Checked, CorrectionSet, Withdrawn)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorEvent:
    """One record. Records are never changed: a correction is a new one that names what it replaces."""

    channel: str  # "<node>/<channel>"
    at_s: float  # when it happened
    entered_s: float
    who: str
    what: SensorWhat
    event_id: int = 0  # given by the store
    replaces: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckNow:
    """Note what it reads over the salt in which it lies; the figures are taken from its readings."""

    kind: ClassVar[str] = "checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareNow:
    """Compare it with others over the last hours."""

    kind: ClassVar[str] = "compared"
    others: tuple[str, ...]
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectBy:
    """Correct it by what these checks found."""

    kind: ClassVar[str] = "correction_set"
    checks: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """When a sensor lay in a corner."""

    name: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MapNow:
    """Note how the corners of its box differ; the figures are taken from its readings."""

    kind: ClassVar[str] = "mapped"
    stays: tuple[Stay, ...]
    beside: str | None = None  # a second sensor, which stayed where it was in the box
    sits_at: str | None = None  # one of the stays' names


SensorWish = (
    Installed | InJar | Back | CorrectionSet | Seated | Withdrawn | CheckNow | CompareNow | CorrectBy | MapNow
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorTold:
    """What a person asks to be written down of a sensor."""

    channel: str
    at_s: float
    who: str
    wish: SensorWish
    replaces: int | None = None


Standing = Correction | None  # None: the sensor is not at its place


def standing(events: Iterable[SensorEvent]) -> tuple[tuple[int, Standing], ...]:
    """What holds of one channel's readings from when on, (from_ms, correction), by time."""
    found: list[tuple[int, Standing]] = []
    now, is_away = NO_CORRECTION, False
    for event in effective(events):
        what = event.what
        if isinstance(what, Installed):
            now, is_away = NO_CORRECTION, False
        elif isinstance(what, InJar | Back):
            is_away = isinstance(what, InJar)
        elif isinstance(what, CorrectionSet):
            now = Correction(offset_pct=what.offset_pct, gain=what.gain)
        else:
            continue
        found.append((round(event.at_s * 1000), None if is_away else now))
    return tuple(found)


def installed(events: Iterable[SensorEvent]) -> SensorEvent | None:
    """The newest record of which sensor is on the channel."""
    found = [event for event in effective(events) if isinstance(event.what, Installed)]
    return found[-1] if found else None


def in_jar(events: Iterable[SensorEvent]) -> SensorEvent | None:
    """The record by which it lies over a salt now; None where it does not."""
    moves = [e for e in since_installed(events) if isinstance(e.what, InJar | Back)]
    return moves[-1] if moves and isinstance(moves[-1].what, InJar) else None


def since_installed(events: Iterable[SensorEvent]) -> tuple[SensorEvent, ...]:
    """What stands of the sensor that is on the channel now, by time."""
    told = effective(events)
    begins = [n for n, event in enumerate(told) if isinstance(event.what, Installed)]
    return told[begins[-1] :] if begins else told


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """In which corner of its box a sensor sits, after the corners were looked at."""

    mapped: Mapped
    mapped_s: float
    sits_at: str | None  # None: not told, or none of these corners
    told_s: float  # when that was told

    @property
    def dampest(self) -> str:
        return self.mapped.corners[0].name

    @property
    def drier_pct(self) -> float | None:
        """By how much it reads drier there than in the dampest corner [%RH]."""
        first = self.mapped.corners[0]
        seats = [corner for corner in self.mapped.corners if corner.name == self.sits_at]
        return first.humidity_pct - seats[0].humidity_pct if seats else None

    @property
    def is_misplaced(self) -> bool:
        """As it was told; where nothing was, nobody looked, and that is no fault."""
        return self.drier_pct is not None and self.drier_pct > MISPLACED_PCT


def seat_of(events: Iterable[SensorEvent]) -> Seat | None:
    """Of the sensor that is on the channel now; None where nobody told of its corners."""
    seat: Seat | None = None
    for event in since_installed(events):
        what = event.what
        if isinstance(what, Mapped):
            seat = Seat(mapped=what, mapped_s=event.at_s, sits_at=what.sits_at, told_s=event.at_s)
        elif isinstance(what, Seated) and seat is not None:
            # Told of corners that were withdrawn since, its name may be none of these.
            is_known = any(corner.name == what.sits_at for corner in seat.mapped.corners)
            seat = replace(seat, sits_at=what.sits_at if is_known else None, told_s=event.at_s)
    return seat
