"""The past of a place's air as a picture, and where a box is heading: drawn here, so it needs no script."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.model.answers import BoxCourse
from web.axes import Tick, percents_up, share
from web.boxes import marks
from web.charts import Chart
from web.present import ANY_PCT, Presenter, day, percent, signed
from web.timeframe import Band, Frame, across, area, cut, line, lines, spread_bands, stretches

_MOST_POINTS = 300  # about what a phone has pixels for
_LEAST_TOP_PCT = 20.0
_AHEAD_ROWS = 8
_AIR_COLUMNS = ("lowest", "mean", "highest", "room", "dew_point")
NO_COURSE = BoxCourse(past=(), ahead=(), marks=(), limit_loading_pct=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Positions of marks in percent of the picture, lines in its inner square."""

    air: tuple[str, ...]
    band: tuple[str, ...]
    room: tuple[str, ...]
    ahead: str
    ahead_band: str
    now_x: str | None
    limit_y: str | None
    limit_words: str
    limit_dy: str
    marks: marks.Marks
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    dew: tuple[str, ...]
    dew_up: tuple[Tick, ...]
    ahead_sentence: str
    ahead_rows: tuple[tuple[str, str], ...]


def figure(
    chart: Chart,
    present: Presenter,
    *,
    limit_pct: float | None = None,
    course: BoxCourse = NO_COURSE,
    ahead_s: float = 0.0,
) -> Figure | None:
    """The picture; None where nothing was measured.

    Args:
        limit_pct: Humidity that the contents ask for; None or 100 = none to draw.
        course: Of the box, where there is one.
        ahead_s: How far its forecast is drawn.
    """
    columns = _thinned(chart.columns)
    times = columns["time"]
    if not stretches(columns["mean"]):
        return None
    ahead = _ahead(course, chart.to_s, chart.to_s + ahead_s)
    frame = Frame(
        from_s=chart.from_s,
        to_s=ahead[-1][0] if ahead else chart.to_s,
        top=_top(columns, ahead, limit_pct),
    )
    has_limit = limit_pct is not None and limit_pct < ANY_PCT
    limit_y = frame.y(limit_pct) if limit_pct is not None else 0.0
    dew_frame = _dew_frame(columns["dew_point"], frame)
    return Figure(
        air=lines(frame, times, columns["mean"]),
        band=_bands(columns, frame),
        room=lines(frame, times, columns["room"]) if chart.has_room else (),
        ahead=line(frame, [(band[0], band[2]) for band in ahead]) if ahead else "",
        ahead_band=area(frame, [(at_s, low, high) for at_s, low, _, high in ahead]),
        now_x=share(frame.x(chart.to_s)) if ahead else None,
        limit_y=share(limit_y) if has_limit else None,
        limit_words="" if limit_pct is None else f"limit {humidity(limit_pct)}",
        limit_dy="-5" if limit_y > 0.12 else "14",
        marks=marks.over(course.marks, frame, present),
        across=across(present, frame.from_s, frame.to_s),
        up=percents_up(frame.top),
        dew=lines(dew_frame, times, columns["dew_point"]),
        dew_up=_dew_up(dew_frame),
        ahead_sentence=_ahead_sentence(ahead, limit_pct, present),
        ahead_rows=_ahead_rows(ahead, present),
    )


def _thinned(columns: Mapping[str, list[float | None]]) -> dict[str, list[float | None]]:
    """So many neighbours as one that what is left can be seen apart; mostly gap stays gap."""
    every = -(-len(columns["time"]) // _MOST_POINTS)
    if every < 2:
        return dict(columns)
    starts = range(0, len(columns["time"]), every)
    thin: dict[str, list[float | None]] = {"time": [columns["time"][n] for n in starts]}
    ways = {"lowest": min, "highest": max}
    for name in _AIR_COLUMNS:
        thin[name] = []
        for start in starts:
            group = columns[name][start : start + every]
            known = [value for value in group if value is not None]
            if 2 * len(known) < len(group) or not known:
                thin[name].append(None)
            else:
                thin[name].append(ways[name](known) if name in ways else sum(known) / len(known))
    return thin


def _ahead(course: BoxCourse, from_s: float, to_s: float) -> list[Band]:
    bands = spread_bands((point.at_s, point.humidity_pct) for point in course.ahead)
    if not bands or to_s <= from_s:
        return []
    if 0.0 < bands[0][0] - from_s < 6 * 3600.0:  # the estimate is a little newer than the last whole span
        bands = [(from_s, *bands[0][1:]), *bands]
    return cut(bands, from_s, min(to_s, bands[-1][0]))


def _top(columns: Mapping[str, list[float | None]], ahead: Sequence[Band], limit_pct: float | None) -> float:
    drawn = [value for name in ("highest", "room") for value in columns[name] if value is not None]
    highest = max([*drawn, *(band[3] for band in ahead)], default=0.0)
    least = 1.2 * limit_pct if limit_pct is not None and limit_pct < ANY_PCT else _LEAST_TOP_PCT
    return min(max(least, highest + 3.0), 103.0)


def _bands(columns: Mapping[str, list[float | None]], frame: Frame) -> tuple[str, ...]:
    known = [
        None if low is None or high is None else low
        for low, high in zip(columns["lowest"], columns["highest"], strict=True)
    ]
    return tuple(
        area(
            frame,
            [
                (columns["time"][n] or 0.0, columns["lowest"][n] or 0.0, columns["highest"][n] or 0.0)
                for n in stretch
            ],
        )
        for stretch in stretches(known)
        if len(stretch) > 1
    )


def _dew_frame(dew_points: Sequence[float | None], frame: Frame) -> Frame:
    known = [value for value in dew_points if value is not None] or [0.0]
    return Frame(from_s=frame.from_s, to_s=frame.to_s, bottom=min(known) - 2.0, top=max(known) + 2.0)


def _dew_up(frame: Frame) -> tuple[Tick, ...]:
    """Two or three round degrees."""
    apart = next(step for step in (1, 2, 5, 10, 20, 50, 100) if (frame.top - frame.bottom) / step < 4.0)
    first = -(-int(frame.bottom // 1) // apart) * apart
    degrees = range(first, int(frame.top) + 1, apart)
    return tuple(
        Tick(at=share(frame.y(value)), words=f"{signed(value)} °C", anchor="start")
        for value in degrees
        if 0.05 < frame.y(value) < 0.95
    )


def _ahead_sentence(ahead: Sequence[Band], limit_pct: float | None, present: Presenter) -> str:
    if not ahead:
        return ""
    at_s, low, _, high = ahead[-1]
    words = (
        f"If nothing changes, it comes to {percent(low)} to {humidity(high)} by {day(present.local(at_s))}"
    )
    if limit_pct is None or limit_pct >= ANY_PCT:
        return f"{words}."
    over = next((band for band in ahead if band[2] > limit_pct), None)
    if over is None:
        may = high > limit_pct
        return f"{words}{'; it may pass its limit by then' if may else ', under its limit'}."
    if over == ahead[0]:
        return f"{words}: over its limit."
    return f"{words}; it is likely to pass its limit about {day(present.local(over[0]))}."


def _ahead_rows(ahead: Sequence[Band], present: Presenter) -> tuple[tuple[str, str], ...]:
    every = -(-len(ahead) // _AHEAD_ROWS) or 1
    return tuple(
        (present.clock(at_s), f"{percent(middle)} ({percent(low)} to {percent(high)})")
        for at_s, low, middle, high in ahead[::every]
    )
