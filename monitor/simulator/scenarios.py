"""What is really so at the demonstration site, and what happens there: the part nobody wrote down.

Times are counted from the end of the filled-in past, that is from the moment the demonstration goes
live: negative ones lie in the past.
"""

import random
from dataclasses import dataclass

from monitor.simulator.weather import Climate, weekday

DAY_S = 86400.0
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxTruth:
    """How one box really is."""

    air_changes_per_day: float
    openings_per_day: float  # on days when the workshop is open
    bed_depth_m: float
    bead_m: float  # diameter
    bed_humidity: float  # what the bed has settled to when the story begins, 0 to 1
    lag_s: float  # in which its temperature follows the room's
    warmer_c: float = 0.0  # stands near a printer


@dataclass(frozen=True, slots=True, kw_only=True)
class SealFails:
    """From this moment on the box lets in that much air."""

    box: str
    from_s: float
    air_changes_per_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LidAjar:
    """A lid that somebody left open."""

    box: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorDead:
    """A sensor that says nothing for a while; repeated after `every_s` where that is given."""

    channel: str  # "<node>/<channel>"
    from_s: float
    to_s: float
    every_s: float | None = None

    def holds(self, since_live_s: float) -> bool:
        if self.every_s is not None and since_live_s >= self.from_s:
            since_live_s = self.from_s + (since_live_s - self.from_s) % self.every_s
        return self.from_s <= since_live_s < self.to_s


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenRun:
    """One drying run of an oven, long over or just ended."""

    oven: str
    from_s: float
    to_s: float
    chamber_c: float


CLIMATES = {
    "print-room": Climate(
        temperature_c=20.5,
        daily_swing_c=0.9,
        weather_swing_c=0.8,
        dew_point_c=9.0,
        weather_swing_dew_c=2.2,
        heated_by_day_c=1.6,
    ),
    "cellar": Climate(
        temperature_c=15.0,
        daily_swing_c=0.25,
        weather_swing_c=0.7,
        dew_point_c=9.5,
        weather_swing_dew_c=1.1,
        heated_by_day_c=0.2,
    ),
}


def _box(
    changes: float, openings: float, settled_pct: float, *, depth_mm: float = 8.0, lag_h: float = 1.5
) -> BoxTruth:
    return BoxTruth(
        air_changes_per_day=changes,
        openings_per_day=openings,
        bed_depth_m=depth_mm / 1000.0,
        bead_m=0.0025,
        bed_humidity=settled_pct / 100.0,
        lag_s=lag_h * HOUR_S,
    )


BOXES = {
    "heron": _box(0.15, 2.2, 4.0, lag_h=2.0),
    "wren": _box(0.25, 1.3, 5.0),
    "plover": _box(0.3, 0.9, 6.5, lag_h=2.0),
    "rook": _box(0.1, 0.4, 0.8),
    "finch": _box(5.5, 1.0, 13.0),  # its desiccant nears its end
    "swift": _box(0.12, 0.5, 4.5),
    "teal": _box(0.2, 0.6, 5.0, depth_mm=12.0, lag_h=2.5),
    "dunlin": _box(0.15, 0.7, 6.0),  # its seal fails
    "kestrel": _box(0.05, 0.12, 3.5, depth_mm=14.0, lag_h=3.0),
    "lark": _box(0.35, 0.15, 9.0, depth_mm=10.0, lag_h=2.5),
}
SEALS = (SealFails(box="dunlin", from_s=-6.2 * DAY_S, air_changes_per_day=32.0),)
AJAR = (
    LidAjar(box="heron", from_s=-3.05 * DAY_S, to_s=-3.05 * DAY_S + 1.4 * HOUR_S),
    LidAjar(box="wren", from_s=-16.3 * DAY_S, to_s=-16.3 * DAY_S + 0.8 * HOUR_S),
    LidAjar(box="wren", from_s=25.0 * 60.0, to_s=50.0 * 60.0),
)
DEAD = (
    SensorDead(channel="hub-print/plover", from_s=-9.4 * DAY_S, to_s=-9.4 * DAY_S + 7.5 * HOUR_S),
    SensorDead(channel="shelf-east/teal", from_s=8.0 * 60.0, to_s=48.0 * 60.0, every_s=DAY_S),
)
OVEN_RUNS = (
    OvenRun(oven="kiln-low", from_s=-19.9 * DAY_S, to_s=-19.6 * DAY_S, chamber_c=55.0),
    OvenRun(oven="kiln-high", from_s=-11.8 * DAY_S, to_s=-11.3 * DAY_S, chamber_c=80.0),
    OvenRun(oven="kiln-low", from_s=-5.9 * HOUR_S, to_s=-0.5 * HOUR_S, chamber_c=58.0),
)


def lid_openings(box: str, day: int, seed: int) -> list[tuple[float, float]]:
    """When a box's lid is open on one UTC day [Unix s]: a pure function, so that it never ends."""
    if weekday(day * DAY_S) in (0, 6):
        return []
    dice = random.Random(f"{seed}/lid/{box}/{day}")
    openings: list[tuple[float, float]] = []
    left = BOXES[box].openings_per_day
    while left > 0.0:
        if dice.random() < left:
            start_s = day * DAY_S + dice.triangular(9.0, 20.0, 16.0) * HOUR_S
            openings.append((start_s, start_s + dice.lognormvariate(4.0, 0.7)))
        left -= 1.0
    return openings
