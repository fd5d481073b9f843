"""R1, R2, R3, R4, R10, R18: is what the sensors say believable?"""

import math

from monitor.model.oven import OvenPhase
from monitor.oven import hard
from monitor.oven.verdict import Level, Scene, Verdict
from monitor.oven.window import Sample, Window, duties, rate_c_s, reading_c

_MISSING_TRIP = 3  # R1: errors in a row on a bus, each seen as a reading of None
_DUTY_CHANGE = 0.20  # R3
# R3: under half duty or more, this far from any balance, a living sensor shows more than its noise sooner.
_QUIET_S, _QUIET_RISE_C = 180.0, 2.0
_MIN_DUTY = 0.5  # R4
# R4: a model that expects less than this says nothing about a sensor (2 °C in five minutes).
_LEAST_EXPECTED_C_S = 0.006
_NEAR_ROOM_C, _FAR_FROM_ROOM_C, _OUT_S = 3.0, 10.0, 60.0  # R4: in the hand while another one is in the heat


def implausible(scene: Scene) -> Verdict | None:
    """R1: open, short or outside of what a chamber can be; a single gap only keeps back the permit."""
    newest = scene.newest
    if newest is None:
        return None
    if any(value is not None and not _believable(value) for value in newest.state.chamber_c):
        return Verdict(
            rule="R1", level=Level.TRIP, what="A temperature sensor says what no chamber can have."
        )
    humidity_pct = newest.state.humidity_pct
    lowest, highest = hard.BELIEVABLE_HUMIDITY_PCT
    if humidity_pct is not None and not lowest <= humidity_pct <= highest:
        return Verdict(rule="R1", level=Level.TRIP, what="The humidity sensor says what no air can have.")
    for sensor in range(len(newest.state.chamber_c)):
        missing = _missing_in_a_row(scene.window, sensor)
        if missing:
            level = Level.TRIP if missing >= _MISSING_TRIP else Level.WITHHOLD
            return Verdict(rule="R1", level=level, what=f"Temperature sensor {sensor + 1} gives nothing.")
    return None


def _believable(value_c: float) -> bool:
    lowest, highest = hard.BELIEVABLE_C
    return math.isfinite(value_c) and lowest <= value_c <= highest


def _missing_in_a_row(window: Window, sensor: int) -> int:
    count = 0
    for sample in reversed(window.samples):
        if count == _MISSING_TRIP or reading_c(sample, sensor) is not None:
            break
        count += 1
    return count


def stale(scene: Scene) -> Verdict | None:
    """R2: the controller speaks, but a sensor's sample number does not rise."""
    newest = scene.newest
    if newest is None:
        return None
    figures = scene.parameters
    for sensor, seq in enumerate(newest.state.sample_seq):
        age_s = scene.window.since(lambda s, i=sensor, n=seq: _sample_seq(s, i) == n)  # type: ignore[misc]
        if age_s >= figures.stale_hold_s:
            level = Level.TRIP if age_s >= figures.stale_trip_s else Level.HOLD
            what = f"Temperature sensor {sensor + 1} has had no fresh sample for {age_s:.0f} s."
            return Verdict(rule="R2", level=level, what=what)
    return None


def _sample_seq(sample: Sample, sensor: int) -> int | None:
    return sample.state.sample_seq[sensor] if sensor < len(sample.state.sample_seq) else None


def stuck(scene: Scene) -> Verdict | None:
    """R3: its noise has vanished although the heater's duty changed, or the chamber must be rising."""
    part = scene.window.covers(scene.parameters.stuck_after_s)
    told = duties(part)
    if not part or max(told) - min(told) < _DUTY_CHANGE:
        part = scene.window.covers(_QUIET_S)
        if not _must_rise(scene, part):
            return None
    for sensor in range(len(part[-1].state.chamber_c)):
        if not _has_moved(part, sensor, scene.parameters.stuck_span_c):
            minutes = (part[-1].at_s - part[0].at_s) / 60.0
            what = f"Temperature sensor {sensor + 1} has not moved for {minutes:.0f} min under heat."
            return Verdict(rule="R3", level=Level.TRIP, what=what)
    return None


def _has_moved(part: tuple[Sample, ...], sensor: int, span_c: float) -> bool:
    """Whether its readings span so much, or one is missing; noise shows within a few of them."""
    lowest, highest = math.inf, -math.inf
    for sample in part:
        value = reading_c(sample, sensor)
        if value is None:
            return True
        lowest, highest = min(lowest, value), max(highest, value)
        if highest - lowest >= span_c:
            return True
    return False


def _must_rise(scene: Scene, part: tuple[Sample, ...]) -> bool:
    """Whether even a weak heater in a lossy chamber would have warmed it by more than any noise."""
    if not part or part[-1].hottest_c is None:
        return False
    duty = min(duties(part))
    return duty >= _MIN_DUTY and scene.least_rate_c_s(duty, part[-1].hottest_c) * _QUIET_S > _QUIET_RISE_C


