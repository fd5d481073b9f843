"""Two small pictures of a material: its water over humidity, and a spool's water over time."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.estimate.care import Care, UptakePoint
from monitor.model.catalogue import Material
from web.axes import steps

# The picture's own units; it scales with the page.
WIDTH, HEIGHT = 320.0, 184.0
LEFT, RIGHT, TOP, BOTTOM = 38.0, 308.0, 14.0, 150.0
_HOUR_S, _DAY_S = 3600.0, 86_400.0
# Shorter than this a spool's uptake is told in hours.
_LONGEST_IN_HOURS_S = 2.5 * _DAY_S
_TABLE_HUMIDITIES = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0)
_TABLE_SHARES = (0.02, 0.05, 0.1, 0.25, 0.5, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on an axis: where, and what stands there."""

    at: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """`spoken` and the table say the same without the picture."""

    title: str
    lines: tuple[tuple[str, str], ...]  # (kind, points)
    limit_y: str | None
    limit_words_y: str
    drop_x: str | None  # where the limit is reached, on the axis below
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    unit: str  # of the axis below
    spoken: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """From figures to positions."""

    right: float
    top: float

    def x(self, value: float) -> str:
        return f"{LEFT + (RIGHT - LEFT) * value / self.right:.1f}"

    def y(self, value: float) -> str:
        return f"{BOTTOM - (BOTTOM - TOP) * value / self.top:.1f}"


def isotherm_picture(material: Material, care: Care) -> Picture:
    """Water that the material settles at, over the air's humidity."""
    limit_pct = 100.0 * material.limit_content
    points = [(100.0 * humidity, 100.0 * content) for humidity, content in care.isotherm]
    frame = _Frame(right=100.0, top=1.06 * max(points[-1][1], limit_pct))
    humidity_pct = 100.0 * care.limit_humidity
    has_limit = care.limit_humidity < 1.0
    reached = (
        f"it reaches its printing limit of {pct(limit_pct)} % at {humidity_pct:.2g} %RH"
        if has_limit
        else f"it never reaches its printing limit of {pct(limit_pct)} %"
    )
    at = dict(zip((round(h, 3) for h, _ in care.isotherm), (c for _, c in care.isotherm), strict=True))
    return Picture(
        title="Water it settles at, in air of each humidity",
        lines=(("water", _points(frame, points)),),
        limit_y=frame.y(limit_pct),
        limit_words_y=_words_y(frame, limit_pct),
        drop_x=frame.x(humidity_pct) if has_limit else None,
        across=tuple(Tick(at=frame.x(value), words=f"{value:.0f}") for value in (0, 25, 50, 75, 100)),
        up=_up(frame),
        unit="%RH of the air",
        spoken=f"In saturated air it settles at {pct(points[-1][1])} % of water; {reached}.",
        head=("Air %RH", "Water %"),
        rows=tuple((f"{100 * h:.0f}", pct(100.0 * at[h])) for h in _TABLE_HUMIDITIES),
    )


def uptake_picture(material: Material, care: Care) -> Picture:
    """A full, dry spool left open: its mean water and that of its outer windings over time."""
    limit_pct = 100.0 * material.limit_content
    curve = care.uptake.curve
    in_hours = curve[-1].time_s <= _LONGEST_IN_HOURS_S
    unit_s, unit = (_HOUR_S, "hours") if in_hours else (_DAY_S, "days")
    frame = _Frame(
        right=curve[-1].time_s / unit_s,
        top=1.12 * max(100.0 * max(point.outer for point in curve), limit_pct),
    )
    mean = [(point.time_s / unit_s, 100.0 * point.mean) for point in curve]
    outer = [(point.time_s / unit_s, 100.0 * point.outer) for point in curve]
    rows = [_nearest(curve, share * curve[-1].time_s) for share in _TABLE_SHARES]
    return Picture(
        title="A full, dry spool left out at 23 °C and 50 %RH",
        lines=(("outer", _points(frame, outer)), ("water", _points(frame, mean))),
        limit_y=frame.y(limit_pct),
        limit_words_y=_words_y(frame, limit_pct),
        drop_x=None,
        across=tuple(Tick(at=frame.x(value), words=f"{value:g}") for value in steps(frame.right)),
        up=_up(frame),
        unit=unit,
        spoken=(
            f"After {about(care.uptake.half_s)} the spool holds half of the "
            f"{pct(100.0 * care.heading_for)} % that it heads for; its outer windings, dotted, run ahead."
        ),
        head=(f"After {unit}", "Whole spool %", "Outer windings %"),
        rows=tuple(
            (f"{point.time_s / unit_s:.2g}", pct(100.0 * point.mean), pct(100.0 * point.outer))
            for point in rows
        ),
    )


def pct(value: float) -> str:
    """A water content in percent with the two digits that are known of it."""
    return f"{value:.2g}" if value < 99.5 else "100"


def about(seconds: float) -> str:
    """A duration of this model, in words."""
    return "less than an hour" if seconds < _HOUR_S else f"about {brief(seconds)}"


def brief(seconds: float) -> str:
    """Whole hours, then whole days."""
    if seconds < 1.5 * _HOUR_S:
        return "1 h"
    return f"{seconds / _HOUR_S:.0f} h" if seconds < 2 * _DAY_S else f"{seconds / _DAY_S:.0f} days"


def _points(frame: _Frame, points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{frame.x(x)},{frame.y(y)}" for x, y in points)


def _words_y(frame: _Frame, limit_pct: float) -> str:
    """Above the line, except where that is out of the picture."""
    y = float(frame.y(limit_pct))
    return f"{y - 4.0 if y > TOP + 12.0 else y + 12.0:.1f}"


def _up(frame: _Frame) -> tuple[Tick, ...]:
    return tuple(Tick(at=frame.y(value), words=f"{value:g}") for value in steps(frame.top))


def _nearest(curve: Sequence[UptakePoint], time_s: float) -> UptakePoint:
    return min(curve, key=lambda point: abs(point.time_s - time_s))
