"""What a report on a box or spool says of a stretch of time (A-38)."""

from dataclasses import dataclass

from monitor.model.answers import Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """A time over the limit, without a break but for gaps in the readings."""

    from_s: float  # Unix s
    to_s: float
    place: str
    measured_s: float  # of it
    mean_pct: float  # %RH, of what was measured
    highest_pct: float
    area_pct_h: float  # humidity over the limit, added up over time [%RH h]
    is_under_way: bool  # it had not ended when the report's time did


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A time in which nothing was measured."""

    from_s: float
    to_s: float
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseLine:
    """What the air did to one material."""

    material: str
    coverage: float
    equivalent_low_pct: float  # %RH; both ends are the same where enough was measured
    equivalent_high_pct: float
    dose_low: float
    dose_high: float
    worst_hour_pct: float | None
    mean_temperature_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """Water of one spool at the ends of the time."""

    key: str
    name: str
    material: str
    limit_pct: float
    before_pct: Spread
    after_pct: Spread
    gained_g: Spread
    verdict: str  # "ready" | "dry_first" | "not_sure" | "damaged"
    verdict_why: str
    recipe: str  # how it is dried, where that is the verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Who did what when, or what the monitor said."""

    at_s: float
    who: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorLine:
    channel: str
    words: str  # its last check and when the next is due
    is_overdue: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One box or spool over a stretch of time."""

    kind: str  # "box" | "spool"
    key: str
    name: str
    from_s: float
    to_s: float
    made_s: float
    limit_pct: float | None  # %RH
    limit_basis: str
    excursions: tuple[Excursion, ...]
    lowest_pct: float | None
    mean_pct: float | None
    highest_pct: float | None
    temperature_c: tuple[float, float] | None  # lowest and highest
    coverage: float  # share of the time that was measured
    gaps: tuple[Gap, ...]
    doses: tuple[DoseLine, ...]
    gains: tuple[Gain, ...]
    lines: tuple[Line, ...]
    sensors: tuple[SensorLine, ...]
    worst_time: str | None  # how the worst of the readings got its time; None = not kept any more
    verdict: str  # "as is" | "dry first" | "discard" | "not sure" | "nothing inside"
    decisions: tuple[Line, ...]
