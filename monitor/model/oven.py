"""What an oven's controller says of itself."""

from dataclasses import dataclass
from enum import StrEnum


class OvenPhase(StrEnum):
    """The states of B-18; anything else is unknown and means no heat."""

    IDLE = "idle"
    ARMED = "armed"
    PREHEAT_CHECK = "preheat_check"
    HEATING = "heating"
    DRYING = "drying"
    COOLING = "cooling"
    DONE = "done"
    HOLD = "hold"
    TRIPPED = "tripped"


@dataclass(frozen=True, slots=True, kw_only=True)
class LivingPermit:
    """The permit the controller heats under at this moment."""

    cycle: str
    seq: int
    left_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """The last order that the controller refused."""

    seq: int | None  # None when what it refused bore no number
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Why the controller has locked its heater."""

    id: str
    rule: str
    what: str
    remote_reset: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenState:
    """One state message. (boot, seq) numbers it, a permit refers to its seq."""

    boot: str
    uptime_s: float
    seq: int
    state: OvenPhase
    chamber_c: tuple[float | None, ...]  # one per sensor; None = that sensor gives nothing
    sample_seq: tuple[int, ...]  # one per sensor; rises with each fresh sample
    humidity_pct: float | None
    heater: float  # 0 to 1 of full power
    power_w: float | None  # the heater's alone; None = not measured
    fan: bool
    door_open: bool | None  # None = no switch
    cutout_ok: bool
    armed_s: float | None  # 0 = not armed, None = no arming input
    permit: LivingPermit | None  # None = no permission to heat
    refused: Refusal | None
    trip: Trip | None
