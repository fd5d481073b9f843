"""Advice on a room: its usual air, when to open a box in it, its seasons, airing it, and drying its air."""

import statistics
from collections.abc import Iterable

from monitor.errors import FieldError
from monitor.estimate import room_air
from monitor.estimate.room_air import DayPattern, HourOfDay, MonthMean
from monitor.model.answers import BoxAnswer, RoomAnswer, Spread, StatusAnswer
from monitor.model.inventory import Inventory
from monitor.model.room_air import (
    AiringAnswer,
    Basis,
    DayAnswer,
    HourAnswer,
    MeasureAnswer,
    MeasureBox,
    MonthAnswer,
    RoomAdvice,
    RoomWish,
    SeasonAnswer,
    UsualAir,
)
from monitor.physics.psychrometrics import vapour_kg_m3
from monitor.service import room_past
from monitor.service.place_air import USUAL_C, USUAL_HUMIDITY
from monitor.service.queries import Queries
from monitor.service.room_past import Measured
from monitor.service.room_words import (
    airing_words,
    day_words,
    measure_words,
    missing_words,
    usual_words,
)

_PAST_DAYS = 14
_SEASON_DAYS = 760  # two years and what the first month of them lacks
_LEAST_MONTHS, _YEAR_MONTHS = 3, 12
_LEAST_USUAL_HOURS = 24
_COOL_C, _COOL_PCT, _LEAST_CARRIED_C = 10.0, 40.0, 18.0
_WARMED_C = 45.0  # as in a heated box or a small oven
USUAL_BOX_L = 12.0
_G = 1000.0
OUTSIDE_C, OUTSIDE_PCT = (-40.0, 50.0), (1.0, 100.0)
TARGET_PCT, TARGET_HOURS = (20.0, 80.0), (1.0, 24.0)


def room_advice(queries: Queries, status: StatusAnswer, room: RoomAnswer, wish: RoomWish) -> RoomAdvice:
    """All that can be said of a room; FieldError names the field of the wish that is wrong."""
    _check(wish)
    past = room_past.hours(queries, room.key, _PAST_DAYS)
    usual = _usual(room, past)
    here = [box for box in status.boxes if box.room == room.key]
    day, day_why = _day(queries, room.key, past)
    season, season_why = _season(queries, room.key)
    return RoomAdvice(
        key=room.key,
        name=room.name,
        at=status.at,
        usual=usual,
        warmed_c=_WARMED_C,
        warmed_pct=100.0
        * room_air.carried_humidity(usual.temperature_c, usual.humidity_pct / 100.0, _WARMED_C),
        cool_c=_COOL_C,
        cool_pct=_COOL_PCT,
        cool_carried_c=max(usual.temperature_c, _LEAST_CARRIED_C),
        cool_carried_pct=100.0
        * room_air.carried_humidity(_COOL_C, _COOL_PCT / 100.0, max(usual.temperature_c, _LEAST_CARRIED_C)),
        day=day,
        day_why=day_why,
        season=season,
        season_why=season_why,
        airing=_airing(room, usual, wish),
        airing_why=None if wish.outside_c is not None else "no outside air was asked about",
        measure=_measure(here, usual, wish),
        measure_why=None if wish.target_pct is not None else "no other humidity was asked about",
        missing=missing_words(room, usual.basis),
    )


def _check(wish: RoomWish) -> None:
    """Refuses what no air can be; half an outside air is none."""
    for field, value, other in (
        ("outside-temperature", wish.outside_c, wish.outside_pct),
        ("outside-rh", wish.outside_pct, wish.outside_c),
    ):
        if value is None and other is not None:
            raise FieldError(field, "is missing")
    for field, value, (low, high), unit in (
        ("outside-temperature", wish.outside_c, OUTSIDE_C, "°C"),
        ("outside-rh", wish.outside_pct, OUTSIDE_PCT, "%RH"),
        ("target-rh", wish.target_pct, TARGET_PCT, "%RH"),
        ("target-hours", wish.target_hours, TARGET_HOURS, "h"),
    ):
        if value is not None and not low <= value <= high:
            raise FieldError(field, f"is {value:g}; allowed are {low:g} to {high:g} {unit}")


