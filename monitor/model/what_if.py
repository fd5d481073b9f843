"""What-if: the question about a material in some air, and its answer; member names are the contract's."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.answers import Spread
from monitor.model.catalogue import Material, Reel


class Start(StrEnum):
    """How wet a spool is at first, where nobody knows its moisture."""

    DRIED = "dried"  # about half of its printing limit
    SOLD = "sold"  # sealed by its maker, which does not mean dry
    WEEK = "week"  # as sold, and then for a week in the air that is asked about


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSpan:
    """Air that stays the same for a while; None where nothing was measured."""

    hours: float
    temperature_c: float | None
    humidity_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked; outer bounds are checked by whoever answers."""

    material: Material
    reel: Reel
    air: tuple[AirSpan, ...]
    diameter_mm: float = 1.75
    net_g: float = 1000.0
    start: Start = Start.DRIED
    start_pct: float | None = None  # where it is known it goes before `start`
    open_flanges: bool = False
    is_strand: bool = False  # loose filament instead of a wound spool


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    h: float
    mean_pct: float
    outer_pct: float
    inner_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BandPoint:
    """How far the figures leave the curve open: the 10th and 90th percentile."""

    h: float
    mean_p10_pct: float
    mean_p90_pct: float
    outer_p10_pct: float
    outer_p90_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AirTaken:
    """The air that was reckoned with, in the mean."""

    hours: float
    humidity_pct: float
    temperature_c: float
    bridged_h: float  # of it nothing was measured
    note: str | None = None  # how that was bridged


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What one night outside costs a freshly dried spool."""

    hours: float
    gain_pct: Spread
    gain_g: Spread
    lost_m: Spread  # over the limit afterwards
    length_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drying:
    """What drying afterwards takes, in the room's air merely heated."""

    temperature_c: float
    limited_by: str
    humidity_pct: float  # of the heated air
    floor_pct: float  # no cycle gets below it in that air
    target_pct: float | None  # None: the floor forbids even the looser limit
    reaches_limit: bool
    makes_wetter: bool  # the heated air holds more than the spool does
    hours: Spread  # until mean and outer windings are under the target
    settles_h: Spread  # until they are within a tenth of the floor: longer gains next to nothing
    why: str | None = None  # why the limit is not reached
    remedies: tuple[str, ...] = ()  # what would


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The answer."""

    moisture_pct: Spread
    outer_pct: Spread
    equilibrium_pct: float
    limit_pct: float
    looser_limit_pct: float | None
    start_pct: Spread
    over_limit_after_h: Spread
    outer_over_limit_after_h: Spread
    air_taken: AirTaken
    curve: tuple[CurvePoint, ...]
    band: tuple[BandPoint, ...]
    night_outside: Night
    drying: Drying
    cautions: tuple[str, ...]


def steady_air(*, humidity_pct: float, temperature_c: float, hours: float) -> tuple[AirSpan, ...]:
    """The same air for all of the time."""
    return (AirSpan(hours=hours, temperature_c=temperature_c, humidity_pct=humidity_pct),)
