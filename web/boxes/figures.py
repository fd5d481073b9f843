"""Figures of a box with their range in words, never a digit finer than the range."""

import math

from monitor.model.answers import Spread

# As far as a forecast looks: what lies at its end means "or more".
LONGEST_DAYS = 730.0
_LEAST = 0.001  # less of anything is not told apart from nothing
_USUAL_DIGITS = 2


def known(spread: Spread, unit: str, times: float = 1.0) -> str:
    """'about 41 g (36 to 46)': no finer than the range."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    low, middle, high = times * spread.p10, times * spread.p50, times * spread.p90
    if high < _LEAST:
        return f"under {_LEAST:g}{unit}"
    step = step_of((high - low) / 2.0, middle)
    words = [rounded(value, step) for value in (low, middle, high)]
    if words[0] == words[2]:
        return f"about {words[1]}{unit}"
    if float(words[1]) == 0.0:
        return f"up to {words[2]}{unit}"
    return f"about {words[1]}{unit} ({words[0]} to {words[2]})"


def days(spread: Spread) -> str:
    """'about 9 days (5 to 16)'; a forecast ends somewhere, and says so."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    if spread.p10 >= LONGEST_DAYS:
        return "two years or more"
    if spread.p50 >= LONGEST_DAYS:
        return f"at least {_at_least(spread.p10)} days"
    if spread.p90 >= LONGEST_DAYS:
        step = step_of((spread.p50 - spread.p10) / 2.0, spread.p50)
        return f"about {rounded(spread.p50, step)} days ({rounded(spread.p10, step)} to two years or more)"
    if spread.p90 < 1.0:
        return "less than a day"
    return known(spread, " days")


def days_briefly(spread: Spread) -> str:
    """'5 to 16 more days', empty where it is not known."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return ""
    if spread.p10 >= LONGEST_DAYS:
        return "two years or more"
    if spread.p90 < 1.0:
        return "less than a day"
    if spread.p90 >= LONGEST_DAYS:
        return f"at least {_at_least(spread.p10)} more days"
    step = max(step_of((spread.p90 - spread.p10) / 2.0, spread.p50), 1.0)
    low, high = rounded(spread.p10, step), rounded(spread.p90, step)
    if low == high:
        return f"about {low} more days" if low != "1" else "about 1 more day"
    return f"{low} to {high} more days"


def _at_least(value: float) -> str:
    """Whole days, two digits of them, rounded down: the safe side."""
    step = max(step_of(0.0, value), 1.0)
    return f"{math.floor(value / step) * step:.0f}"


def roughly(value: float, unit: str) -> str:
    """'about 0.05 g', of a figure whose range nobody stated: one digit, two from 1 on."""
    if value < _LEAST:
        return f"under {_LEAST:g}{unit}"
    digits = 1 if value < 1.0 else _USUAL_DIGITS
    return f"about {rounded(value, 10.0 ** (math.floor(math.log10(value)) + 1 - digits))}{unit}"


def life(days_of_it: float) -> str:
    """'about 7 hours' of a charge's life."""
    if days_of_it < 1.0 / 24.0:
        return "less than an hour"
    if days_of_it < 0.95:
        return _about(round(24.0 * days_of_it), "hour")
    return _about(round(days_of_it), "day")


def _about(count: int, unit: str) -> str:
    return f"about {count} {unit}{'' if count == 1 else 's'}"


def rounded(value: float, step: float) -> str:
    """A figure on its step, half of one upwards, without an exponent and never minus nought."""
    digits = max(-math.floor(math.log10(step) + 1e-9), 0)
    return f"{math.floor(value / step + 0.5) * step + 0.0:.{digits}f}"


def step_of(half_range: float, middle: float) -> float:
    """The largest of 1, 5, 10, 50 and so on that goes at least twice into half of a range."""
    if half_range <= abs(middle) / 1_000.0:  # a range of nothing would ask for all digits there are
        return 10.0 ** (math.floor(math.log10(max(abs(middle), _LEAST))) + 1 - _USUAL_DIGITS)
    wanted = max(half_range / 2.0, _LEAST)
    power = 10.0 ** math.floor(math.log10(wanted) + 1e-9)
    return 5.0 * power if wanted >= 5.0 * power * (1.0 - 1e-9) else power
