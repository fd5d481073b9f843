"""In which corner of its box each sensor sits, as people told it."""

from collections.abc import Iterable, Mapping

from monitor.model.records import effective
from monitor.model.sensor_check import Seat, SensorEvent, seat_of
from monitor.service.places import Stay


def told_here(events: Iterable[SensorEvent], from_ms: int, until_ms: int) -> tuple[SensorEvent, ...]:
    """What stands of a sensor while it is where it is: corners of the box before are not of this one."""
    return tuple(event for event in effective(events) if from_ms <= round(event.at_s * 1000) <= until_ms)


def seats(
    here: Mapping[str, Stay], told: Mapping[str, tuple[SensorEvent, ...]], at_ms: int
) -> dict[str, Seat]:
    """By place, of the sensors whose corners were looked at.

    Args:
        here: Which channel measures a place then.
        told: All records, by channel.
        at_ms: Unix milliseconds.
    """
    found = {
        place: seat_of(told_here(told[stay.channel], stay.from_ms, at_ms))
        for place, stay in here.items()
        if stay.channel in told
    }
    return {place: seat for place, seat in found.items() if seat is not None}
