"""What may be wrong with the air, the sensor and the spools of places."""

from collections.abc import Iterator

from monitor.alarms import wording
from monitor.alarms.box_conditions import OLD
from monitor.alarms.spool_conditions import rewetting
from monitor.model.answers import AirAnswer, StatusAnswer
from monitor.model.around import Around
from monitor.model.condition import Condition
from monitor.model.sensor_check import MISPLACED_PCT, Seat

TYPES = (
    "reading_stale",
    "temperature_high",
    "spool_rewet",
    "sensor_check_overdue",
    "sensor_misplaced",
    "battery_low",
    "node_offline",
)
TOO_WARM_C = 40.0  # the most that storage practice allows for a short time
BATTERY_LOW_PCT = 15.0


def place_conditions(status: StatusAnswer, around: Around, now_s: float) -> tuple[Condition, ...]:
    """Of all rooms, boxes, spools and what is placed there."""
    names = {box.key: box.name for box in status.boxes} | {room.key: room.name for room in status.rooms}
    airs = {box.key: box.air for box in status.boxes} | {room.key: room.air for room in status.rooms}
    found = [_silent(key, names[key], air) for key, air in airs.items()]
    found += [_warm(box.key, box.name, box.air) for box in status.boxes]
    found += rewetting(status.spools, status.boxes, now_s)
    found += _overdue(around, names, now_s)
    found += [misplaced(box.key, box.name, around.seats.get(box.key)) for box in status.boxes]
    found += _batteries(around, names)
    for place, is_off in around.node_offline.items():
        what = f"The node that measures {names.get(place, place)} is offline." if is_off else ""
        found.append(Condition(type="node_offline", place=place, holds=is_off, what=what))
    return tuple(found)


def _silent(key: str, name: str, air: AirAnswer) -> Condition:
    limit_s = None if air.due_s is None else 2.0 * air.due_s
    if air.freshness not in OLD:
        return Condition(type="reading_stale", place=key, holds=False, value=air.age_s, limit=limit_s)
    what, act = wording.silent(name, air.freshness, air.age_s)
    if limit_s is not None and air.age_s is not None:
        what = f"{what} One was due at least every {wording.span(limit_s / 2.0)}."
    # No value: a single good reading ends it, whatever the deadband.
    return Condition(type="reading_stale", place=key, holds=True, what=what, act=act)


def _warm(key: str, name: str, air: AirAnswer) -> Condition:
    if air.freshness in OLD or air.temperature_c is None:
        return Condition(type="temperature_high", place=key, holds=None)
    return Condition(
        type="temperature_high",
        place=key,
        holds=air.temperature_c > TOO_WARM_C,
        value=air.temperature_c,
        limit=TOO_WARM_C,
        what=f"{name} is at {air.temperature_c:.0f} °C; filament is kept below {TOO_WARM_C:.0f} °C.",
    )


def _overdue(around: Around, names: dict[str, str], now_s: float) -> Iterator[Condition]:
    for place, due_s in around.check_due_s.items():
        if due_s is None:
            yield Condition(type="sensor_check_overdue", place=place, holds=None)
            continue
        late = wording.span(max(now_s - due_s, 0.0))
        what = f"The sensor of {names.get(place, place)} was due for its check {late} ago."
        yield Condition(type="sensor_check_overdue", place=place, holds=now_s > due_s, what=what)


def misplaced(key: str, name: str, seat: Seat | None) -> Condition:
    """Whether the sensor of a box sits where it reads drier than in the dampest corner, as people told it.

    Where nobody told of corners or seat it is in order: that nobody looked is no fault.
    """
    drier_pct = None if seat is None else seat.drier_pct
    if seat is None or seat.sits_at is None or drier_pct is None:
        return Condition(type="sensor_misplaced", place=key, holds=False)
    what, why, act = wording.misplaced(
        name, seat.sits_at, drier_pct, MISPLACED_PCT, seat.dampest, is_short=seat.mapped.is_short
    )
    return Condition(
        type="sensor_misplaced",
        place=key,
        holds=seat.is_misplaced,
        value=drier_pct,
        limit=MISPLACED_PCT,
        what=what,
        why=why,
        act=act,
    )


def _batteries(around: Around, names: dict[str, str]) -> Iterator[Condition]:
    for place, percent in around.battery_pct.items():
        if percent is None:
            yield Condition(type="battery_low", place=place, holds=None)
            continue
        yield Condition(
            type="battery_low",
            place=place,
            holds=percent < BATTERY_LOW_PCT,
            value=percent,
            limit=BATTERY_LOW_PCT,
            what=f"The battery at {names.get(place, place)} has {percent:.0f} % left, below "
            f"{BATTERY_LOW_PCT:.0f} %.",
        )
