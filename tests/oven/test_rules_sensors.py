"""R1, R2, R3, R4, R10, R18: nominal, boundary, noise, gap and the fault (B-01)."""

import math
from dataclasses import replace

import pytest
from support.oven_pair import PARAMETERS, site
from support.oven_scene import course, cycle, heated, noise, said

from monitor.model.oven import OvenPhase
from monitor.oven import rules_sensors as rules
from monitor.oven.verdict import Level

WARMING = lambda t: 22.0 + 0.035 * t  # noqa: E731


def dead_for(samples):
    """The second sensor gives nothing in the last so many samples of a minute."""
    return course(60, lambda t: {"chamber_c": (22.0, None if t > 60 - 2 * samples else 22.0)})


def test_r1_believes_what_a_chamber_can_be():
    """Nominal: a course from cold to hot says nothing; both ends of the box are still inside."""
    assert said(rules.implausible, heated(600, WARMING)) is Level.FINE
    assert said(rules.implausible, course(4, lambda _: {"chamber_c": (-10.0, 130.0)})) is Level.FINE


@pytest.mark.parametrize("value", [-10.01, 130.01, math.nan, math.inf, -math.inf])
def test_r1_trips_on_a_reading_outside_of_its_box(value):
    """H03: a shorted or open sensor reads the end of its scale, or no number at all."""
    assert said(rules.implausible, course(4, lambda _: {"chamber_c": (22.0, value)})) is Level.TRIP


@pytest.mark.parametrize(("humidity_pct", "level"), [(-1.0, 0), (101.0, 0), (-1.1, 5), (101.1, 5)])
def test_r1_holds_for_humidity_too(humidity_pct, level):
    """R1 gives RH a box of its own, before it is clamped."""
    assert said(rules.implausible, course(4, lambda _: {"humidity_pct": humidity_pct})) == level


@pytest.mark.parametrize(("samples", "level"), [(0, 0), (1, 2), (2, 2), (3, 5), (9, 5)])
def test_r1_trips_on_the_third_missing_reading(samples, level):
    """A single lost transfer on a bus is noise and only keeps back the permit; three are a fault."""
    assert said(rules.implausible, dead_for(samples)) == level


def test_r1_is_not_fooled_by_a_gap():
    """A silent minute is no reading of None; that is what R2 and the lease are for."""
    assert said(rules.implausible, course(120, lambda _: {}, gap=(20, 100))) is Level.FINE


def silent_from(from_s, *, gap=None):
    return course(120, lambda t: {"sample_seq": (round(t), round(min(t, from_s)))}, gap=gap)


@pytest.mark.parametrize(("stale_s", "level"), [(0, 0), (28, 0), (30, 3), (58, 3), (60, 5), (120, 5)])
def test_r2_holds_at_30_s_and_trips_at_60_s(stale_s, level):
    """H04: three intervals of 10 s without a fresh sample turn the heat off, six lock it."""
    assert said(rules.stale, silent_from(120 - stale_s)) == level


