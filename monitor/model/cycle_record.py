"""What is kept of each drying cycle beside the lines of its oven's book (D-10)."""

from dataclasses import dataclass

from monitor.model.cycle import OvenRecord

Percent = tuple[float, float, float]  # 10th, 50th, 90th percentile


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldWater:
    """What one spool held at a moment, as it was believed then."""

    mean_pct: Percent
    outer_pct: Percent
    water_g: Percent
    left_g: float  # filament wound on it


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleSpool:
    """One thing in the load of a cycle."""

    key: str
    name: str
    material: str  # "" where the load is no spool
    limit_pct: float | None  # printing limit of its material
    material_limit_c: float | None
    body_limit_c: float | None
    before: HeldWater | None = None
    after: HeldWater | None = None  # None while it runs, or where it could not be told


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleNote:
    """One cycle: written when it starts, and once more when it has ended."""

    oven: str
    cycle: str
    started_s: float  # Unix s
    who: str
    is_unattended: bool
    is_armed_locally: bool
    setpoint_c: float  # as confirmed
    duration_s: float  # as confirmed, with what was added since
    ceiling_c: float
    limit_c: float
    limited_by: str
    room_c: float | None
    room_dew_point_c: float | None
    spools: tuple[CycleSpool, ...]
    ended_s: float | None = None
    ending: str = ""
    why: str = ""
    ran_s: float | None = None
    last_setpoint_c: float | None = None
    energy_wh: float | None = None
    peak_c: float | None = None
    holds: int = 0
    overshoots: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scaled:
    """A weighing of the spool with its reel."""

    at: str  # RFC 3339 UTC
    mass_g: float
    resolution_g: float
    is_warm: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordSpool:
    """One thing of the load with what the drying did to it."""

    told: CycleSpool
    weighed_before: Scaled | None  # the last one within a day before the start, while nothing else happened
    weighed_after: Scaled | None  # the first one within a day after the end
    lost_g: float | None  # by the scale
    lost_sd_g: float | None  # of that difference, by the scale's step alone
    verdict: str  # "reset" | "partly_reset" | "runs" | "unknown"
    verdict_why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TracePoint:
    """One minute of the chamber."""

    at_s: float  # Unix s
    chamber_c: float
    asked_c: float
    humidity_pct: float | None
    dew_point_c: float | None
    heater: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRecord:
    """One cycle, whole (D-10)."""

    note: CycleNote
    oven_name: str
    spools: tuple[RecordSpool, ...]
    coverage: float | None  # share of its minutes whose temperature was told; None while it has none
    humidity_coverage: float | None
    chamber_dew_point_c: float | None  # mean of its last half hour
    chamber_humidity_pct: float | None
    trace: tuple[TracePoint, ...]
    room_dew_points: tuple[tuple[float, float], ...]  # (Unix s, degC)
    records: tuple[OvenRecord, ...]  # oldest first
    persons: tuple[str, ...]
    interruptions: tuple[OvenRecord, ...]
