"""A dozen members that carry what is not known: the same for the same question, at every start."""

import math
from statistics import NormalDist

import numpy as np

from monitor.model.answers import Spread
from monitor.model.catalogue import Band
from monitor.physics.constants import Array

COUNT = 13  # the nominal member, which has the catalogue's own figures, and twelve around it
# Axes of what is not known: each has its own order of the same twelve normal quantiles, so that every axis is
# filled evenly; of 400,000 drawings at random these orders have the least correlation (0.11 at most).
DIFFUSIVITY, ISOTHERM, PACK, START, AIR = range(5)
_ORDERS = (
    (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11),
    (10, 0, 3, 11, 8, 4, 5, 7, 2, 1, 6, 9),
    (3, 10, 6, 8, 2, 9, 1, 5, 0, 4, 11, 7),
    (4, 11, 0, 10, 9, 3, 5, 1, 8, 6, 2, 7),
    (4, 6, 7, 10, 1, 0, 11, 2, 3, 8, 9, 5),
)
# A band of the literature is taken as the middle nine tenths, but never wider than a factor of 3 either way:
# the far ends are single outliers.
_BAND_SDS = 1.645
_WIDEST = math.log(3.0) / _BAND_SDS


def deviations(axis: int) -> Array:
    """Standard normal deviations of the members along an axis, shape (13,); 0 for the nominal one."""
    shares = (np.array(_ORDERS[axis]) + 0.5) / len(_ORDERS[axis])
    drawn = np.array([NormalDist().inv_cdf(float(share)) for share in shares])
    return np.concatenate([[0.0], drawn / drawn.std()])


def log_sd(band: Band) -> float:
    """Standard deviation of the logarithm of a figure that the literature gives a band for."""
    return min(0.5 * math.log(band.high / band.low) / _BAND_SDS, _WIDEST)


def percentiles(values: Array) -> tuple[float, float, float]:
    """10th, 50th and 90th of members (13,): the nominal one is the middle, whatever the others do."""
    middle, *others = values.tolist()
    others.sort()
    # Each of the twelve stands for a twelfth, with its middle at its value (Hazen): the tenth lies between
    # the first two. Counting from the outermost values instead would make the range too narrow.
    low = others[0] + 0.7 * (others[1] - others[0])
    high = others[10] + 0.3 * (others[11] - others[10])
    return min(low, middle), middle, max(high, middle)


def percent_spread(contents: Array) -> Spread:
    """Water contents [kg/kg] of the members as percent, three digits: more is not known."""
    low, middle, high = percentiles(100.0 * contents)
    return Spread(p10=three_digits(low), p50=three_digits(middle), p90=three_digits(high))


def three_digits(value: float) -> float:
    return float(f"{value:.3g}")
