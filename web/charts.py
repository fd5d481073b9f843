"""The past of a place's air: what was measured, in columns, as a sentence and as a table."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from monitor.errors import BadInputError
from monitor.model.answers import SeriesPoint
from monitor.service.queries import Queries
from web.present import Presenter, day, percent, signed

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
    """`sentence` and `rows` say in words what `columns` holds for the picture; a gap is None."""

    columns: dict[str, list[float | None]]
    from_s: float
    to_s: float
    sentence: str
    rows: tuple[Row, ...]
    has_room: bool
    place: str
    span_s: int


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
    air, dew = _heard(air, air), _heard(dew, air)
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
        from_s=from_s,
        to_s=now_s,
        sentence=_sentence(columns, WINDOWS[window][0]),
        has_room=room is not None,
        place=place,
        span_s=span_s,
        rows=tuple(_rows(columns, present, row_hours, span_s)),
    )


def window_of(args: Mapping[str, str]) -> str:
    """The window that a page was asked for; BadInputError names those that there are."""
    window = args.get("window", "day")
    if window not in WINDOWS:
        raise BadInputError(f"window {window[:20]!r} is unknown; one of: {', '.join(WINDOWS)}")
    return window


def _heard(points: tuple[SeriesPoint, ...], air: tuple[SeriesPoint, ...]) -> tuple[SeriesPoint, ...]:
    """Without the spans that merely lie between two readings of a slow sensor: those are no gap."""
    return tuple(
        point
        for point, place in zip(points, air, strict=True)
        if place.mean is not None or place.covered < LEAST_COVERED
    )


def _known(point: SeriesPoint, value: float | None) -> float | None:
    return None if value is None or point.covered < LEAST_COVERED else round(value, 2)


def _beside(air: tuple[SeriesPoint, ...], outside: tuple[SeriesPoint, ...]) -> list[float | None]:
    """The room's mean at the same times; between two of its own readings the earlier one holds."""
    by_start: dict[float, float | None] = {}
    held = None
    for point in outside:
        held = held if point.mean is None and point.covered >= LEAST_COVERED else _known(point, point.mean)
        by_start[point.start_s] = held
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
        f"In the last {name} the humidity lay between {percent(min(lowest))} "
        f"and {percent(max(highest))} %RH.{missing}"
    )


def _rows(
    columns: dict[str, list[float | None]], present: Presenter, row_hours: int, span_s: int
) -> list[Row]:
    """The newest first, by the site's own hours and days."""
    groups: dict[tuple[int, int], list[int]] = {}
    firsts: dict[tuple[int, int], dt.datetime] = {}
    for number, at_s in enumerate(columns["time"]):
        moment = present.local((at_s or 0.0) - span_s / 2.0)
        days, hours = divmod(row_hours, 24)
        block = (moment.toordinal() // (days or 1), moment.hour // hours if hours else 0)
        groups.setdefault(block, []).append(number)
        firsts.setdefault(block, moment)
    rows = []
    for block, numbers in reversed(groups.items()):
        first = firsts[block]
        rows.append(
            Row(
                when=day(first) if row_hours >= 24 else f"{day(first)}, {first:%H:%M}",
                lowest=_figure([columns["lowest"][n] for n in numbers], min, percent),
                mean=_figure([columns["mean"][n] for n in numbers], _mean, percent),
                highest=_figure([columns["highest"][n] for n in numbers], max, percent),
                dew_point=_figure([columns["dew_point"][n] for n in numbers], _mean, signed),
            )
        )
    return rows


def _figure(
    values: list[float | None], of: Callable[[list[float]], float], words: Callable[[float], str]
) -> str:
    known = [value for value in values if value is not None]
    return words(of(known)) if known else "–"


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
