"""The curve of a what-if, drawn on the server: positions in percent of the picture, finished."""

import datetime as dt
from dataclasses import dataclass

from monitor.service.advice import Advice
from web.axes import SIDE, Tick, percents_up, share
from web.present import Presenter

_HOUR_S = 3600.0
_STEPS_H = (0.1, 0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 72, 120, 168, 336, 720, 1440, 2160, 4320)
_MOST_MARKS = 6  # as many as fit on a phone
_DAYS_FROM_H = 96.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    mean: str  # points of a line
    outer: str
    mean_band: str  # points of an area
    outer_band: str
    limit_y: str
    limit_words: str
    limit_dy: str  # its words stand above the line, or below where that is out of the picture
    cross_x: str | None  # where the outer windings pass the limit
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    spoken: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    hours: float
    top_pct: float

    def x(self, hours: float) -> float:
        return hours / self.hours

    def y(self, percent: float) -> float:
        return 1.0 - percent / self.top_pct

    def point(self, hours: float, percent: float) -> str:
        return f"{SIDE * self.x(hours):.1f},{SIDE * self.y(percent):.1f}"


def figure_of(advice: Advice, present: Presenter) -> Figure:
    """Mean and outer windings with their bands, the limit, and where it is passed."""
    answer = advice.answer
    highest = max(max(point.outer_p90_pct, point.mean_p90_pct) for point in answer.band)
    frame = _Frame(hours=answer.curve[-1].h, top_pct=1.12 * max(highest, answer.limit_pct))
    limit_y = frame.y(answer.limit_pct)
    passed = answer.outer_over_limit_after_h.p50
    return Figure(
        mean=" ".join(frame.point(point.h, point.mean_pct) for point in answer.curve),
        outer=" ".join(frame.point(point.h, point.outer_pct) for point in answer.curve),
        mean_band=_area(frame, [(p.h, p.mean_p10_pct, p.mean_p90_pct) for p in answer.band]),
        outer_band=_area(frame, [(p.h, p.outer_p10_pct, p.outer_p90_pct) for p in answer.band]),
        limit_y=share(limit_y),
        limit_words=f"limit {answer.limit_pct:.2g} %",
        limit_dy="-5" if limit_y > 0.12 else "14",
        cross_x=None if not passed else share(frame.x(passed)),
        across=_across(advice, present, frame),
        up=percents_up(frame.top_pct),
        spoken=_spoken(advice),
    )


def _area(frame: _Frame, band: list[tuple[float, float, float]]) -> str:
    low = [frame.point(hours, value) for hours, value, _ in band]
    high = [frame.point(hours, value) for hours, _, value in reversed(band)]
    return " ".join(low + high)


def _across(advice: Advice, present: Presenter, frame: _Frame) -> tuple[Tick, ...]:
    if advice.begins_s is not None:
        return _midnights(advice.begins_s, present, frame)
    step_h = next((step for step in _STEPS_H if frame.hours / step <= _MOST_MARKS), frame.hours / 4.0)
    count = int(frame.hours / step_h + 1e-9)
    marks = [(number * step_h, _elapsed(number * step_h, frame.hours)) for number in range(count + 1)]
    return tuple(_tick(frame, hours, words) for hours, words in marks)


def _elapsed(hours: float, total_h: float) -> str:
    if hours == 0.0:
        return "0"
    if total_h >= _DAYS_FROM_H:
        return f"{hours / 24.0:.0f} d"
    return f"{hours:g} h" if total_h >= 1.0 else f"{60.0 * hours:.0f} min"


def _midnights(begins_s: float, present: Presenter, frame: _Frame) -> tuple[Tick, ...]:
    """The site's own midnights, however long its days are."""
    begins = present.local(begins_s)
    marks: list[Tick] = []
    day = begins.date()
    while True:
        day += dt.timedelta(days=1)
        midnight = dt.datetime.combine(day, dt.time(), begins.tzinfo)
        hours = (midnight.timestamp() - begins_s) / _HOUR_S
        if hours >= frame.hours:
            return tuple(marks)
        marks.append(_tick(frame, hours, f"{midnight:%a}"))


def _tick(frame: _Frame, hours: float, words: str) -> Tick:
    x = frame.x(hours)
    anchor = "start" if x < 0.03 else "end" if x > 0.96 else "middle"
    return Tick(at=share(x), words=words, anchor=anchor)


def _spoken(advice: Advice) -> str:
    first, last = advice.answer.curve[0], advice.answer.curve[-1]
    what = "the water" if advice.wish.is_strand else "the outer windings"
    mean = (
        ""
        if advice.wish.is_strand
        else f"; the whole spool from {first.mean_pct:.2g} to {last.mean_pct:.2g} %"
    )
    verb = "goes" if advice.wish.is_strand else "go"
    return f"{what} {verb} from {first.outer_pct:.2g} to {last.outer_pct:.2g} %{mean}.".capitalize()
