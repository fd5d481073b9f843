"""What a device said: quantities, readings and packs."""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """What can be measured; the names are those of the wire."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    MASS = "mass"
    BATTERY = "battery"
    LID = "lid"
    SMOKE = "smoke"
    POWER = "power"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantitySpec:
    """Unit on the wire, allowed range, and how the store keeps the value as an integer."""

    code: int  # in the database; never reused
    unit: str | None  # SenML unit; None for a boolean
    lowest: float
    highest: float
    stored_per_unit: int  # integer in the database = round(value * stored_per_unit)
    stored_unit: str


# Ranges: what an air sensor, scale or meter of this trade can truthfully say. The chamber of an
# oven is the hottest place; 150 degC is the end of the moist-air formulation.
QUANTITIES: dict[Quantity, QuantitySpec] = {
    Quantity.TEMPERATURE: QuantitySpec(
        code=1, unit="Cel", lowest=-40.0, highest=150.0, stored_per_unit=1000, stored_unit="0.001 Cel"
    ),
    Quantity.HUMIDITY: QuantitySpec(
        code=2, unit="%RH", lowest=0.0, highest=100.0, stored_per_unit=1000, stored_unit="0.001 %RH"
    ),
    Quantity.MASS: QuantitySpec(
        code=3, unit="kg", lowest=-1.0, highest=200.0, stored_per_unit=1_000_000, stored_unit="mg"
    ),
    Quantity.BATTERY: QuantitySpec(
        code=4, unit="%EL", lowest=0.0, highest=100.0, stored_per_unit=1000, stored_unit="0.001 %EL"
    ),
    Quantity.LID: QuantitySpec(
        code=5, unit=None, lowest=0.0, highest=1.0, stored_per_unit=1, stored_unit="0 shut, 1 open"
    ),
    Quantity.SMOKE: QuantitySpec(
        code=6, unit=None, lowest=0.0, highest=1.0, stored_per_unit=1, stored_unit="0 quiet, 1 alarms"
    ),
    Quantity.POWER: QuantitySpec(
        code=7, unit="W", lowest=0.0, highest=20_000.0, stored_per_unit=1000, stored_unit="mW"
    ),
}


class TimeQuality(StrEnum):
    """How a reading got its time (C.3); the report prints the worst it used."""

    SYNCED = "synced"  # the node gave an absolute time
    ESTIMATED = "estimated"  # placed by the node's uptime
    ARRIVAL = "arrival"  # neither: the time it came in
    SUSPECT = "suspect"  # the clock it was placed by had jumped


@dataclass(frozen=True, slots=True, kw_only=True)
class WireReading:
    """One record of a pack, in the quantity's wire unit, its time not yet placed."""

    channel: str
    quantity: Quantity
    value: float  # booleans as 0.0 and 1.0
    time_s: float | None  # Unix seconds UTC when the node gave an absolute time
    ago_s: float  # else seconds before the pack was made, 0 = now
    due_s: float | None  # `ut`: the next reading is due within this many seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A record that cannot be used, with the reason in one sentence and the record as text."""

    reason: str
    record: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """What one SenML pack said. (node, boot, seq) identifies it."""

    node: str
    boot: str
    seq: int
    uptime_s: float | None
    readings: tuple[WireReading, ...]
    rejected: tuple[Rejected, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One value of one channel, its time placed."""

    node: str
    channel: str
    quantity: Quantity
    time_ms: int  # Unix milliseconds UTC of the sample, not of its arrival
    value: float  # in the quantity's wire unit
    quality: TimeQuality


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """What a node or oven says about being there (retained; its will says false)."""

    online: bool
    boot: str | None
    firmware: str | None
    sample_s: float | None
