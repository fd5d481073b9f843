"""What pictures over time share: a frame, lines broken at gaps, bands, marks of the site's own hours."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from monitor.model.answers import Spread
from web.axes import SIDE, Tick, share
from web.present import Presenter, day

_MOST_MARKS = 6  # so many stand apart on a phone
_HOURS_APART = (3, 6, 12)
_APART = 0.035  # letters closer than this share of the picture are put onto one place
_EDGE = 0.05
_WORDS = 0.2  # of a phone's picture: a day in words, and half of another one
Band = tuple[float, float, float, float]  # time, then the 10th, 50th and 90th percentile


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """From a time and a figure to a position; `bottom` and `top` are the figures at the edges."""

    from_s: float
    to_s: float
    top: float
    bottom: float = 0.0

    def x(self, at_s: float) -> float:
        """Share of the picture's width."""
        return min(max((at_s - self.from_s) / (self.to_s - self.from_s), 0.0), 1.0)

    def y(self, value: float) -> float:
        """Share of the picture's height, from above."""
        return min(max(1.0 - (value - self.bottom) / (self.top - self.bottom), 0.0), 1.0)

    def point(self, at_s: float, value: float) -> str:
        """As the lines of the inner square want it."""
        return f"{SIDE * self.x(at_s):.0f},{SIDE * self.y(value):.0f}"


def line(frame: Frame, points: Iterable[tuple[float, float]]) -> str:
    """A line; a single point becomes a dot."""
    drawn = [frame.point(at_s, value) for at_s, value in points]
    return " ".join(drawn * 2 if len(drawn) == 1 else drawn)


def lines(frame: Frame, times: Sequence[float | None], values: Sequence[float | None]) -> tuple[str, ...]:
    """A line for each stretch without a gap: nothing is drawn over what was not measured."""
    return tuple(
        line(frame, [(times[n] or 0.0, values[n] or 0.0) for n in stretch]) for stretch in stretches(values)
    )


def area(frame: Frame, points: Sequence[tuple[float, float, float]]) -> str:
    """A band of (time, low, high)."""
    low = [frame.point(at_s, value) for at_s, value, _ in points]
    high = [frame.point(at_s, value) for at_s, _, value in reversed(points)]
    return " ".join(low + high)


def cut(bands: Sequence[Band], from_s: float, to_s: float) -> list[Band]:
    """The part of a course that lies in a window, with its ends in between two points where they must be."""
    if not bands:
        return []
    inside = [band for band in bands if from_s < band[0] < to_s]
    ends = [_between(bands, at_s) for at_s in (from_s, to_s)]
    return [band for band in (ends[0], *inside, ends[1]) if band is not None]


def _between(bands: Sequence[Band], at_s: float) -> Band | None:
    for near, far in zip(bands, bands[1:], strict=False):
        if near[0] <= at_s <= far[0]:
            part = (at_s - near[0]) / (far[0] - near[0]) if far[0] > near[0] else 0.0
            low, middle, high = (a + part * (b - a) for a, b in zip(near[1:], far[1:], strict=True))
            return at_s, low, middle, high
    return bands[0] if bands[0][0] == at_s else None


def spread_bands(points: Iterable[tuple[float, Spread | None]]) -> list[Band]:
    """Those of (time, spread) that are known."""
    return [
        (at_s, spread.p10, spread.p50, spread.p90)
        for at_s, spread in points
        if spread is not None and spread.p10 is not None and spread.p50 is not None and spread.p90 is not None
    ]


def stretches(values: Sequence[float | None]) -> list[list[int]]:
    """Runs of places that hold a figure."""
    runs: list[list[int]] = []
    for number, value in enumerate(values):
        if value is None:
            continue
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def letters(moments: Iterable[tuple[float, str]], frame: Frame) -> tuple[Tick, ...]:
    """Letters over the moments (time, letter) of a window; those that nearly touch share one place."""
    marks: list[tuple[float, str]] = []
    for at_s, letter in sorted(moments):
        if not frame.from_s <= at_s <= frame.to_s:
            continue
        x = frame.x(at_s)
        if marks and x - marks[-1][0] < _APART:
            kept_x, held = marks.pop()
            marks.append((kept_x, held if letter in held else held + letter))
        else:
            marks.append((x, letter))
    return tuple(Tick(at=share(x), words=held, anchor=_anchor(x, _EDGE)) for x, held in marks)


def across(present: Presenter, from_s: float, to_s: float) -> tuple[Tick, ...]:
    """Marks at the site's own round hours, for a longer time at its midnights."""
    hours = (to_s - from_s) / 3600.0
    apart = next((step for step in _HOURS_APART if hours / step <= _MOST_MARKS), None)
    return midnights(present, from_s, to_s) if apart is None else _round_hours(present, from_s, to_s, apart)


def _round_hours(present: Presenter, from_s: float, to_s: float, apart: int) -> tuple[Tick, ...]:
    moment = present.local(from_s).replace(minute=0, second=0, microsecond=0, hour=0)
    marks = []
    while moment.timestamp() < to_s:
        x = (moment.timestamp() - from_s) / (to_s - from_s)
        if 0.02 < x < 0.98:
            words = day(moment) if moment.hour == 0 else f"{moment:%H:%M}"
            marks.append(Tick(at=share(x), words=words, anchor=_anchor(x, _EDGE)))
        # Arithmetic of the wall clock: the next mark is the next round local hour, however long that takes.
        moment += dt.timedelta(hours=apart)
    return _without_touching(marks)


def midnights(present: Presenter, from_s: float, to_s: float) -> tuple[Tick, ...]:
    """The site's own midnights, so many that they stand apart on a phone."""
    first = present.local(from_s).date()
    days = max((present.local(to_s).date() - first).days, 1)
    every = -(-days // _MOST_MARKS)
    marks = []
    for number in range(every, days + 1, every):
        midnight = dt.datetime.combine(
            first + dt.timedelta(days=number), dt.time(), present.local(from_s).tzinfo
        )
        x = (midnight.timestamp() - from_s) / (to_s - from_s)
        if 0.02 < x < 0.98:
            marks.append(Tick(at=share(x), words=day(midnight), anchor=_anchor(x, _EDGE)))
    return _without_touching(marks)


def _without_touching(marks: list[Tick]) -> tuple[Tick, ...]:
    """At an edge words stand on one side of their mark: where these would touch others, it stays alone."""
    apart = [float(later.at) - float(mark.at) for mark, later in zip(marks, marks[1:], strict=False)]
    if apart and marks[-1].anchor == "end" and apart[-1] < 100.0 * _WORDS:
        marks = [*marks[:-1], replace(marks[-1], words="")]
    if apart and marks[0].anchor == "start" and apart[0] < 100.0 * _WORDS:
        marks = [replace(marks[0], words=""), *marks[1:]]
    return tuple(marks)


def _anchor(x: float, edge: float) -> str:
    return "end" if x > 1.0 - edge else "start" if x < edge else "middle"