def out_of_place(scene: Scene) -> Verdict | None:
    """R4: the heater works and a sensor does not feel it: it fell out, or is in somebody's hand."""
    return _near_the_room(scene) or _no_rise(scene)


def _near_the_room(scene: Scene) -> Verdict | None:
    room_c = scene.room_c
    if room_c is None:
        return None
    for sensor in range(len(scene.newest.state.chamber_c) if scene.newest else 0):
        if scene.window.since(lambda s, i=sensor: _is_out(s, i, room_c)) >= _OUT_S:  # type: ignore[misc]
            what = f"Temperature sensor {sensor + 1} reads the room while another one reads the chamber."
            return Verdict(rule="R4", level=Level.TRIP, what=what)
    return None


def _is_out(sample: Sample, sensor: int, room_c: float) -> bool:
    value, hottest = reading_c(sample, sensor), sample.hottest_c
    if value is None or hottest is None:
        return False
    return value - room_c < _NEAR_ROOM_C and hottest - room_c > _FAR_FROM_ROOM_C


def _no_rise(scene: Scene) -> Verdict | None:
    figures = scene.parameters
    span_s = figures.no_rise_after_s
    # The chamber's lag must have passed at that duty before its rise can be judged.
    if scene.window.since(lambda s: s.state.heater >= _MIN_DUTY) < span_s + figures.thermal_lag_s:
        return None
    part = scene.window.covers(span_s)
    if not part or part[-1].hottest_c is None:
        return None
    # At its set-point a chamber is held, not warmed, however much its cold spools still take; what is wrong
    # with a sensor there is R3's, R10's and the other half of this rule.
    if scene.cycle is not None and part[-1].hottest_c >= scene.cycle.setpoint_c - figures.sag_c:
        return None
    duty = sum(duties(part)) / len(part)
    expected_c_s = scene.expected_rate_c_s(duty, part[-1].hottest_c)
    asked_c_s = figures.no_rise_share * expected_c_s
    if expected_c_s < _LEAST_EXPECTED_C_S or scene.least_rate_c_s(duty, part[-1].hottest_c) < asked_c_s:
        return None
    for sensor in range(len(part[-1].state.chamber_c)):
        rate = rate_c_s(part, sensor)
        if rate is not None and rate < asked_c_s:
            what = f"The heater works, but sensor {sensor + 1} sees no temperature rise. Has it fallen out?"
            return Verdict(rule="R4", level=Level.TRIP, what=what)
    return None


def disagree(scene: Scene) -> Verdict | None:
    """R10: two sensors of one chamber, stirred by its fan, may not lie this far apart.

    In a hold the fan stops when the chamber is no longer warm: what was found then goes on being so.
    """
    figures = scene.parameters
    is_held = scene.phase is OvenPhase.HOLD
    apart_s = scene.window.since(lambda s: (is_held or s.state.fan) and spread_c(s) > figures.spread_c)
    if apart_s < figures.spread_hold_s:
        return None
    level = Level.TRIP if apart_s >= figures.spread_trip_s else Level.HOLD
    what = f"The sensors lie more than {figures.spread_c:g} °C apart: one of them is wrong."
    return Verdict(rule="R10", level=level, what=what)


def spread_c(sample: Sample) -> float:
    """Hottest less coldest sensor [°C]."""
    known = [value for value in sample.state.chamber_c if value is not None]
    return max(known) - min(known) if known else 0.0


def odd_dew_point(scene: Scene) -> Verdict | None:
    """R18: the chamber's air cannot be much wetter, nor much drier, than room, load and vent make it."""
    newest, room_c = scene.newest, scene.site.room_dew_point_c if scene.site else None
    if newest is None or room_c is None:
        return None
    dew_c = dew_point_c(newest.hottest_c, newest.state.humidity_pct)
    if dew_c is None:
        return None
    figures = scene.parameters
    above_c = dew_c - room_c
    if above_c > figures.dew_point_margin_c + figures.release_dew_point_c:
        what = f"The chamber's dew point lies {above_c:.0f} °C above the room's: more than a load gives off."
    elif above_c < -figures.dew_point_margin_c and scene.is_running:
        what = f"The chamber's dew point lies {-above_c:.0f} °C below that of the air it draws in."
    else:
        return None
    return Verdict(rule="R18", level=Level.NOTICE, what=f"{what} Suspect its humidity sensor.")


# Magnus form over water, D. Sonntag, Z. Meteorol. 70 (1990) 340. Used to 125 °C for a plausibility check
# only: there it is within 5 % of steam tables, which is 1 °C of dew point.
_MAGNUS_A, _MAGNUS_B_C = 17.62, 243.12


def dew_point_c(temperature_c: float | None, humidity_pct: float | None) -> float | None:
    """Dew point of the chamber's air [°C]; None below 5 %RH, where it is mostly the sensor's error."""
    if temperature_c is None or humidity_pct is None or humidity_pct < 5.0:
        return None
    gamma = math.log(humidity_pct / 100.0) + _MAGNUS_A * temperature_c / (_MAGNUS_B_C + temperature_c)
    return _MAGNUS_B_C * gamma / (_MAGNUS_A - gamma)
