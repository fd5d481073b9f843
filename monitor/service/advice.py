"""Advice on a material in some air: the air of a room looked up, the question put to the estimator."""

import datetime as dt
import zoneinfo
from dataclasses import dataclass
from enum import StrEnum

from monitor.errors import BadInputError, FieldError
from monitor.estimate.what_if import answer_what_if
from monitor.model.answers import SeriesPoint
from monitor.model.catalogue import Material, Reel
from monitor.model.history import HOUR_S
from monitor.model.what_if import AirSpan, Question, Start, WhatIf, steady_air
from monitor.service.queries import Queries

_WEEK_S = 7 * 86_400
_WEEKEND_S = 62 * 3600  # Friday 18:00 to Monday 8:00
_FRIDAY_HOUR, _MONDAY_HOUR = 18, 8
# A span that readings cover by less than this counts as not measured, as it does in the charts.
_LEAST_COVERED = 0.4


class AirKind(StrEnum):
    """Where the air of a question comes from."""

    STEADY = "steady"  # the figures that were asked with
    NOW = "now"  # a room's newest reading, for as long as was asked
    WEEK = "week"  # a room's last seven days
    WEEKEND = "weekend"  # a room's last weekend, Friday evening to Monday morning


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What somebody at the counter asks; None where that kind of air needs no such figure."""

    material: str
    reel: str
    air: AirKind
    room: str | None = None
    humidity_pct: float | None = None
    temperature_c: float | None = None
    hours: float | None = None
    diameter_mm: float = 1.75
    net_g: float = 1000.0
    start: Start = Start.DRIED
    start_pct: float | None = None
    open_flanges: bool = False
    is_strand: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The answer, with what it was worked out from."""

    wish: Wish
    material: Material
    reel: Reel
    room_name: str | None
    begins_s: float | None  # of a room's past; None for air that stays the same
    ends_s: float | None
    is_weekend: bool  # False where the last weekend was not measured and other hours of that room stand in
    answer: WhatIf


@dataclass(frozen=True, slots=True, kw_only=True)
class _Past:
    spans: tuple[AirSpan, ...]
    begins_s: float | None = None
    ends_s: float | None = None
    is_weekend: bool = False


def advise(queries: Queries, wish: Wish) -> Advice:
    """The answer by the site's own catalogue and readings; FieldError names the field that is wrong."""
    library = queries.library()
    try:
        material, reel = library.material(wish.material), library.reel(wish.reel)
    except BadInputError as error:  # "material 'x' is not ...": its first word is the field
        field, _, fault = str(error).partition(" ")
        raise FieldError(field, fault) from None
    room_name = _room_name(queries, wish)
    past = _air(queries, wish, room_name)
    answer = answer_what_if(
        Question(
            material=material,
            reel=reel,
            air=past.spans,
            diameter_mm=wish.diameter_mm,
            net_g=wish.net_g,
            start=wish.start,
            start_pct=wish.start_pct,
            open_flanges=wish.open_flanges,
            is_strand=wish.is_strand,
        )
    )
    return Advice(
        wish=wish,
        material=material,
        reel=reel,
        room_name=room_name,
        begins_s=past.begins_s,
        ends_s=past.ends_s,
        is_weekend=past.is_weekend,
        answer=answer,
    )


def weekend_before(now_s: float, zone: str) -> tuple[float, float]:
    """Friday evening to Monday morning of the newest weekend that is over, by the site's own clocks."""
    here = zoneinfo.ZoneInfo(zone)
    local = dt.datetime.fromtimestamp(now_s, here)
    monday = local.date() - dt.timedelta(days=local.weekday())
    ends = dt.datetime.combine(monday, dt.time(_MONDAY_HOUR), here)
    if ends > local:
        ends = dt.datetime.combine(monday - dt.timedelta(days=7), dt.time(_MONDAY_HOUR), here)
    begins = dt.datetime.combine(ends.date() - dt.timedelta(days=3), dt.time(_FRIDAY_HOUR), here)
    return begins.timestamp(), ends.timestamp()


def _room_name(queries: Queries, wish: Wish) -> str | None:
    if wish.air is AirKind.STEADY:
        return None
    rooms = queries.inventory().rooms
    if wish.room not in rooms:
        raise FieldError(
            "air", f"names room {wish.room!r}; allowed are: {', '.join(sorted(rooms)) or 'none'}"
        )
    return rooms[wish.room].name


def _air(queries: Queries, wish: Wish, room_name: str | None) -> _Past:
    if wish.air is AirKind.STEADY:
        return _Past(spans=_steady(wish, wish.humidity_pct, wish.temperature_c))
    assert wish.room is not None
    assert room_name is not None
    if wish.air is AirKind.NOW:
        return _Past(spans=_as_now(queries, wish, room_name))
    now_s = queries.now_s() // HOUR_S * HOUR_S
    if wish.air is AirKind.WEEK:
        return _known(_past(queries, wish.room, now_s - _WEEK_S, now_s), room_name)
    weekend = _past(queries, wish.room, *weekend_before(now_s, queries.zone()), is_weekend=True)
    if 2 * sum(span.humidity_pct is not None for span in weekend.spans) >= len(weekend.spans):
        return weekend
    return _known(_past(queries, wish.room, now_s - _WEEKEND_S, now_s), room_name)


def _steady(wish: Wish, humidity_pct: float | None, temperature_c: float | None) -> tuple[AirSpan, ...]:
    for field, value in (("rh", humidity_pct), ("temperature", temperature_c), ("hours", wish.hours)):
        if value is None:
            raise FieldError(field, "is missing")
    assert humidity_pct is not None
    assert temperature_c is not None
    assert wish.hours is not None
    return steady_air(humidity_pct=humidity_pct, temperature_c=temperature_c, hours=wish.hours)


def _as_now(queries: Queries, wish: Wish, room_name: str) -> tuple[AirSpan, ...]:
    room = next((room for room in queries.status().rooms if room.key == wish.room), None)
    if room is None or room.air.stale or room.air.humidity_pct is None or room.air.temperature_c is None:
        raise FieldError(
            "air", f"of {room_name} is not known just now: choose its last week, or enter figures"
        )
    return _steady(wish, room.air.humidity_pct, room.air.temperature_c)


def _past(queries: Queries, room: str, from_s: float, to_s: float, *, is_weekend: bool = False) -> _Past:
    """A room's hours; one that merely lies between two readings of a slow sensor is like the one before."""
    try:
        humidity = queries.series(room, "humidity", from_s, to_s, HOUR_S).points
        temperature = queries.series(room, "temperature", from_s, to_s, HOUR_S).points
    except BadInputError:  # no channel was ever placed here
        humidity = temperature = ()
    spans: list[AirSpan] = []
    for moist, warm in zip(humidity, temperature, strict=True):
        before = spans[-1] if spans else None
        spans.append(
            AirSpan(
                hours=1.0,
                humidity_pct=_value(moist, None if before is None else before.humidity_pct),
                temperature_c=_value(warm, None if before is None else before.temperature_c),
            )
        )
    return _Past(spans=tuple(spans), begins_s=from_s, ends_s=to_s, is_weekend=is_weekend)


def _value(point: SeriesPoint, before: float | None) -> float | None:
    if point.covered < _LEAST_COVERED:
        return None
    return before if point.mean is None else point.mean


def _known(past: _Past, room_name: str) -> _Past:
    if not any(span.humidity_pct is not None and span.temperature_c is not None for span in past.spans):
        raise FieldError("air", f"of {room_name} was not measured in all of that time: enter figures instead")
    return past
