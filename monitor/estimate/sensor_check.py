"""A sensor over a salt: when its reading has settled, how far off it is, and what corrects it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from monitor.model.sensor_check import NO_CORRECTION, Correction, Verdict

# A jar needs its time whatever the reading does: a bulky sensor takes an hour in a jar that is settled, and a
# slow jar that began near the salt's humidity shows its creep over hours only.
LEAST_S = 7_200.0
# A jar that is still on its way after this will not get there: usual are 6 to 12 hours.
MOST_S = 24 * 3_600.0
WINDOW_S = 7_200.0  # over which it must hold still
MEAN_S = 1_800.0  # of which the reading is the mean
WARMTH_S = 3_600.0  # over which the temperature must hold still
LEAST_SAMPLES = 5
LONGEST_GAP_S = 1_200.0
# What matters: 0.3 %RH, a third of what a check in a jar can tell; so much within the two hours.
RATE_PCT_PER_H = 0.15
REMAINING_PCT = 0.3
# Within the hour: salt and sensor follow the room at their own pace; 1 K between them is 6 % of a humidity.
WANDER_K = 0.5
_NOISE_PCT = 0.1  # repeatability of such sensors: a difference below it says nothing
_AWAY_PCT = 1.5  # that it went away again from the salt, beyond which the lid leaks
_SLOWEST_TAU_S = 2.0 * MOST_S
# Limits of what a straight line may mend: beyond them the sensor is broken or the check was.
MOST_OFFSET_PCT = 6.0
GAIN_RANGE = (0.9, 1.1)
# How the error of a sensor may change along its range, standard uncertainty per %RH: its data sheet's
# +-1.8 %RH at either end of some 60 %RH. So a check at 75 % says little of 15 % (P17).
_SLOPE_SD = 0.03
_COVERAGE = 2.0


class Settling(StrEnum):
    WAITING = "waiting"
    REACHED = "reached"
    NEVER = "never"


class Why(StrEnum):
    """What keeps it from being settled."""

    FEW = "few"  # readings
    SOON = "soon"
    MOVING = "moving"  # humidity
    WARMING = "warming"  # temperature not steady
    LEAKS = "leaks"  # it goes away from the salt's humidity again
    STUCK = "stuck"  # it never moved
    LONG = "long"  # still moving after a day


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """Mean of a few minutes; humidity raw [%RH]."""

    time_s: float
    temperature_c: float
    humidity_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Equilibrium:
    """How far a sensor over a salt has settled."""

    settling: Settling
    why: Why | None = None
    humidity_pct: float | None = None  # mean of the last half hour
    temperature_c: float | None = None
    rate_pct_per_h: float | None = None
    remaining_pct: float | None = None  # to where it is heading
    wait_s: float | None = None  # until it may be settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A settled reading beside what it should be [%RH]."""

    reading_pct: float  # raw
    reference_pct: float
    uncertainty_pct: float  # of the reference, 95 %


def equilibrium(
    samples: Sequence[Sample], since_s: float, now_s: float, reference_pct: float | None
) -> Equilibrium:
    """Whether the reading has settled over a salt.

    Args:
        samples: Since it was put into the jar, by time; finite.
        since_s, now_s: Unix seconds.
        reference_pct: Over the salt [%RH]; None where its temperature is not one the table knows.
    """
    recent = [s for s in samples if s.time_s >= now_s - WINDOW_S]
    if not samples or not _is_dense(recent, now_s):
        return Equilibrium(settling=Settling.WAITING, why=Why.FEW)
    half = [s for s in recent if s.time_s >= now_s - MEAN_S] or recent[-1:]
    rate, remaining_pct, wait_s = _rate_pct_per_h(recent), *_remaining(samples)
    seen = Equilibrium(
        settling=Settling.WAITING,
        humidity_pct=float(np.mean([s.humidity_pct for s in half])),
        temperature_c=float(np.mean([s.temperature_c for s in half])),
        rate_pct_per_h=rate,
        remaining_pct=remaining_pct,
        wait_s=wait_s,
    )
    return _judged(seen, samples, recent, now_s - since_s, reference_pct)


def _judged(
    seen: Equilibrium,
    samples: Sequence[Sample],
    recent: Sequence[Sample],
    elapsed_s: float,
    reference_pct: float | None,
) -> Equilibrium:
    def said(settling: Settling, why: Why | None, wait_s: float | None) -> Equilibrium:
        return replace(seen, settling=settling, why=why, wait_s=wait_s)

    rate, remaining = abs(seen.rate_pct_per_h or 0.0), abs(seen.remaining_pct or 0.0)
    warmth = [s.temperature_c for s in recent if s.time_s >= recent[-1].time_s - WARMTH_S]
    if elapsed_s < LEAST_S:
        return said(Settling.WAITING, Why.SOON, max(LEAST_S - elapsed_s, seen.wait_s or 0.0))
    if _went_away(samples, reference_pct):
        return said(Settling.NEVER, Why.LEAKS, None)
    if _is_stuck(samples, reference_pct):
        return said(Settling.NEVER, Why.STUCK, None)
    if rate > RATE_PCT_PER_H or remaining > REMAINING_PCT:
        is_late = elapsed_s > MOST_S
        return said(
            Settling.NEVER if is_late else Settling.WAITING,
            Why.LONG if is_late else Why.MOVING,
            None if is_late else max(seen.wait_s or 0.0, MEAN_S),
        )
    if max(warmth) - min(warmth) > WANDER_K:
        return said(Settling.WAITING, Why.WARMING, WINDOW_S)
    return said(Settling.REACHED, None, 0.0)


