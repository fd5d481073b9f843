"""A room's air as numbers: carried to another warmth, by the hour of the day, by the month, and made drier.

Vapour in kg/m3, relative humidity 0 to 1, temperatures in °C.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.estimate.box_lid import AIR_CHANGES
from monitor.model.room_air import Airing
from monitor.physics.constants import VAPOUR_J_KG_K, ZERO_C_K, Array
from monitor.physics.psychrometrics import (
    dew_point_c,
    saturation_pressure_pa,
    vapour_pressure_pa,
)

HOURS = 24
# Of a day that counts: fewer hours would shift the day's mean by which of them are missing.
_LEAST_HOURS = 18
LEAST_DAYS = 4  # two halves of two days each are the least that can contradict each other
# Below this share of the mean, or what a sensor tells (1.8 %RH at 22 °C), nobody should wait for an hour.
_WORTH_SHARE, _WORTH_KG_M3 = 0.15, 0.35e-3
# The room's sensor (1.8 %RH) and a weather report or a second one (3 %RH), as independent errors.
_ROOM_SD, _OUTSIDE_SD = 0.018, 0.03
_LEAST_VAPOUR_PA = 0.1  # as in the service: below it a dew point says nothing
LEAST_MONTH_DAYS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class HourSample:
    """The mean of one measured hour."""

    day: int  # a number that rises by 1 from local day to local day
    hour: int  # 0 to 23, by the site's clocks
    vapour_kg_m3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HourOfDay:
    """One hour of the day over many days."""

    hour: int
    days: int
    p10_kg_m3: float
    p50_kg_m3: float
    p90_kg_m3: float
    usual_kg_m3: float  # the mean of all days, and what this hour usually is off it


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPattern:
    """What comes again each day."""

    days: int
    hours: tuple[HourOfDay, ...]
    driest: HourOfDay
    dampest: HourOfDay
    mean_kg_m3: float
    swing_kg_m3: float  # found on other days than those that chose the hours, so chance makes none
    is_worth_waiting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DaySample:
    """The mean of one measured day."""

    year: int
    month: int
    temperature_c: float
    relative_humidity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthMean:
    year: int
    month: int
    days: int
    vapour_kg_m3: float
    dew_point_c: float | None
    relative_humidity: float
    temperature_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Aired:
    """Outside air at the room's temperature."""

    relative_humidity: float  # at most 1
    vapour_kg_m3: float
    dew_point_c: float | None
    verdict: Airing
    least_change: float  # of relative humidity that the readings can tell


def carried_humidity(temperature_c: float, relative_humidity: float, to_c: float) -> float:
    """Relative humidity of the same air at another temperature; above 1 where water has to fall out.

    The vapour's pressure stays, since the air's does: it expands into the room's leaks.

    >>> round(carried_humidity(10.0, 0.40, 22.0), 2)
    0.19
    """
    return vapour_pressure_pa(temperature_c, relative_humidity) / saturation_pressure_pa(to_c)


def vapour_at(pressure_pa: float, temperature_c: float) -> float:
    """Vapour concentration of a partial pressure [kg/m3]."""
    return pressure_pa / (VAPOUR_J_KG_K * (temperature_c + ZERO_C_K))


def air_out(outside_c: float, outside_humidity: float, room_c: float, room_humidity: float) -> Aired:
    """What outside air becomes in the room, and whether letting it in makes the room drier."""
    pressure_pa = vapour_pressure_pa(outside_c, outside_humidity)
    carried = carried_humidity(outside_c, outside_humidity, room_c)
    # An error of the outside reading weighs as much more as the outside holds more when saturated.
    stretch = saturation_pressure_pa(outside_c) / saturation_pressure_pa(room_c)
    least = 1.2816 * float(np.hypot(_ROOM_SD, _OUTSIDE_SD * stretch))
    return Aired(
        relative_humidity=min(carried, 1.0),
        vapour_kg_m3=vapour_at(min(pressure_pa, saturation_pressure_pa(room_c)), room_c),
        dew_point_c=_dew_point(pressure_pa),
        verdict=_airing(carried, room_humidity, least),
        least_change=least,
    )


def day_pattern(samples: Sequence[HourSample]) -> DayPattern | None:
    """The daily course of a room's vapour; None where too few days were measured.

    Each hour is taken against the mean of its own day: a change of weather is not taken for an hour's.
    """
    table = _table(samples)
    if len(table) < LEAST_DAYS:
        return None
    mean = float(np.nanmean(table))
    course = table - np.nanmean(table, axis=1, keepdims=True)
    usual = _smoothed(_column_means(course))
    hours = tuple(
        _hour_of_day(hour, table[:, hour], mean + float(usual[hour]))
        for hour in range(HOURS)
        if np.isfinite(table[:, hour]).any()
    )
    swing = _honest_swing(course)
    return DayPattern(
        days=len(table),
        hours=hours,
        driest=min(hours, key=lambda each: each.usual_kg_m3),
        dampest=max(hours, key=lambda each: each.usual_kg_m3),
        mean_kg_m3=mean,
        swing_kg_m3=swing,
        is_worth_waiting=swing >= max(_WORTH_SHARE * mean, _WORTH_KG_M3),
    )


