"""Sensors in the same air: which of them differs by more than their data sheets allow."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import mean, median

from monitor.estimate.sensor_check import Sample
from monitor.model.sensor_check import Corner
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

LEAST_SAMPLES = 5  # in common
# The sensors of one air agree in temperature; further apart they are not in the same air.
MOST_APART_K = 1.5
STEADY_PCT = 3.0  # a reading that moves by more within the time is on its way somewhere


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """One of several sensors in the same air; humidities at the common temperature [%RH]."""

    channel: str
    humidity_pct: float
    others_pct: float  # median of the others
    allowed_pct: float  # by which it may differ from them
    is_odd: bool

    @property
    def difference_pct(self) -> float:
        return self.humidity_pct - self.others_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """What a comparison says."""

    sensors: tuple[Beside, ...]  # in the order asked
    temperature_c: float
    is_pair_apart: bool  # two that disagree: which of them is off cannot be told
    fault: str | None = None  # why it says nothing: "few" | "apart" | "moving"


def side_by_side(samples: Mapping[str, Sequence[Sample]], tolerances_pct: Mapping[str, float]) -> SideBySide:
    """Compare sensors over the moments that all of them have.

    Args:
        samples: By channel; means over the same five minutes carry the same time.
        tolerances_pct: Of each channel, 95 % [%RH].

    Each reading is taken as the vapour that it tells, at the mean temperature of all: a sensor that is
    warmed by its board reads drier in the same air, and says so in both its figures.
    """
    common = set.intersection(*({s.time_s for s in found} for found in samples.values()))
    if len(samples) < 2 or len(common) < LEAST_SAMPLES:
        return SideBySide(sensors=(), temperature_c=0.0, is_pair_apart=False, fault="few")
    chosen = {key: [s for s in found if s.time_s in common] for key, found in samples.items()}
    warmth = {key: mean(s.temperature_c for s in found) for key, found in chosen.items()}
    together_c = mean(warmth.values())
    if max(warmth.values()) - min(warmth.values()) > MOST_APART_K:
        return SideBySide(sensors=(), temperature_c=together_c, is_pair_apart=False, fault="apart")
    moved = [max(s.humidity_pct for s in f) - min(s.humidity_pct for s in f) for f in chosen.values()]
    if max(moved) > STEADY_PCT:
        return SideBySide(sensors=(), temperature_c=together_c, is_pair_apart=False, fault="moving")
    shown = {key: mean(_at(s, together_c) for s in found) for key, found in chosen.items()}
    odd = _odd_ones(shown, tolerances_pct)
    return SideBySide(
        sensors=tuple(_marked(key, shown, odd, tolerances_pct) for key in shown),
        temperature_c=together_c,
        is_pair_apart=_is_pair_apart({k: v for k, v in shown.items() if k not in odd}, tolerances_pct),
    )


def _odd_ones(shown: Mapping[str, float], tolerances_pct: Mapping[str, float]) -> set[str]:
    """The furthest from the rest, then the furthest of those that are left; of two neither is odd."""
    odd = set[str]()
    while len(shown) - len(odd) > 2:
        left = {key: value for key, value in shown.items() if key not in odd}
        found = [_beside(key, left, tolerances_pct) for key in left]
        worst = max(found, key=lambda item: abs(item.difference_pct) / item.allowed_pct)
        if abs(worst.difference_pct) <= worst.allowed_pct:
            break
        odd.add(worst.channel)
    return odd


def _at(sample: Sample, temperature_c: float) -> float:
    """The humidity that this air has at another temperature [%RH]."""
    return (
        sample.humidity_pct
        * saturated_vapour_kg_m3(sample.temperature_c)
        / saturated_vapour_kg_m3(temperature_c)
    )


def _beside(key: str, shown: Mapping[str, float], tolerances_pct: Mapping[str, float]) -> Beside:
    others = [other for other in shown if other != key]
    middle = median(shown[other] for other in others)
    # Of a median of several about as much is known as of one of them; less is not claimed.
    others_pct = max(tolerances_pct[other] for other in others)
    return Beside(
        channel=key,
        humidity_pct=shown[key],
        others_pct=middle,
        allowed_pct=math.hypot(tolerances_pct[key], others_pct),
        is_odd=False,
    )


def _marked(
    channel: str, shown: Mapping[str, float], odd: set[str], tolerances_pct: Mapping[str, float]
) -> Beside:
    """Beside those others that are not odd themselves."""
    left = {key: value for key, value in shown.items() if key not in odd or key == channel}
    return replace(_beside(channel, left, tolerances_pct), is_odd=channel in odd)


def _is_pair_apart(left: Mapping[str, float], tolerances_pct: Mapping[str, float]) -> bool:
    """Two that disagree; and where two disagree with a third left out, too."""
    if len(left) != 2:
        return False
    return any(
        abs(item.difference_pct) > item.allowed_pct
        for item in (_beside(key, left, tolerances_pct) for key in left)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How the air differs from corner to corner (A-39, P37)."""

    spots: tuple[Corner, ...]  # the dampest first
    spread_pct: float
    is_uneven: bool  # by more than one sensor can tell of two places
    fault: str | None = None  # "few" corners, or "short" stays


LEAST_HOURS = 24.0  # in each corner: a day's warmth goes once round
_MOVED_TELLS_PCT = 1.0  # one sensor at two times: its hysteresis and the room's course


def placement(spots: Sequence[Corner]) -> Spread:
    """Where the permanent sensor belongs: in the dampest corner, which the filament must stand too."""
    ranked = tuple(sorted(spots, key=lambda spot: -spot.humidity_pct))
    if len(ranked) < 2:
        return Spread(spots=ranked, spread_pct=0.0, is_uneven=False, fault="few")
    spread_pct = ranked[0].humidity_pct - ranked[-1].humidity_pct
    is_short = any(spot.hours < LEAST_HOURS for spot in ranked)
    return Spread(
        spots=ranked,
        spread_pct=spread_pct,
        is_uneven=spread_pct > _MOVED_TELLS_PCT,
        fault="short" if is_short else None,
    )
