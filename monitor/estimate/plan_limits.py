"""The least limit of everything in an oven and of the oven itself: no plan is hotter than that less the "
"guard."""

from collections.abc import Iterable, Sequence

from monitor.library import UNKNOWN
from monitor.model.catalogue import DesiccantKind, Material, Reel
from monitor.model.inventory import Oven
from monitor.model.plan import LimitedBy

# A sensor that shows more than this is taken for broken, and the oven trips (rule R1).
SENSOR_BELIEVED_C = 130.0
# The usual humidity sensors end here (SHT4x data sheet: -40 to 125 °C).
HUMIDITY_SENSOR_C = 125.0
LEAST_GUARD_C = 3.0
# What is heated less than this is not dried in an oven: a dry box does the same.
LEAST_USEFUL_C = 35.0
LEAST_ABOVE_ROOM_C = 8.0


def guard_c(oven: Oven) -> float:
    """Control overshoot and sensor error together, at least 3 °C."""
    return max(oven.overshoot_c + oven.sensor_error_c, LEAST_GUARD_C)


def oven_limits(oven: Oven) -> list[LimitedBy]:
    """What the chamber and its instruments stand."""
    limits = [
        LimitedBy(item=oven.name, limit_c=oven.max_c, source="the oven's highest temperature, as entered"),
        LimitedBy(
            item="the oven's temperature sensor",
            limit_c=SENSOR_BELIEVED_C,
            source="rule R1: a reading above it is taken for a broken sensor, and the oven trips",
        ),
    ]
    if oven.channel is not None:
        limits.append(
            LimitedBy(
                item="the humidity sensor in the oven",
                limit_c=HUMIDITY_SENSOR_C,
                source="the range of the usual humidity sensors, -40 to 125 °C",
            )
        )
    if oven.cutout_c is not None:
        limits.append(
            LimitedBy(
                item="the oven's thermal cut-out",
                limit_c=oven.cutout_c,
                source="it switches off for good there, as entered",
            )
        )
    return limits


def spool_limits(name: str, material: Material, reel: Reel) -> list[LimitedBy]:
    """What the filament and the reel under it stand."""
    told = material.sources.get("max_safe_c")
    what = "it is treated as the weakest common one" if reel.key == UNKNOWN else reel.source.text
    return [
        LimitedBy(
            item=f"{material.short_name} ({name})",
            limit_c=material.max_safe_c,
            source=told.text if told is not None else material.too_hot,
        ),
        LimitedBy(item=f"{reel.name} ({name})", limit_c=reel.max_safe_c, source=what),
    ]


def desiccant_limits(kind: DesiccantKind) -> list[LimitedBy]:
    """What destroys a desiccant or its dye."""
    if kind.max_safe_c is None:
        return []
    return [LimitedBy(item=kind.name, limit_c=kind.max_safe_c, source=kind.source.text)]


def least(limits: Iterable[LimitedBy]) -> LimitedBy:
    """The one that limits; of equals the first."""
    return min(limits, key=lambda limit: limit.limit_c)


def hottest_c(limits: Sequence[LimitedBy], guard: float) -> float:
    """The highest temperature that may be asked for [°C]: with its guard it stays within every limit."""
    # Rounded against noise of the last digits only.
    return round(least(limits).limit_c - guard, 6)


def least_useful_c(room_c: float) -> float:
    """Below this an oven does not dry [°C]."""
    return max(LEAST_USEFUL_C, room_c + LEAST_ABOVE_ROOM_C)