def opening_kg(volume_m3: float, vapour_kg_m3: float) -> float:
    """Water that one opening lets into a dry box [kg]; counted as the box estimator counts it."""
    return AIR_CHANGES * volume_m3 * vapour_kg_m3


def month_means(days: Sequence[DaySample]) -> tuple[MonthMean, ...]:
    """Months of which enough days were measured, oldest first.

    A day's vapour is taken from its mean temperature and humidity: indoors that is within a hundredth.
    """
    by_month: dict[tuple[int, int], list[DaySample]] = {}
    for day in days:
        by_month.setdefault((day.year, day.month), []).append(day)
    return tuple(
        _month_mean(year, month, found)
        for (year, month), found in sorted(by_month.items())
        if len(found) >= LEAST_MONTH_DAYS
    )


def leak_share(room_kg_m3: float, inside_kg_m3: float, then_kg_m3: float) -> float | None:
    """What leaks into a box after a change of the room's vapour, over what leaks in before; below 0 it dries.

    None where nothing leaks in before: the box is as moist as its room.
    """
    drive = room_kg_m3 - inside_kg_m3
    return None if drive <= 0.02 * room_kg_m3 else (then_kg_m3 - inside_kg_m3) / drive


def day_mean_kg_m3(usual_kg_m3: float, target_kg_m3: float, hours: float) -> float:
    """Vapour over a day of which so many hours are held at a target, and the rest are as usual."""
    share = hours / HOURS
    return share * min(target_kg_m3, usual_kg_m3) + (1.0 - share) * usual_kg_m3


def _airing(carried: float, room_humidity: float, least: float) -> Airing:
    if carried >= 1.0:
        return Airing.DEW
    if abs(carried - room_humidity) < least:
        return Airing.SAME
    return Airing.DRIER if carried < room_humidity else Airing.DAMPER


def _dew_point(pressure_pa: float) -> float | None:
    return None if pressure_pa <= _LEAST_VAPOUR_PA else dew_point_c(pressure_pa)


def _table(samples: Sequence[HourSample]) -> Array:
    """Rows are days with enough measured hours, columns are hours; nan where nothing was measured.

    An hour that the clocks repeat in autumn is the mean of both.
    """
    days = sorted({sample.day for sample in samples})
    row = {day: number for number, day in enumerate(days)}
    total, count = np.zeros((len(days), HOURS)), np.zeros((len(days), HOURS))
    for sample in samples:
        total[row[sample.day], sample.hour] += sample.vapour_kg_m3
        count[row[sample.day], sample.hour] += 1.0
    table = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0.0)
    return np.asarray(table[np.isfinite(table).sum(axis=1) >= _LEAST_HOURS])


def _column_means(course: Array) -> Array:
    """Mean of each hour over the days; nan for one that was never measured."""
    known = np.isfinite(course)
    count = known.sum(axis=0)
    total = np.where(known, course, 0.0).sum(axis=0)
    return np.asarray(np.divide(total, count, out=np.full(HOURS, np.nan), where=count > 0))


def _smoothed(usual: Array) -> Array:
    """Over three hours round the clock, nan stepping aside: one odd hour is not the hour to wait for."""
    beside = np.stack([np.roll(usual, shift) for shift in (-1, 0, 1)])
    known = np.isfinite(beside)
    count = known.sum(axis=0)
    total = np.where(known, beside, 0.0).sum(axis=0)
    return np.asarray(np.divide(total, count, out=np.full(HOURS, np.nan), where=count > 0))


def _honest_swing(course: Array) -> float:
    """The dampest less the driest hour, chosen on every other day and measured on the days between.

    Of 24 noisy means one is always the highest: measured where it was chosen, noise alone would have a swing.
    """
    halves = [_smoothed(_column_means(course[start::2])) for start in (0, 1)]
    swings = []
    for chosen, measured in (halves, halves[::-1]):
        swing = float(measured[int(np.nanargmax(chosen))] - measured[int(np.nanargmin(chosen))])
        swings.append(0.0 if np.isnan(swing) else swing)
    return max(0.0, sum(swings) / len(swings))


def _hour_of_day(hour: int, values: Array, usual_kg_m3: float) -> HourOfDay:
    known = values[np.isfinite(values)]
    low, middle, high = np.quantile(known, (0.1, 0.5, 0.9)).tolist()
    return HourOfDay(
        hour=hour,
        days=len(known),
        p10_kg_m3=low,
        p50_kg_m3=middle,
        p90_kg_m3=high,
        usual_kg_m3=usual_kg_m3,
    )


def _month_mean(year: int, month: int, days: list[DaySample]) -> MonthMean:
    temperature = np.array([day.temperature_c for day in days])
    pressure = vapour_pressure_pa(temperature, np.array([day.relative_humidity for day in days]))
    kelvin = temperature + ZERO_C_K
    return MonthMean(
        year=year,
        month=month,
        days=len(days),
        vapour_kg_m3=float((pressure / (VAPOUR_J_KG_K * kelvin)).mean()),
        dew_point_c=_dew_point(float(pressure.mean())),
        relative_humidity=float(np.mean([day.relative_humidity for day in days])),
        temperature_c=float(temperature.mean()),
    )
