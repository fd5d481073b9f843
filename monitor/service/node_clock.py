"""What a node's uptime means in our time, learned from the packs that waited least (C.3).

Every pack gives arrival - uptime = the clock's offset + how long the pack waited, and waiting is never
negative. So the least of these over a window is the best guess of the offset, as in NTP's clock filter.
A crystal drifts, so what was heard at another time is carried over with the drift that makes it least:
the guess then never lies after the truth by more than the least wait, nor before it by more than the
window times the range of possible drift, and the window is cut so that this is at most 2 s.
"""

import json
import math
from dataclasses import dataclass, replace
from itertools import pairwise

from monitor.model.reading import TimeQuality

DRIFT_LIMIT = 100e-6  # crystals of this trade keep 20 to 50 ppm
DRIFT_ERROR_S = 2.0  # the most that not knowing the drift may cost
BUCKET_S = 1800.0
KEEP_S = 24 * 3600.0
FIT_SPAN_S = 6 * 3600.0
# An hour of queueing is ordinary; a pack that seems to have waited longer may as well come from a counter
# that jumped.
LATE_S = 3660.0
RESTART_S = 2 * 86_400.0  # and beyond this it must have jumped, or wrapped
_FIRST_ERROR_S = 30.0  # one pack alone does not show how long it waited
_FIT_TOLERANCE_S = 0.5
# A bucket stands for its least delayed pack; with drift, another one of it may be better by this much.
_BUCKET_ERROR_S = BUCKET_S * DRIFT_LIMIT

Point = tuple[float, float]  # uptime [s], arrival less uptime [s]
Line = tuple[float, float]  # slope, value at uptime 0 [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeClock:
    """What is known of one boot of one node: the least delayed pack of each half hour, oldest first."""

    points: tuple[Point, ...]
    drift_low: float = -DRIFT_LIMIT  # seconds of ours gained per second of the node's
    drift_high: float = DRIFT_LIMIT

    def stepped(self, step_s: float) -> "NodeClock":
        """The same after our own clock was set forward by this much."""
        return replace(self, points=tuple((at_s, offset_s + step_s) for at_s, offset_s in self.points))


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The clock after a pack, and when the pack was made: at offset_s + its uptime, give or take error_s."""

    clock: NodeClock
    offset_s: float
    error_s: float
    quality: TimeQuality


def placed(clock: NodeClock | None, rx_s: float, uptime_s: float) -> Placed:
    """Place a pack of this uptime that arrived at rx_s; `clock` is None for the first of a boot."""
    heard = (uptime_s, rx_s - uptime_s)
    if clock is None:
        return _restarted(heard, TimeQuality.ESTIMATED)
    waited_s = heard[1] - min(offset_s for _, offset_s in clock.points)
    if not -LATE_S <= waited_s <= RESTART_S:
        return _restarted(heard, TimeQuality.SUSPECT)
    clock = _with_point(clock, heard)
    offset_s, error_s = _offset(clock, uptime_s)
    is_late = heard[1] - offset_s > LATE_S
    quality = TimeQuality.SUSPECT if is_late else TimeQuality.ESTIMATED
    return Placed(clock=clock, offset_s=offset_s, error_s=error_s, quality=quality)


def dump_clock(clock: NodeClock) -> str:
    """As JSON text, to keep over a restart."""
    points = [[round(uptime_s, 3), round(offset_s, 3)] for uptime_s, offset_s in clock.points]
    return json.dumps([clock.drift_low, clock.drift_high, points], separators=(",", ":"))


def load_clock(text: str) -> NodeClock:
    """What `dump_clock` wrote."""
    drift_low, drift_high, points = json.loads(text)
    return NodeClock(points=tuple((u, o) for u, o in points), drift_low=drift_low, drift_high=drift_high)


def _restarted(heard: Point, quality: TimeQuality) -> Placed:
    clock = NodeClock(points=(heard,))
    return Placed(clock=clock, offset_s=heard[1], error_s=_FIRST_ERROR_S, quality=quality)


def _with_point(clock: NodeClock, heard: Point) -> NodeClock:
    """The same clock object when this pack teaches nothing, so that it need not be stored again."""
    newest_s = max(clock.points[-1][0], heard[0])
    if heard[0] < newest_s - KEEP_S:
        return clock
    bucket = heard[0] // BUCKET_S
    same = next((point for point in clock.points if point[0] // BUCKET_S == bucket), None)
    if same is not None and same[1] <= heard[1]:
        return clock
    others = (point for point in clock.points if point is not same and point[0] >= newest_s - KEEP_S)
    points = tuple(sorted((*others, heard)))
    if same is not None:
        return replace(clock, points=points)
    low, high = _drift_range(points)
    return NodeClock(points=points, drift_low=low, drift_high=high)


def _offset(clock: NodeClock, uptime_s: float) -> tuple[float, float]:
    """The offset at an uptime and what it may be wrong by [s]."""
    spread = clock.drift_high - clock.drift_low
    nearest_s = min(abs(uptime_s - at_s) for at_s, _ in clock.points)
    # A pack older than all that is kept has only its nearest neighbour, and a larger error for it.
    window_s = max((DRIFT_ERROR_S - _BUCKET_ERROR_S) / spread, nearest_s)
    guesses = sorted(
        (offset_s + min(age_s * clock.drift_low, age_s * clock.drift_high), abs(age_s) * spread)
        for at_s, offset_s in clock.points
        if abs(age_s := uptime_s - at_s) <= window_s
    )
    least_s, drift_error_s = guesses[0]
    # The least wait is unknown, but about as large as the step to the second least.
    wait_s = guesses[1][0] - least_s if len(guesses) > 1 else _FIRST_ERROR_S
    return least_s - _BUCKET_ERROR_S, _BUCKET_ERROR_S + drift_error_s + wait_s


def _drift_range(points: tuple[Point, ...]) -> tuple[float, float]:
    """Lowest and highest drift that the packs leave possible; the whole range until they span six hours."""
    unknown = (-DRIFT_LIMIT, DRIFT_LIMIT)
    if points[-1][0] - points[0][0] < FIT_SPAN_S:
        return unknown
    slope, at_zero_s = _line_below(points)
    near = [at_s for at_s, offset_s in points if offset_s - (at_zero_s + slope * at_s) <= _FIT_TOLERANCE_S]
    # Unless most of them agree on the line, its slope is that of a queue and not of a crystal.
    if 2 * len(near) < len(points) or near[-1] - near[0] < FIT_SPAN_S or abs(slope) > DRIFT_LIMIT:
        return unknown
    half = 2 * _FIT_TOLERANCE_S / (near[-1] - near[0])
    return max(slope - half, -DRIFT_LIMIT), min(slope + half, DRIFT_LIMIT)


def _line_below(points: tuple[Point, ...]) -> Line:
    """Of all lines that pass below every point the one that lies highest on average: an edge of the hull."""
    hull: list[Point] = []
    for point in points:
        while len(hull) > 1 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    middle_s = math.fsum(at_s for at_s, _ in points) / len(points)
    left, right = next((a, b) for a, b in pairwise(hull) if b[0] >= middle_s)
    slope = (right[1] - left[1]) / (right[0] - left[0])
    return slope, left[1] - slope * left[0]


def _turns_down(first: Point, second: Point, third: Point) -> bool:
    """Whether the second point lies on or above the line from the first to the third."""
    across_s, rise_s = third[0] - first[0], third[1] - first[1]
    return (second[1] - first[1]) * across_s >= rise_s * (second[0] - first[0])
