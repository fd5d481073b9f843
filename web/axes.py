"""What pictures drawn on the server share: positions in percent, round figures and marks on an axis."""

import math
from dataclasses import dataclass

SIDE = 1000  # of the square that the lines are drawn in; it is stretched to the picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on an axis: where [% of the picture], and what stands there."""

    at: str
    words: str
    anchor: str  # start | middle | end


def share(value: float) -> str:
    """A position in percent of the picture."""
    return f"{100.0 * value:.2f}"


def steps(end: float) -> list[float]:
    """Two to five round figures from 0 up to an end."""
    size = 10.0 ** math.floor(math.log10(end / 2.0))
    step = next(size * times for times in (1.0, 2.0, 5.0, 10.0) if end / (size * times) < 5.0)
    return [float(f"{number * step:.3g}") for number in range(int(end / step) + 1)]


def hours_across(hours: float, step_h: float) -> tuple[Tick, ...]:
    """Marks of an axis of hours from 0, the first and the last set inwards."""
    marks = []
    for number in range(int(hours / step_h + 1e-9) + 1):
        x = number * step_h / hours
        anchor = "start" if x < 0.03 else "end" if x > 0.94 else "middle"
        marks.append(Tick(at=share(x), words=f"{number * step_h:g} h" if number else "0", anchor=anchor))
    return tuple(marks)


def percents_up(top: float) -> tuple[Tick, ...]:
    """Marks of an upright axis of percents that ends at `top`."""
    return marks_up(top, "%")


def marks_up(top: float, unit: str) -> tuple[Tick, ...]:
    """Marks of an upright axis from 0, which is left out, to `top`."""
    return tuple(
        Tick(at=share(1.0 - value / top), words=f"{value:g} {unit}", anchor="start")
        for value in steps(top)
        if value > 0.0
    )
