"""Humidity of the air over saturated salt solutions, and which of them fit a box."""

import math
from collections.abc import Iterable
from itertools import pairwise

from monitor.model.salt import Salt

# What a jar in a workshop adds to the table, standard uncertainties [%RH]: the salt's purity and wetness;
# what is left to settle; the sensor's own repeatability. Own estimate.
_PREPARED_SD_PCT, _SETTLED_SD_PCT, _REPEAT_SD_PCT = 0.3, 0.3, 0.2
# Sensor and salt agree within 0.2 K; 1 K is 6 % of a humidity (4.5 %RH at 75, 0.7 at 11 %RH).
_UNEVEN_K = 0.2
_SHARE_PER_K = 0.06
_COVERAGE = 2.0  # 95 %
# Two points nearer to each other than this tell an offset, not a gain.
LEAST_APART_PCT = 15.0


def salt_humidity_pct(salt: Salt, temperature_c: float) -> float:
    """Humidity over a saturated salt [%RH], straight between published points.

    Args:
        temperature_c: Of salt and sensor [°C], within the salt's published range.

    Returns:
        %RH; the straight line is within 0.04 %RH of the published polynomials.
    """
    lowest_c, highest_c = salt.range_c
    if not lowest_c <= temperature_c <= highest_c:
        raise ValueError(
            f"the humidity over {salt.formula} is published for {lowest_c:g} to {highest_c:g} °C, "
            f"not for {temperature_c:.1f} °C"
        )
    for (below_c, below_pct), (above_c, above_pct) in pairwise(salt.points):
        if temperature_c <= above_c:
            share = (temperature_c - below_c) / (above_c - below_c)
            return below_pct + share * (above_pct - below_pct)
    return salt.points[-1][1]


def jar_uncertainty_pct(salt: Salt, temperature_c: float) -> float:
    """How well the humidity in a jar over this salt is known, 95 % [%RH]: table, slush, rest and warmth."""
    uneven_pct = salt_humidity_pct(salt, temperature_c) * _SHARE_PER_K * _UNEVEN_K / math.sqrt(3.0)
    parts = (
        salt.uncertainty_pct / _COVERAGE,
        _PREPARED_SD_PCT,
        _SETTLED_SD_PCT,
        _REPEAT_SD_PCT,
        uneven_pct,
    )
    return _COVERAGE * math.sqrt(sum(part * part for part in parts))


def fitting_salts(salts: Iterable[Salt], humidity_pct: float, temperature_c: float) -> tuple[Salt, ...]:
    """The pair that takes a humidity best between them, then the others by nearness.

    Of the pair the first is the nearest there is; the second the nearest on its other side, at least
    15 %RH from the first; where there is none, the nearest beyond 15 %RH.
    """
    known = [
        salt for salt in salts if salt.is_offered and salt.range_c[0] <= temperature_c <= salt.range_c[1]
    ]

    def distance_pct(salt: Salt) -> float:
        # A salt of which the table knows little counts as further away.
        return abs(salt_humidity_pct(salt, temperature_c) - humidity_pct) + 2.0 * salt.uncertainty_pct

    ranked = sorted(known, key=distance_pct)
    if not ranked:
        return ()
    first = ranked[0]
    at_pct = salt_humidity_pct(first, temperature_c)
    apart = [
        salt
        for salt in ranked
        if abs(salt_humidity_pct(salt, temperature_c) - at_pct) >= LEAST_APART_PCT
        and salt.uncertainty_pct < 1.0
    ]
    across = [
        s for s in apart if (salt_humidity_pct(s, temperature_c) - humidity_pct) * (at_pct - humidity_pct) < 0
    ]
    second = (across or apart)[:1]
    return (first, *second, *(salt for salt in ranked if salt not in (first, *second)))
