"""A room's past as the roll-ups have it: measured hours and days by the site's own clocks."""

import datetime as dt
import zoneinfo
from dataclasses import dataclass

from monitor.errors import BadInputError
from monitor.estimate.room_air import DaySample, HourSample
from monitor.model.answers import SeriesPoint
from monitor.model.history import DAY_S, HOUR_S
from monitor.physics.psychrometrics import vapour_kg_m3
from monitor.service.queries import Queries

# A span that readings cover by less than this counts as not measured, as it does in the charts.
_LEAST_COVERED = 0.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One span in which both were measured."""

    start_s: float
    temperature_c: float
    relative_humidity: float

    @property
    def vapour_kg_m3(self) -> float:
        return vapour_kg_m3(self.temperature_c, self.relative_humidity)


def measured(queries: Queries, place: str, from_s: float, to_s: float, span_s: int) -> tuple[Measured, ...]:
    """The spans of a window in which a place was measured, oldest first; empty where it has no sensor."""
    try:
        humidity = queries.series(place, "humidity", from_s, to_s, span_s).points
        temperature = queries.series(place, "temperature", from_s, to_s, span_s).points
    except BadInputError:  # no channel was ever placed here
        return ()
    return tuple(
        Measured(
            start_s=moist.start_s,
            temperature_c=warm.mean,
            relative_humidity=min(max(moist.mean / 100.0, 0.0), 1.0),
        )
        for moist, warm in zip(humidity, temperature, strict=True)
        if moist.mean is not None and warm.mean is not None and _is_covered(moist) and _is_covered(warm)
    )


def hours(queries: Queries, place: str, days: int) -> tuple[Measured, ...]:
    """The measured hours of the last so many days."""
    now_s = queries.now_s() // HOUR_S * HOUR_S
    return measured(queries, place, now_s - days * DAY_S, now_s, HOUR_S)


def days(queries: Queries, place: str, most: int) -> tuple[Measured, ...]:
    """The measured days of the last so many; their days are those of UTC."""
    now_s = queries.now_s() // DAY_S * DAY_S
    return measured(queries, place, now_s - most * DAY_S, now_s, DAY_S)


def hour_samples(spans: tuple[Measured, ...], zone: str) -> tuple[HourSample, ...]:
    """By local day and hour, so that a habit stays at its hour when the clocks change."""
    here = zoneinfo.ZoneInfo(zone)
    samples = []
    for span in spans:
        local = dt.datetime.fromtimestamp(span.start_s, here)
        samples.append(HourSample(day=local.toordinal(), hour=local.hour, vapour_kg_m3=span.vapour_kg_m3))
    return tuple(samples)


def day_samples(spans: tuple[Measured, ...]) -> tuple[DaySample, ...]:
    """By month; a day belongs to the month in which it lies in UTC."""
    samples = []
    for span in spans:
        moment = dt.datetime.fromtimestamp(span.start_s, dt.UTC)
        samples.append(
            DaySample(
                year=moment.year,
                month=moment.month,
                temperature_c=span.temperature_c,
                relative_humidity=span.relative_humidity,
            )
        )
    return tuple(samples)


def _is_covered(point: SeriesPoint) -> bool:
    return point.covered >= _LEAST_COVERED
