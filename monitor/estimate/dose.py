"""What a history of air did to a material: the constant humidity that would have done the same, and the dose.

Both are of the bare strand (1.75 mm unless said): how fast a wound spool follows is the spool's own matter.
After the mean kinetic temperature of cold chains: one figure for a history, never without its worst hour,
and bounds in place of a figure where much of it was not measured (A-41).
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.model.catalogue import Material
from monitor.physics.constants import Array
from monitor.physics.diffusion import cylinder_modes, diffusivity_m2_s
from monitor.physics.isotherm import polymer_content

STRAND_RADIUS_M = 0.875e-3
LEAST_COVERAGE = 0.9  # below it the bounds are told, not a figure
WORST_HOUR_S = 3_600.0
_STEPS = 40  # halvings: to 1e-12 of the whole range


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of steady air; a stretch without humidity is a gap."""

    seconds: float
    temperature_c: float
    humidity: float | None  # 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """A figure, or where too little was measured what it lies between."""

    low: float
    high: float

    @property
    def is_one(self) -> bool:
        return self.low == self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """What a window of air did to one material."""

    coverage: float  # share of the window that was measured
    equivalent_humidity: Bounds  # 0 to 1, at the temperatures that were
    dose: Bounds  # dimensionless, of the limit: see `dose_of`
    worst_hour_humidity: float | None  # mean of the dampest hour that was measured
    mean_temperature_c: float


def dose_over(
    material: Material,
    spans: Sequence[Span],
    *,
    driest: float,
    dampest: float,
    radius_m: float = STRAND_RADIUS_M,
) -> Dose:
    """Equivalent humidity and dose of a window.

    Args:
        material: Whose isotherm, diffusivity and limit count.
        spans: The window, without holes, in order; at least one with a humidity.
        driest: What a gap is taken for at the best, 0 to 1.
        dampest: At the worst, such as the air of the room (A-36).
        radius_m: Of the strand.

    ValueError where nothing of the window was measured.
    """
    whole_s = sum(span.seconds for span in spans)
    measured_s = sum(span.seconds for span in spans if span.humidity is not None)
    if measured_s <= 0.0:
        raise ValueError("nothing of the window was measured")
    coverage = measured_s / whole_s
    low, high = (_filled(spans, fill) for fill in (driest, dampest))
    equivalents = [equivalent_humidity(material, *each, radius_m=radius_m) for each in (low, high)]
    doses = [dose_of(material, *each, radius_m=radius_m) for each in (low, high)]
    if coverage >= LEAST_COVERAGE:
        # What lies between the bounds is small then: told is the mean of what was measured.
        known = _filled(spans, _mean_measured(spans))
        equivalents = [equivalent_humidity(material, *known, radius_m=radius_m)] * 2
        doses = [dose_of(material, *known, radius_m=radius_m)] * 2
    return Dose(
        coverage=coverage,
        equivalent_humidity=Bounds(low=min(equivalents), high=max(equivalents)),
        dose=Bounds(low=min(doses), high=max(doses)),
        worst_hour_humidity=worst_hour(spans),
        mean_temperature_c=sum(s.temperature_c * s.seconds for s in spans) / whole_s,
    )


def dose_of(
    material: Material,
    seconds: Array,
    temperature_c: Array,
    humidity: Array,
    *,
    radius_m: float = STRAND_RADIUS_M,
) -> float:
    """Integral of max(0, w_eq - w_limit) / w_limit times D(T) / a^2 over time (A.8, 2).

    Each array has shape (spans,). 0 while the air could never take the material over its limit; it grows with
    humidity, time and warmth, and over adjoining windows it adds up. Counting the excess in limits makes
    materials comparable.
    """
    over = np.maximum(polymer_content(material, humidity) - material.limit_content, 0.0)
    return float(np.sum(over / material.limit_content * _rate(material, temperature_c, radius_m) * seconds))


def equivalent_humidity(
    material: Material,
    seconds: Array,
    temperature_c: Array,
    humidity: Array,
    *,
    radius_m: float = STRAND_RADIUS_M,
) -> float:
    """The constant humidity, 0 to 1, that leads to the same water at the end, at the temperatures that were.

    Each array has shape (spans,). The strand begins in equilibrium with the first air of the window, so a
    constant humidity is itself, and no history is worse than its dampest moment.
    """
    start = float(polymer_content(material, humidity[0]))
    kept, shares = _shares(material, seconds, temperature_c, radius_m)
    end = kept * start + float(shares @ polymer_content(material, humidity))
    weight = float(np.sum(shares))
    low, high = float(np.min(humidity)), float(np.max(humidity))
    if weight <= 0.0 or high - low < 1e-12:
        return high
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        if kept * start + weight * float(polymer_content(material, middle)) < end:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def worst_hour(spans: Sequence[Span]) -> float | None:
    """Mean humidity of the dampest hour, of spans that were measured; None where none was.

    Of less than an hour it is the mean of all: a moment at its beginning is no hour.
    """
    best: float | None = None
    window = deque[tuple[float, float]]()
    inside_s, sum_s = 0.0, 0.0
    for span in spans:
        if span.humidity is None:
            continue
        window.append((span.seconds, span.humidity * span.seconds))
        inside_s += span.seconds
        sum_s += span.humidity * span.seconds
        while inside_s - window[0][0] >= WORST_HOUR_S:
            seconds, weighted = window.popleft()
            inside_s -= seconds
            sum_s -= weighted
        if inside_s >= WORST_HOUR_S:
            best = max(best or 0.0, sum_s / inside_s)
    if best is None and inside_s > 0.0:
        return sum_s / inside_s
    return best


def _shares(material: Material, seconds: Array, temperature_c: Array, radius_m: float) -> tuple[float, Array]:
    """What is left of the start at the end, and the share of each span's equilibrium, shape (spans,)."""
    modes = cylinder_modes()
    gone = (_rate(material, temperature_c, radius_m) * seconds)[:, None] * modes.rates  # shape (spans, modes)
    after = np.cumsum(gone[::-1], axis=0)[::-1] - gone  # of all spans that follow
    shares = (np.exp(-after) * -np.expm1(-gone)) @ modes.weights
    kept = float(np.exp(-np.sum(gone, axis=0)) @ modes.weights)
    return kept, np.asarray(shares)


def _rate(material: Material, temperature_c: Array, radius_m: float) -> Array:
    """D(T) / a^2 of each span [1/s]."""
    return diffusivity_m2_s(material.diffusivity_m2_s, material.activation_j_mol, temperature_c) / radius_m**2


def _filled(spans: Sequence[Span], fill: float) -> tuple[Array, Array, Array]:
    return (
        np.array([span.seconds for span in spans]),
        np.array([span.temperature_c for span in spans]),
        np.array([fill if span.humidity is None else span.humidity for span in spans]),
    )


def _mean_measured(spans: Sequence[Span]) -> float:
    measured = [(span.humidity, span.seconds) for span in spans if span.humidity is not None]
    return math.fsum(h * s for h, s in measured) / math.fsum(s for _, s in measured)