def _usual(room: RoomAnswer, past: tuple[Measured, ...]) -> UsualAir:
    air = room.air
    if len(past) >= _LEAST_USUAL_HOURS:
        warmth = statistics.fmean(span.temperature_c for span in past)
        vapour = statistics.fmean(span.vapour_kg_m3 for span in past)
        humidity = min(vapour / vapour_kg_m3(warmth, 1.0), 1.0)
        return _usual_air(Basis.PAST, warmth, humidity, len(past))
    if not air.stale and air.temperature_c is not None and air.humidity_pct is not None:
        return _usual_air(Basis.NOW, air.temperature_c, min(max(air.humidity_pct / 100.0, 0.0), 1.0), 0)
    return _usual_air(Basis.ASSUMED, USUAL_C, USUAL_HUMIDITY, 0)


def _usual_air(basis: Basis, temperature_c: float, humidity: float, measured_hours: int) -> UsualAir:
    return UsualAir(
        basis=basis,
        temperature_c=temperature_c,
        humidity_pct=100.0 * humidity,
        vapour_g_m3=_G * vapour_kg_m3(temperature_c, humidity),
        words=usual_words(basis, 100.0 * humidity, temperature_c, measured_hours),
    )


def _day(queries: Queries, key: str, past: tuple[Measured, ...]) -> tuple[DayAnswer | None, str | None]:
    pattern = room_air.day_pattern(room_past.hour_samples(past, queries.zone()))
    if pattern is None:
        return None, (
            f"fewer than {room_air.LEAST_DAYS} whole days of the last {_PAST_DAYS} are measured, "
            "so no hour can be told from another"
        )
    volume_l, charge_g, is_assumed = _usual_box(queries.inventory(), key)
    return _day_answer(pattern, volume_l, charge_g, is_assumed), None


def _usual_box(inventory: Inventory, room: str) -> tuple[float, float | None, bool]:
    """Volume [l] and charge [g] of the middle box of a room, and whether they are assumed."""
    boxes = [box for box in inventory.boxes.values() if box.room == room]
    charges = [box.desiccant.dry_g for box in boxes if box.desiccant is not None]
    if not boxes:
        return USUAL_BOX_L, None, True
    volume_l = statistics.median(box.volume_l for box in boxes)
    return volume_l, statistics.median(charges) if charges else None, False


def _day_answer(pattern: DayPattern, volume_l: float, charge_g: float | None, is_assumed: bool) -> DayAnswer:
    def answer(hour: HourOfDay) -> HourAnswer:
        return HourAnswer(
            hour=hour.hour,
            days=hour.days,
            vapour_g_m3=Spread(p10=_G * hour.p10_kg_m3, p50=_G * hour.p50_kg_m3, p90=_G * hour.p90_kg_m3),
            opening_g=_G * room_air.opening_kg(volume_l / 1000.0, hour.usual_kg_m3),
        )

    driest, dampest = answer(pattern.driest), answer(pattern.dampest)
    return DayAnswer(
        days=pattern.days,
        hours=tuple(answer(hour) for hour in pattern.hours),
        driest=driest,
        dampest=dampest,
        swing_g_m3=_G * pattern.swing_kg_m3,
        worth_waiting=pattern.is_worth_waiting,
        box_volume_l=volume_l,
        volume_is_assumed=is_assumed,
        charge_g=charge_g,
        advice=day_words(
            driest,
            dampest,
            pattern.swing_kg_m3 / (pattern.mean_kg_m3 + 0.5 * pattern.swing_kg_m3),
            is_worth_waiting=pattern.is_worth_waiting,
        ),
    )


