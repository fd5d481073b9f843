"""Points of a place's past, made of roll-ups: what queries give to charts and tables."""

from monitor.errors import BadInputError
from monitor.model.answers import SeriesPoint
from monitor.model.history import SPANS_S, RollUp
from monitor.model.reading import Quantity
from monitor.service import air

DEW_POINT = "dew_point"
MAX_POINTS = 3_000


def changes_between(means: list[tuple[float | None, float | None]]) -> tuple[float | None, float | None]:
    (humidity_then, temperature_then), (humidity, temperature) = means
    if humidity_then is None or humidity is None or temperature_then is None or temperature is None:
        return None, None
    dew_then, dew = air.dew_point_of(temperature_then, humidity_then), air.dew_point_of(temperature, humidity)
    dew_change = None if dew is None or dew_then is None else round(dew - dew_then, 2)
    return round(humidity - humidity_then, 2), dew_change


def check_window(quantity: str, from_s: float, to_s: float, span_s: int) -> None:
    if quantity != DEW_POINT and quantity not in list(Quantity):
        known = ", ".join([*Quantity, DEW_POINT])
        raise BadInputError(f"quantity {quantity!r} is unknown; one of: {known}")
    if span_s not in SPANS_S:
        raise BadInputError(f"span must be one of {', '.join(map(str, SPANS_S))} seconds")
    if not 0 <= from_s < to_s <= 4e9:
        raise BadInputError("from must be before to, both in Unix seconds")
    if (to_s - from_s) / span_s > MAX_POINTS:
        raise BadInputError(f"at most {MAX_POINTS} points at once: ask for a shorter time or a longer span")


def point(start_ms: int, roll_up: RollUp | None, span_s: int) -> SeriesPoint:
    if roll_up is None:
        return SeriesPoint(start_s=start_ms / 1000.0, lowest=None, mean=None, highest=None, covered=0.0)
    return SeriesPoint(
        start_s=start_ms / 1000.0,
        lowest=roll_up.lowest,
        mean=roll_up.mean,
        highest=roll_up.highest,
        covered=min(1.0, roll_up.covered_ms / (span_s * 1000.0)),
    )


def dew_points(temperatures: list[SeriesPoint], humidities: list[SeriesPoint]) -> list[SeriesPoint]:
    """Dew point of each span's mean air; its extremes are not known from roll-ups and left out."""
    points = []
    for temperature, humidity in zip(temperatures, humidities, strict=True):
        mean = None
        if temperature.mean is not None and humidity.mean is not None:
            mean = air.dew_point_of(temperature.mean, humidity.mean)
        points.append(
            SeriesPoint(
                start_s=humidity.start_s,
                lowest=None,
                mean=mean,
                highest=None,
                covered=min(temperature.covered, humidity.covered),
            )
        )
    return points
