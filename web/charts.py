"""What a chart shows: columns, and an axis in the site's own time."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from monitor.errors import BadInputError
from monitor.model.answers import SeriesPoint
from monitor.service.queries import Queries
from web.present import Presenter

# Name of the window: (what it is called, its length in hours, span of one point, rows of the table in hours)
WINDOWS: dict[str, tuple[str, int, int, int]] = {
    "day": ("24 hours", 24, 300, 2),
    "week": ("7 days", 168, 3600, 24),
    "month": ("30 days", 720, 3600, 72),
}
# A span that readings cover by less than this is a gap: 5 minutes of it leave one span of an hour whole.
LEAST_COVERED = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    when: str
    lowest: str
    mean: str
    highest: str
    dew_point: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """`columns` and `axis` are drawn by the script; `sentence` and `rows` say the same without one."""

    columns: dict[str, list[float | None]]
    axis: list[tuple[float, str]]
    sentence: str
    rows: tuple[Row, ...]

    def document(self) -> dict[str, Any]:
        return {"columns": self.columns, "axis": self.axis}


def chart(
    queries: Queries, present: Presenter, place: str, room: str | None, window: str, now_s: float
) -> Chart:
    """Humidity band, dew point and the room's humidity over a window that ends now."""
    _, hours, span_s, row_hours = WINDOWS[window]
    now_s = now_s // span_s * span_s  # the span under way is not rolled up yet, which is no gap
    from_s = now_s - hours * 3600.0
    try:
        air = queries.series(place, "humidity", from_s, now_s, span_s).points
        dew = queries.series(place, "dew_point", from_s, now_s, span_s).points
        outside = queries.series(room, "humidity", from_s, now_s, span_s).points if room else ()
    except BadInputError:  # no channel was ever placed here
        air = dew = outside = ()
    columns: dict[str, list[float | None]] = {
        "time": [point.start_s + span_s / 2.0 for point in air],
        "lowest": [_known(point, point.lowest) for point in air],
        "mean": [_known(point, point.mean) for point in air],
        "highest": [_known(point, point.highest) for point in air],
        "dew_point": [_known(point, point.mean) for point in dew],
        "room": _beside(air, outside),
    }
    return Chart(
        columns=columns,
        axis=axis(present, from_s, now_s, hours),
        sentence=_sentence(columns, WINDOWS[window][0]),
        rows=tuple(_rows(columns, present, row_hours)),
    )


def axis(present: Presenter, from_s: float, to_s: float, hours: int) -> list[tuple[float, str]]:
    """Marks at round local hours or days; a day of 25 hours has its marks 25 hours apart."""
    step_hours = 6 if hours <= 48 else 24
    form = "%H:%M" if step_hours < 24 else "%d %b"
    every = 1 if hours <= 200 else 5
    marks: list[tuple[float, str]] = []
    moment = present.local(from_s).replace(minute=0, second=0, microsecond=0, hour=0)
    number = 0
    while moment.timestamp() <= to_s:
        if moment.timestamp() >= from_s and number % every == 0:
            is_midnight = step_hours < 24 and moment.hour == 0
            marks.append((moment.timestamp(), moment.strftime("%d %b" if is_midnight else form)))
        number += 1
        # Wall-clock arithmetic: the next mark is the next round local hour, however long that takes.
        moment = (moment.replace(tzinfo=None) + dt.timedelta(hours=step_hours)).replace(tzinfo=moment.tzinfo)
    return marks


def _known(point: SeriesPoint, value: float | None) -> float | None:
    return None if value is None or point.covered < LEAST_COVERED else round(value, 2)


def _beside(air: tuple[SeriesPoint, ...], outside: tuple[SeriesPoint, ...]) -> list[float | None]:
    by_start = {point.start_s: _known(point, point.mean) for point in outside}
    return [by_start.get(point.start_s) for point in air]


def _sentence(columns: dict[str, list[float | None]], name: str) -> str:
    lowest = [value for value in columns["lowest"] if value is not None]
    highest = [value for value in columns["highest"] if value is not None]
    means = columns["mean"]
    if not lowest or not highest:
        return f"Nothing was measured here in the last {name}."
    gaps = sum(value is None for value in means)
    share_pct = 100 * gaps / len(means)
    missing = f" For {share_pct:.0f} % of the time nothing was measured." if share_pct >= 0.5 else ""
    return (
        f"In the last {name} the humidity lay between {min(lowest):.0f} and {max(highest):.0f} %RH.{missing}"
    )


def _rows(columns: dict[str, list[float | None]], present: Presenter, row_hours: int) -> list[Row]:
    groups: dict[float, list[int]] = {}
    for number, at_s in enumerate(columns["time"]):
        if at_s is not None:
            groups.setdefault(at_s // (row_hours * 3600.0), []).append(number)
    rows = []
    for numbers in reversed(groups.values()):
        first_s = columns["time"][numbers[0]] or 0.0
        rows.append(
            Row(
                when=present.clock(first_s),
                lowest=_figure([columns["lowest"][n] for n in numbers], min),
                mean=_figure([columns["mean"][n] for n in numbers], _mean),
                highest=_figure([columns["highest"][n] for n in numbers], max),
                dew_point=_figure([columns["dew_point"][n] for n in numbers], _mean),
            )
        )
    return rows


def _figure(values: list[float | None], of: Any) -> str:
    known = [value for value in values if value is not None]
    return f"{of(known):.1f}".replace("-", "\N{MINUS SIGN}") if known else "–"


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