def _season(queries: Queries, key: str) -> tuple[SeasonAnswer | None, str | None]:
    months = room_air.month_means(room_past.day_samples(room_past.days(queries, key, _SEASON_DAYS)))
    if len(months) < _LEAST_MONTHS:
        return None, (
            f"less than {_LEAST_MONTHS} months with {room_air.LEAST_MONTH_DAYS} measured days each are "
            f"stored of this room ({len(months)} so far): what the season does here cannot be told yet"
        )
    answers = tuple(_month(month) for month in months[-2 * _YEAR_MONTHS :])
    driest = min(answers, key=lambda month: month.vapour_g_m3)
    dampest = max(answers, key=lambda month: month.vapour_g_m3)
    return SeasonAnswer(
        months=answers,
        driest=driest,
        dampest=dampest,
        ratio=dampest.vapour_g_m3 / max(driest.vapour_g_m3, 1e-6),
        is_whole_year=len({month.month[-2:] for month in answers}) == _YEAR_MONTHS,
    ), None


def _month(month: MonthMean) -> MonthAnswer:
    return MonthAnswer(
        month=f"{month.year}-{month.month:02}",
        days=month.days,
        vapour_g_m3=_G * month.vapour_kg_m3,
        dew_point_c=month.dew_point_c,
        humidity_pct=100.0 * month.relative_humidity,
        temperature_c=month.temperature_c,
    )


def _airing(room: RoomAnswer, usual: UsualAir, wish: RoomWish) -> AiringAnswer | None:
    if wish.outside_c is None or wish.outside_pct is None:
        return None
    air = room.air
    is_now = not air.stale and air.temperature_c is not None and air.humidity_pct is not None
    warmth = air.temperature_c if is_now and air.temperature_c is not None else usual.temperature_c
    room_pct = air.humidity_pct if is_now and air.humidity_pct is not None else usual.humidity_pct
    aired = room_air.air_out(wish.outside_c, wish.outside_pct / 100.0, warmth, room_pct / 100.0)
    inside_pct = 100.0 * aired.relative_humidity
    return AiringAnswer(
        outside_c=wish.outside_c,
        outside_pct=wish.outside_pct,
        inside_pct=inside_pct,
        vapour_g_m3=_G * aired.vapour_kg_m3,
        dew_point_c=aired.dew_point_c,
        room_pct=room_pct,
        verdict=aired.verdict,
        least_change_pct=100.0 * aired.least_change,
        advice=airing_words(aired.verdict, inside_pct, room_pct, warmth, usual.basis),
    )


def _measure(boxes: Iterable[BoxAnswer], usual: UsualAir, wish: RoomWish) -> MeasureAnswer | None:
    if wish.target_pct is None:
        return None
    room_kg_m3 = usual.vapour_g_m3 / _G
    target_kg_m3 = vapour_kg_m3(usual.temperature_c, wish.target_pct / 100.0)
    then_kg_m3 = room_air.day_mean_kg_m3(room_kg_m3, target_kg_m3, wish.target_hours)
    share = room_air.leak_share(room_kg_m3, 0.0, then_kg_m3)
    return MeasureAnswer(
        target_pct=wish.target_pct,
        target_hours=wish.target_hours,
        vapour_g_m3=_G * then_kg_m3,
        leak_share=1.0 if share is None else share,
        boxes=tuple(_measure_box(box, room_kg_m3, then_kg_m3) for box in boxes),
        advice=measure_words(usual, wish.target_pct, wish.target_hours, 1.0 if share is None else share),
    )


def _measure_box(box: BoxAnswer, room_kg_m3: float, then_kg_m3: float) -> MeasureBox:
    if box.air.stale or box.air.vapour_g_m3 is None:
        return MeasureBox(
            key=box.key,
            name=box.name,
            leak_share=None,
            leak_g_day=None,
            leak_then_g_day=None,
            leak_share_why="its air is not known just now",
            leak_g_day_why="its air is not known just now",
        )
    share = room_air.leak_share(room_kg_m3, box.air.vapour_g_m3 / _G, then_kg_m3)
    now_g = box.tightness.water_g_per_day.p50
    is_known = share is not None and now_g is not None
    return MeasureBox(
        key=box.key,
        name=box.name,
        leak_share=share,
        leak_g_day=now_g if is_known else None,
        leak_then_g_day=now_g * share if now_g is not None and share is not None else None,
        leak_share_why=None if share is not None else "it is about as moist as the room: nothing leaks in",
        leak_g_day_why=None if is_known else box.tightness.water_g_per_day.why or "its leak is not known",
    )