def verdict(error_pct: float, tolerance_pct: float) -> Verdict:
    """What an as-found error asks for; an error as large as no straight line may mend is no calibration's."""
    if abs(error_pct) <= tolerance_pct:
        return Verdict.WITHIN
    return Verdict.CORRECT if abs(error_pct) <= MOST_OFFSET_PCT else Verdict.REPLACE


def correction(points: Sequence[Point]) -> Correction:
    """One point gives an offset, two an offset and a gain; none, nothing to correct."""
    if not points:
        return NO_CORRECTION
    if len(points) == 1:
        return Correction(offset_pct=points[0].reference_pct - points[0].reading_pct)
    low, high = sorted(points, key=lambda point: point.reference_pct)[:: len(points) - 1]
    span_pct = high.reading_pct - low.reading_pct
    if span_pct <= 0.0:
        raise ValueError("the sensor reads the higher humidity no higher")
    gain = (high.reference_pct - low.reference_pct) / span_pct
    return Correction(offset_pct=low.reference_pct - gain * low.reading_pct, gain=gain)


def is_mendable(found: Correction) -> bool:
    """Whether it is the error of a sensor, not of a broken one or of a check that went wrong."""
    lowest, highest = GAIN_RANGE
    return abs(found.offset_pct) <= MOST_OFFSET_PCT and lowest <= found.gain <= highest


def left_uncertainty_pct(points: Sequence[Point], at_pct: float) -> float:
    """What is not known of a corrected reading at a humidity, 95 % [%RH].

    One point: its own uncertainty and how the error may change from there. Two: the line through both,
    beyond them with the noise of both multiplied.
    """
    if not points:
        raise ValueError("without a point nothing is known")
    if len(points) == 1:
        only = points[0]
        slope_pct = _COVERAGE * _SLOPE_SD * abs(at_pct - only.reference_pct)
        return math.hypot(only.uncertainty_pct, slope_pct)
    low, high = sorted(points, key=lambda point: point.reference_pct)[:: len(points) - 1]
    share = (at_pct - low.reference_pct) / (high.reference_pct - low.reference_pct)
    return math.hypot((1.0 - share) * low.uncertainty_pct, share * high.uncertainty_pct)


def _is_dense(recent: Sequence[Sample], now_s: float) -> bool:
    """Enough readings, none of them long ago."""
    times = [sample.time_s for sample in recent]
    gaps = [after - before for before, after in zip(times, times[1:], strict=False)]
    return (
        len(times) >= LEAST_SAMPLES
        and now_s - times[-1] <= LONGEST_GAP_S
        and max(gaps, default=0.0) <= LONGEST_GAP_S
    )


def _rate_pct_per_h(recent: Sequence[Sample]) -> float:
    """Slope of the straight line through the last two hours [%RH/h]."""
    hours = np.array([sample.time_s for sample in recent]) / 3600.0
    slope = np.polyfit(hours - hours.mean(), [sample.humidity_pct for sample in recent], 1)[0]
    return float(slope)


def _remaining(samples: Sequence[Sample]) -> tuple[float | None, float | None]:
    """How far it still has to go [%RH] and how long that takes [s].

    From three means over equal times it is told where an exponential approach ends (Aitken). The times
    reach over the last three quarters of what there is: a slow jar shows its bend only over hours.
    """
    begin_s, end_s = samples[0].time_s, samples[-1].time_s
    span_s = (end_s - begin_s) / 4.0
    means = []
    for part in (3, 2, 1):
        from_s, to_s = end_s - part * span_s, end_s - (part - 1) * span_s
        inside = [s.humidity_pct for s in samples if from_s <= s.time_s <= to_s]
        if not inside:
            return None, None
        means.append(float(np.mean(inside)))
    first, second = means[1] - means[0], means[2] - means[1]
    if abs(second) <= _NOISE_PCT or span_s <= 0.0:
        return 0.0, 0.0
    is_bending = abs(first) > abs(second) and first * second > 0.0
    tau_s = min(span_s / math.log(first / second), _SLOWEST_TAU_S) if is_bending else _SLOWEST_TAU_S
    ratio = math.exp(-span_s / tau_s)
    # From the mean of the last part to where it is heading, and what of that is left at the part's end.
    left_pct = second * ratio / (1.0 - ratio) * (span_s / tau_s) * ratio / (1.0 - ratio)
    wait_s = tau_s * math.log(abs(left_pct) / REMAINING_PCT) if abs(left_pct) > REMAINING_PCT else 0.0
    return left_pct, wait_s


def _went_away(samples: Sequence[Sample], reference_pct: float | None) -> bool:
    """It was nearer to the salt's humidity than it is now: room air comes in, or the salt fell dry."""
    if reference_pct is None or len(samples) < 3 * LEAST_SAMPLES:
        return False
    last = float(np.median([s.humidity_pct for s in samples[-LEAST_SAMPLES:]]))
    smooth = np.convolve([s.humidity_pct for s in samples], np.ones(LEAST_SAMPLES) / LEAST_SAMPLES, "valid")
    # Passing through on the way to a value of its own is what a sensor with an error does; so is going
    # straight away from the salt's.
    is_through = (samples[0].humidity_pct - reference_pct) * (last - reference_pct) < 0
    nearest_pct = float(np.min(np.abs(smooth - reference_pct))) + _AWAY_PCT
    came_near = abs(samples[0].humidity_pct - reference_pct) > nearest_pct
    return came_near and not is_through and abs(last - reference_pct) > nearest_pct


def _is_stuck(samples: Sequence[Sample], reference_pct: float | None) -> bool:
    """Not one step in all the time, far from where it should be."""
    values = [sample.humidity_pct for sample in samples]
    far = reference_pct is None or abs(values[-1] - reference_pct) > MOST_OFFSET_PCT
    return far and max(values) - min(values) < 0.02
