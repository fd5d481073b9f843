"""The two drawings of a room's page: its hours of the day, and its months; finished positions."""

from dataclasses import dataclass

from monitor.model.room_air import DayAnswer, MonthAnswer, SeasonAnswer
from web.axes import SIDE, Tick, marks_up, share
from web.present import signed

_HOURS = 24
_MOST_MONTH_WORDS = 8  # as many as stand beside each other on a phone
_BARS_FROM = 0.15  # of the picture's width: the words of the upright axis stand before it
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFigure:
    """Vapour by the hour: the middle day as a line, eight days of ten as a band."""

    line: str
    band: str
    up: tuple[Tick, ...]
    across: tuple[Tick, ...]
    marks: tuple[tuple[str, str, str], ...]  # (x, y, kind) of the driest and the dampest hour
    spoken: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One month."""

    x: str
    y: str
    width: str
    height: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonRow:
    month: str
    vapour: str
    dew_point: str
    humidity: str
    temperature: str
    days: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonFigure:
    """Vapour by the month; months that were not measured are left empty."""

    bars: tuple[Bar, ...]
    up: tuple[Tick, ...]
    across: tuple[Tick, ...]
    rows: tuple[SeasonRow, ...]  # the newest first
    spoken: str


def day_figure(day: DayAnswer) -> DayFigure:
    """Positions in the square that is stretched to the picture."""
    known = [
        (hour.hour, hour.vapour_g_m3.p10 or 0.0, hour.vapour_g_m3.p50 or 0.0, hour.vapour_g_m3.p90 or 0.0)
        for hour in day.hours
    ]
    top = 1.12 * max(high for _, _, _, high in known)
    low = [_point(hour, value, top) for hour, value, _, _ in known]
    high = [_point(hour, value, top) for hour, _, _, value in reversed(known)]
    marks = tuple(
        (share(_x(hour.hour)), share(1.0 - (hour.vapour_g_m3.p50 or 0.0) / top), kind)
        for hour, kind in ((day.driest, "driest"), (day.dampest, "dampest"))
    )
    return DayFigure(
        line=" ".join(_point(hour, value, top) for hour, _, value, _ in known),
        band=" ".join(low + high),
        up=marks_up(top, "g/m³"),
        across=tuple(
            Tick(at=share(hour / _HOURS), words=f"{hour:02}:00", anchor=_anchor(hour))
            for hour in (0, 6, 12, 18, 24)
        ),
        marks=marks,
        spoken=(
            f"Water in the air by the hour: {day.driest.vapour_g_m3.p50:.1f} g/m³ from "
            f"{day.driest.hour:02}:00, {day.dampest.vapour_g_m3.p50:.1f} g/m³ from "
            f"{day.dampest.hour:02}:00."
        ),
    )


def season_figure(season: SeasonAnswer) -> SeasonFigure:
    """A bar a month, over every month from the first to the last."""
    first, last = _number(season.months[0].month), _number(season.months[-1].month)
    count = last - first + 1
    top = 1.12 * season.dampest.vapour_g_m3
    every = -(-count // _MOST_MONTH_WORDS)
    return SeasonFigure(
        bars=tuple(_bar(month, first, count, top) for month in season.months),
        up=marks_up(top, "g/m³"),
        across=tuple(
            Tick(
                at=share(_across((number + 0.5) / count)),
                words=MONTHS[(first + number) % 12][:3],
                anchor="middle",
            )
            for number in range(0, count, every)
        ),
        rows=tuple(_row(month) for month in reversed(season.months)),
        spoken=(
            f"Water in the air by the month: from {season.driest.vapour_g_m3:.1f} g/m³ to "
            f"{season.dampest.vapour_g_m3:.1f} g/m³."
        ),
    )


def _x(hour: int) -> float:
    return (hour + 0.5) / _HOURS


def _point(hour: int, vapour_g_m3: float, top: float) -> str:
    return f"{SIDE * _x(hour):.1f},{SIDE * (1.0 - vapour_g_m3 / top):.1f}"


def _anchor(hour: int) -> str:
    return "start" if hour == 0 else "end" if hour == _HOURS else "middle"


def _number(month: str) -> int:
    """Months since the year 0."""
    return 12 * int(month[:4]) + int(month[5:]) - 1


def _bar(month: MonthAnswer, first: int, count: int, top: float) -> Bar:
    height = month.vapour_g_m3 / top
    return Bar(
        x=share(_across((_number(month.month) - first + 0.12) / count)),
        y=share(1.0 - height),
        width=share((1.0 - _BARS_FROM) * 0.76 / count),
        height=share(height),
    )


def _across(part: float) -> float:
    return _BARS_FROM + (1.0 - _BARS_FROM) * part


def _row(month: MonthAnswer) -> SeasonRow:
    return SeasonRow(
        month=f"{MONTHS[int(month.month[5:]) - 1][:3]} {month.month[:4]}",
        vapour=f"{month.vapour_g_m3:.1f}",
        dew_point="–" if month.dew_point_c is None else signed(month.dew_point_c),
        humidity=f"{month.humidity_pct:.0f}",
        temperature=signed(month.temperature_c),
        days=str(month.days),
    )
