"""Whether what is told of a sensor can be true, and the figures that go with it, taken from its readings."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from monitor.errors import BadInputError
from monitor.estimate.sensor_check import (
    GAIN_RANGE,
    MOST_OFFSET_PCT,
    Settling,
    is_mendable,
    left_uncertainty_pct,
)
from monitor.library.salts import salt_of
from monitor.model.records import Withdrawn, effective
from monitor.model.sensor_check import (
    Back,
    Checked,
    CheckNow,
    Compared,
    CompareNow,
    CorrectBy,
    CorrectionSet,
    InJar,
    Installed,
    MapNow,
    Mapped,
    Seat,
    Seated,
    SensorEvent,
    SensorTold,
    SensorWhat,
    in_jar,
    since_installed,
)
from monitor.physics.salt import LEAST_APART_PCT
from monitor.service.sensor_guide import as_points, checks_of, correction_by, jar_answer, jar_of
from monitor.service.sensors import SensorAnswers
from monitor.service.spool_checks import AHEAD_S, check_number, check_text

_EARLIEST_S = 1_577_836_800.0  # 2020-01-01
OTHERS_MOST = 11
CORNERS_MOST = 8
_STAY_DAYS_MOST = 31.0
_HOURS_MOST = 48.0


def sensor_event(told: SensorTold, sensors: SensorAnswers, now_s: float) -> SensorEvent:
    """The record to write down; BadInputError in one sentence if it cannot be true."""
    events = sensors.events(told.channel)
    sensors.channel(told.channel)
    check_text("who", told.who)
    if told.at_s > now_s + AHEAD_S:
        raise BadInputError("at lies in the future; allowed is any time up to now")
    if told.at_s < _EARLIEST_S:
        raise BadInputError("at lies before 2020; allowed is any time from then up to now")
    _replaced(told, events)
    return SensorEvent(
        channel=told.channel,
        at_s=told.at_s,
        entered_s=now_s,
        who=told.who,
        what=_what(told, sensors, events),
        replaces=told.replaces,
    )


def _replaced(told: SensorTold, events: Sequence[SensorEvent]) -> None:
    is_withdrawal = isinstance(told.wish, Withdrawn)
    if told.replaces is None:
        if is_withdrawal:
            raise BadInputError("replaces must name the record that is withdrawn")
        return
    found = {event.event_id: event for event in effective(events)}.get(told.replaces)
    if found is None:
        raise BadInputError(f"replaces is {told.replaces}, which is no standing record of this sensor")
    if isinstance(told.wish, CheckNow | CompareNow | MapNow):
        raise BadInputError("replaces does not go with a measurement: withdraw that one and measure anew")
    if not is_withdrawal and found.what.kind != told.wish.kind:
        raise BadInputError(f"replaces is {told.replaces}, a record of another kind: {found.what.kind}")


def _what(told: SensorTold, sensors: SensorAnswers, events: Sequence[SensorEvent]) -> SensorWhat:
    wish, before = told.wish, [e for e in events if e.at_s <= told.at_s]
    if isinstance(wish, CheckNow):
        return _checked(told, sensors, events)
    if isinstance(wish, CompareNow):
        return _compared(told, wish, sensors)
    if isinstance(wish, CorrectBy):
        return _corrected(told, wish, sensors, events)
    if isinstance(wish, MapNow):
        return _mapped(told, wish, sensors)
    if isinstance(wish, InJar):
        _may_go_into_jar(told, wish, sensors, before)
    elif isinstance(wish, Back):
        if in_jar(before) is None and told.replaces is None:
            raise BadInputError("kind is back, and it lies in no jar")
    elif isinstance(wish, Seated):
        _is_a_corner(wish, sensors.seat(told.channel, told.at_s))
    elif isinstance(wish, CorrectionSet):
        _limited(wish)
    elif isinstance(wish, Installed):
        check_text("serial", wish.serial)
        check_number("tolerance_pct", wish.tolerance_pct, 0.5, 10.0, "%RH")
        check_number("interval_months", wish.interval_months, 1, 60, "months")
    else:
        check_text("why", wish.why)
    return wish


def _may_go_into_jar(
    told: SensorTold, wish: InJar, sensors: SensorAnswers, before: Sequence[SensorEvent]
) -> None:
    salt = salt_of(wish.salt)
    if not salt.is_offered:
        raise BadInputError(f"salt {salt.key} is not for a workshop: {salt.handling[0]}")
    lies_in = in_jar(before)
    if lies_in is not None and lies_in.what == wish and told.replaces is None:
        raise BadInputError(f"salt: it lies over {salt.name.lower()} already")
    warmth_c, (low_c, high_c) = sensors.temperature_c(told.channel), salt.range_c
    if warmth_c is not None and not low_c <= warmth_c <= high_c:
        raise BadInputError(
            f"salt: the humidity over {salt.name.lower()} is known for {low_c:g} to {high_c:g} °C, and it is "
            f"{warmth_c:.1f} °C"
        )


def _checked(told: SensorTold, sensors: SensorAnswers, events: Sequence[SensorEvent]) -> Checked:
    """What it reads over its salt, once that has settled."""
    jar = jar_of(sensors.store, sensors.channel(told.channel), events, told.at_s)
    if jar is None:
        raise BadInputError("kind is checked, and it lies over no salt")
    is_settled = jar.found.settling is Settling.REACHED
    if (
        not is_settled
        or jar.reference_pct is None
        or jar.uncertainty_pct is None
        or jar.found.humidity_pct is None
        or jar.found.temperature_c is None
    ):
        raise BadInputError(jar_answer(jar).sentence)
    held = sensors.standing_correction(told.channel, told.at_s)
    return Checked(
        salt=jar.salt.key,
        temperature_c=round(jar.found.temperature_c, 2),
        reading_pct=round(jar.found.humidity_pct, 2),
        shown_pct=round(held.corrected(jar.found.humidity_pct), 2),
        reference_pct=round(jar.reference_pct, 2),
        uncertainty_pct=round(jar.uncertainty_pct, 2),
        tolerance_pct=sensors.tolerance_pct(told.channel),
    )


def _compared(told: SensorTold, wish: CompareNow, sensors: SensorAnswers) -> Compared:
    check_number("hours", wish.hours, 0.5, _HOURS_MOST, "h")
    named = (told.channel, *wish.others)
    if not 1 <= len(wish.others) <= OTHERS_MOST or len(set(named)) != len(named):
        raise BadInputError(f"others must name 1 to {OTHERS_MOST} other sensors, each once")
    answer = sensors.side_by_side(named, told.at_s - 3600.0 * wish.hours, told.at_s)
    if not answer.sensors:
        raise BadInputError(answer.sentence)
    mine = answer.sensors[0]
    return Compared(
        others=wish.others,
        shown_pct=round(mine.humidity_pct, 2),
        others_pct=round(mine.others_pct, 2),
        allowed_pct=round(mine.allowed_pct, 2),
        is_odd=mine.is_odd,
    )


def _mapped(told: SensorTold, wish: MapNow, sensors: SensorAnswers) -> Mapped:
    """How the corners differed."""
    if not 2 <= len(wish.stays) <= CORNERS_MOST:
        raise BadInputError(f"corners must be 2 to {CORNERS_MOST}, each with the time it lay there")
    ordered = sorted(wish.stays, key=lambda stay: stay.from_s)
    for stay in ordered:
        check_text("name", stay.name)
        if not _EARLIEST_S <= stay.from_s < stay.to_s <= told.at_s + AHEAD_S:
            raise BadInputError(f"corners: the time at {stay.name!r} must end after it began, and by now")
        if stay.to_s - stay.from_s > 86_400.0 * _STAY_DAYS_MOST:
            raise BadInputError(f"corners: the time at {stay.name!r} is above {_STAY_DAYS_MOST:g} days")
    for first, second in zip(ordered, ordered[1:], strict=False):
        if second.from_s < first.to_s:
            raise BadInputError(f"corners: it lay at {first.name!r} and at {second.name!r} at one time")
    names = [stay.name for stay in wish.stays]
    for name in names:
        if names.count(name) > 1:  # where it sits is told by the name
            raise BadInputError(f"corners: {name!r} is the name of two of them")
    if wish.sits_at is not None:
        _check_corner(wish.sits_at, names)
    found = sensors.corners(told.channel, wish.stays, wish.beside)
    return Mapped(
        corners=tuple(
            replace(spot, humidity_pct=round(spot.humidity_pct, 2), hours=round(spot.hours, 1))
            for spot in found.spots
        ),
        spread_pct=round(found.spread_pct, 2),
        is_uneven=found.is_uneven,
        is_short=found.fault == "short",
        sits_at=wish.sits_at,
    )


def _is_a_corner(wish: Seated, seat: Seat | None) -> None:
    if seat is None:
        raise BadInputError(
            "kind is seated, and no corners of its box are on record for this sensor where it is now:"
            " tell those first"
        )
    _check_corner(wish.sits_at, [corner.name for corner in seat.mapped.corners])


def _check_corner(sits_at: str, names: Sequence[str]) -> None:
    if sits_at not in names:
        raise BadInputError(f"sits_at is {sits_at[:40]!r}; allowed are {', '.join(map(repr, names))}")


def _corrected(
    told: SensorTold, wish: CorrectBy, sensors: SensorAnswers, events: Sequence[SensorEvent]
) -> CorrectionSet:
    standing: Mapping[int, SensorEvent] = {
        e.event_id: e for e in since_installed(events) if isinstance(e.what, Checked)
    }
    if not 1 <= len(wish.checks) <= 2 or len(set(wish.checks)) != len(wish.checks):
        raise BadInputError("checks must name one or two records of checks, each once")
    unknown = [number for number in wish.checks if number not in standing]
    if unknown:
        raise BadInputError(f"checks names {unknown[0]}, which is no standing check of this sensor")
    checks = checks_of([standing[number] for number in wish.checks])
    if len(checks) == 2 and len(as_points(checks)) == 1:
        raise BadInputError(f"checks must lie {LEAST_APART_PCT:g} %RH or more from each other to tell a gain")
    found = correction_by(checks)
    if found is None or not is_mendable(found):
        raise BadInputError(
            "checks ask for more than a correction may do: check once more with fresh salt, else replace"
            " the sensor"
        )
    return CorrectionSet(
        offset_pct=round(found.offset_pct, 3),
        gain=round(found.gain, 5),
        uncertainty_pct=round(left_uncertainty_pct(as_points(checks), sensors.works_at_pct(told.channel)), 2),
        checks=wish.checks,
    )


def _limited(wish: CorrectionSet) -> None:
    check_number("offset_pct", wish.offset_pct, -MOST_OFFSET_PCT, MOST_OFFSET_PCT, "%RH; replace the sensor")
    check_number("gain", wish.gain, *GAIN_RANGE, "; beyond that replace the sensor")
    if wish.uncertainty_pct is not None:
        check_number("uncertainty_pct", wish.uncertainty_pct, 0.1, 20.0, "%RH")
    if wish.checks:
        raise BadInputError("checks go without offset_pct and gain, which follow from them")
