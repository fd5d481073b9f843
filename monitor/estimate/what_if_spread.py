"""From the members of a what-if to what is told: percentiles, and never more digits than are known."""

import math

import numpy as np

from monitor.estimate.ensemble import three_digits
from monitor.model.answers import Spread
from monitor.physics.constants import Array


def percent(content: float) -> float:
    """Content [kg/kg] as percent with three significant digits: more is not known."""
    return three_digits(100.0 * float(content))


def low_and_high(values: Array) -> tuple[Array, Array]:
    """10th and 90th percentile over the members, the last axis, with the middle of the answer inside."""
    low, high = np.quantile(values[..., 1:], [0.1, 0.9], axis=-1)
    middle = values[..., 0]
    return np.minimum(low, middle), np.maximum(high, middle)


def spread(values: Array, factor: float = 1.0) -> Spread:
    """Percentiles of one quantity, the middle being the first member's."""
    low, high = low_and_high(values)
    return Spread(
        p10=three_digits(factor * float(low)),
        p50=three_digits(factor * float(values[0])),
        p90=three_digits(factor * float(high)),
    )


def time_spread(times_h: Array, *, never: str, perhaps: str) -> Spread:
    """Percentiles of a time that for some members, or for all, never comes."""
    if math.isinf(times_h[0]):
        return Spread(p10=None, p50=None, p90=None, why=never)
    low, high = np.quantile(times_h[1:], [0.1, 0.9], method="inverted_cdf")
    return Spread(
        p10=_hours(min(low, times_h[0])),
        p50=_hours(times_h[0]),
        p90=_hours(max(high, times_h[0])),
        why=perhaps if math.isinf(high) else None,
    )


def first_over_h(hours: Array, values: Array, limit: float) -> Array:
    """When each member first passes a limit upwards [h], shape (members,); infinite where it never does."""
    return np.array([_first_over(hours, values[:, member], limit) for member in range(values.shape[1])])


def _first_over(hours: Array, values: Array, limit: float) -> float:
    over = np.nonzero(values > limit)[0]
    if len(over) == 0:
        return math.inf
    at = int(over[0])
    if at == 0:
        return 0.0
    share = (limit - values[at - 1]) / (values[at] - values[at - 1])
    root = math.sqrt(hours[at - 1]) + share * (math.sqrt(hours[at]) - math.sqrt(hours[at - 1]))
    return float(root * root)


def _hours(value: float) -> float | None:
    return None if math.isinf(value) else round(float(value), 1 if value >= 1 else 2)