def test_r2_counts_a_sensor_of_10_s_as_fresh():
    """Noise of the sampling: a number that rises every 10 s is what the rule was made for."""
    window = course(120, lambda t: {"sample_seq": (round(t // 10), round(t // 10))})
    assert said(rules.stale, window) is Level.FINE


def test_r2_sees_a_stale_sensor_across_a_gap():
    """A silence does not make an old sample fresh."""
    assert said(rules.stale, silent_from(20, gap=(40, 100))) is Level.TRIP


def frozen(span_c, *, duty=lambda t: 0.5 + 0.4 * math.sin(t / 60)):
    return heated(
        700,
        lambda _: 55.0,
        heater=duty,
        chamber_c=lambda t: (55.0 + noise(), 55.0 + (span_c if round(t) % 4 == 0 else 0.0)),
    )


def test_r3_is_quiet_while_noise_lives():
    """Nominal and noise: a steady chamber still shows its sensors' noise of 0.013 °C."""
    window = heated(700, lambda _: 55.0, heater=lambda t: 0.5 + 0.4 * math.sin(t / 60))
    assert said(rules.stuck, window) is Level.FINE


@pytest.mark.parametrize(("span_c", "level"), [(0.0, 5), (0.019, 5), (0.021, 0)])
def test_r3_trips_when_the_noise_has_vanished(span_c, level):
    """H04: a driver that gives its last value over and over; boundary at 0.02 °C."""
    assert said(rules.stuck, frozen(span_c)) == level


def test_r3_needs_a_heater_that_changed():
    """A chamber in balance under one duty may be as still as it likes."""
    assert said(rules.stuck, frozen(0.0, duty=lambda _: 0.4)) is Level.FINE


@pytest.mark.parametrize(
    ("seconds", "duty", "span_c", "level"),
    [(190, 1.0, 0.0, 5), (150, 1.0, 0.0, 0), (190, 0.45, 0.0, 0), (190, 1.0, 0.03, 0)],
)
def test_r3_trips_in_three_minutes_where_the_chamber_must_rise(seconds, duty, span_c, level):
    """H04: both sensors stuck at 45 °C under full heat; ten minutes would have carried the load past its limit."""
    window = heated(
        seconds,
        lambda _: 45.0,
        heater=duty,
        chamber_c=lambda t: (45.0 + span_c * (round(t) % 4 == 0), 45.0 + span_c * (round(t) % 8 == 0)),
    )
    assert said(rules.stuck, window) == level


def test_r3_says_nothing_in_three_minutes_near_the_balance():
    """Where a weak heater only holds the chamber, stillness is no fault."""
    window = heated(190, lambda _: 80.0, heater=1.0, chamber_c=(80.0, 80.0))
    assert said(rules.stuck, window) is Level.FINE


def test_r3_does_not_judge_across_a_gap():
    """Ten minutes with a hole of five are not ten minutes of stillness."""
    window = heated(
        700, lambda _: 55.0, heater=lambda t: 0.4 * float(t > 350), chamber_c=(55.0, 55.0), gap=(150, 500)
    )
    assert said(rules.stuck, window) is Level.FINE


def test_r4_is_quiet_while_both_sensors_rise():
    """Nominal with noise: twelve minutes of warming up."""
    assert said(rules.out_of_place, heated(720, WARMING)) is Level.FINE


def test_r4_trips_when_the_heater_works_and_the_sensor_sees_nothing():
    """H02: both sensors fell out; the room is all they see."""
    assert said(rules.out_of_place, heated(720, lambda _: 22.0)) is Level.TRIP


@pytest.mark.parametrize(("share", "level"), [(0.20, 5), (0.40, 0)])
def test_r4_trips_below_a_quarter_of_the_expected_rate(share, level):
    """Boundary at 25 %; between them lies what noise and the loss to the walls may do."""
    assert said(rules.out_of_place, heated(720, lambda t: 22.0 + share * 0.04 * t)) == level


def held(seconds, at_c):
    """Five cold spools in a cold room: a duty of 0.6 that raises the air by 0.0049 °C/s."""
    window = heated(seconds, lambda t: at_c + 0.0049 * (t - seconds), heater=0.6)
    reference = replace(PARAMETERS, full_duty_rate_c_s=0.060, time_constant_s=1800.0)
    return said(
        rules.out_of_place, window, parameters=reference, cycle=cycle(setpoint_c=41.5), site=site(room_c=12.7)
    )


def test_r4_asks_for_no_rise_at_the_setpoint():
    """Nominal cycle 589: regulated at 41.5 °C, its spools took the heat; 0.0050 °C/s were asked for."""
    assert held(720, 41.9) is Level.FINE
    assert held(720, 37.0) is Level.FINE
    assert held(720, 36.0) is Level.TRIP  # five degrees below it should be on its way


def test_r4_trips_when_one_sensor_is_in_the_room_and_the_other_is_not():
    """H02: one sensor in somebody's hand, a minute long."""
    window = heated(120, lambda _: 50.0, chamber_c=lambda _: (50.0 + noise(), 23.0 + noise()))
    assert said(rules.out_of_place, window) is Level.TRIP


def test_r4_waits_for_the_chamber_to_warm():
    """A cold start has both sensors near the room, and no lag has passed."""
    assert said(rules.out_of_place, heated(300, lambda t: 22.0 + 0.01 * t)) is Level.FINE


def test_r4_does_not_judge_across_a_gap():
    """What the heater did in a silence is not known."""
    assert said(rules.out_of_place, heated(720, lambda _: 22.0, gap=(450, 700))) is Level.FINE


def apart(spread_c, seconds, *, fan=True, gap=None):
    return heated(
        600,
        lambda _: 50.0,
        chamber_c=lambda t: (50.0, 50.0 - (spread_c if t >= 600 - seconds else 0.5)),
        fan=fan,
        gap=gap,
    )


@pytest.mark.parametrize(
    ("spread_c", "seconds", "level"),
    [(0.5, 600, 0), (7.9, 600, 0), (8.1, 118, 0), (8.1, 120, 3), (8.1, 298, 3), (8.1, 300, 5), (20, 400, 5)],
)
def test_r10_holds_at_two_minutes_and_trips_at_five(spread_c, seconds, level):
    """H05: a drifted sensor is told by the other one; boundaries at 8 °C, 120 s and 300 s."""
    assert said(rules.disagree, apart(spread_c, seconds)) == level


def test_r10_needs_the_fan():
    """Without moving air layers are natural; that the fan stands is what R14 is for."""
    assert said(rules.disagree, apart(15, 400, fan=False)) is Level.FINE


def test_r10_in_a_hold_goes_on_without_the_fan():
    """A hold lets the fan stop: the sensors agree no more for that, and heat must not come back to them."""
    window = apart(15, 400, fan=False)
    assert said(rules.disagree, window, OvenPhase.HOLD) is Level.TRIP


def test_r10_forgives_noise_and_keeps_counting_over_a_gap():
    """One sample in agreement begins the time anew; a silence does not."""
    once = heated(400, lambda _: 50.0, chamber_c=lambda t: (50.0, 50.0 if t == 350 else 40.0))
    assert said(rules.disagree, once) is Level.FINE
    assert said(rules.disagree, apart(15, 400, gap=(300, 500))) is Level.TRIP


def wet(humidity_pct, *, at_c=50.0, room_dew_point_c=10.0):
    window = heated(60, lambda _: at_c, humidity_pct=humidity_pct)
    return said(rules.odd_dew_point, window, site=site(room_dew_point_c=room_dew_point_c))


def test_r18_believes_a_wet_load_and_a_dry_room():
    """Nominal: 50 °C at 15 %RH is a dew point of 16 °C, six above the room's."""
    assert wet(15.0) is Level.FINE


@pytest.mark.parametrize(("humidity_pct", "level"), [(32.0, 0), (40.0, 1), (7.5, 0), (6.0, 1)])
def test_r18_gives_notice_on_air_that_cannot_be(humidity_pct, level):
    """Boundaries: 10 °C + 15 °C of release + 5 °C above, 5 °C below the room's dew point."""
    assert wet(humidity_pct, room_dew_point_c=10.0 if humidity_pct > 20 else 9.0) == level


def test_r18_says_nothing_where_nothing_can_be_told():
    """Below 5 %RH a sensor's error is most of what it reads; and a room without a sensor has no dew point."""
    assert wet(3.0) is Level.FINE
    assert wet(90.0, room_dew_point_c=None) is Level.FINE
    assert said(rules.odd_dew_point, course(60, lambda _: {}, gap=(2, 60))) is Level.FINE


def test_dew_point_agrees_with_steam_tables():
    """Saturation pressure 12.35 kPa at 50 °C (IAPWS): a tenth of it is the dew point of 10.0 °C."""
    assert rules.dew_point_c(50.0, 10.0) == pytest.approx(10.0, abs=0.2)
    assert PARAMETERS.dew_point_margin_c >= 5.0
