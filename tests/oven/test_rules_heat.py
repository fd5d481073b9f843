"""R5 to R9: nominal, boundary, noise, gap and the fault (B-01)."""

import pytest
from support.oven_pair import PARAMETERS, site
from support.oven_scene import course, cycle, heated, noise, said

from monitor.model.oven import OvenPhase
from monitor.oven import rules_heat as rules
from monitor.oven.verdict import Level

WARMING = lambda t: 22.0 + 0.035 * t  # noqa: E731


@pytest.mark.parametrize(("rise_c", "level"), [(20.0, 0), (9.5, 0), (8.0, 5), (2.9, 5), (0.0, 5)])
def test_r5_trips_when_full_duty_from_cold_does_not_warm(rise_c, level):
    """H01, H02: less than 40 % of the learned rate in ten minutes of full heat (here 8.5 to 9.2 °C)."""
    assert said(rules.no_rise_from_cold, heated(620, lambda t: 22.0 + rise_c * t / 600)) == level


def test_r5_needs_ten_minutes_of_full_duty():
    """Boundary in time and duty: less of either proves nothing."""
    assert said(rules.no_rise_from_cold, heated(590, lambda _: 22.0)) is Level.FINE
    assert said(rules.no_rise_from_cold, heated(700, lambda _: 22.0, heater=0.9)) is Level.FINE


def test_r5_is_about_a_cold_chamber():
    """At its working temperature an oven may need full duty only to stay there."""
    assert said(rules.no_rise_from_cold, heated(700, lambda _: 60.0)) is Level.FINE


def test_r5_does_not_judge_across_a_gap():
    """Noise neither: a silence of five minutes leaves no ten minutes."""
    assert said(rules.no_rise_from_cold, heated(700, lambda _: 22.0, gap=(300, 690))) is Level.FINE


def off(seconds, height, *, power_w=0.0, gap=None, **changes):
    return course(
        seconds,
        lambda t: (
            {"chamber_c": (height(t) + noise(),), "sample_seq": (1,), "power_w": power_w}
            | {k: v(t) if callable(v) else v for k, v in changes.items()}
        ),
        gap=gap,
    )


def test_r6_is_quiet_in_a_chamber_that_cools():
    """Nominal with noise."""
    assert said(rules.switch_stuck, off(900, lambda t: 55.0 - 0.01 * t)) is Level.FINE


@pytest.mark.parametrize(
    ("power_w", "seconds", "level"), [(5.0, 60, 0), (5.1, 8, 0), (5.1, 10, 5), (150, 10, 5)]
)
def test_r6_trips_on_power_that_nobody_asked_for(power_w, seconds, level):
    """H01, H11: a welded switch draws current; boundaries at 5 W and 10 s."""
    assert said(rules.switch_stuck, off(seconds, lambda _: 22.0, power_w=power_w)) == level


@pytest.mark.parametrize(("rise_c", "level"), [(0.9, 0), (1.1, 5), (5.0, 5)])
def test_r6_trips_on_a_rise_with_the_heater_off(rise_c, level):
    """H01: boundary at 1 °C in three minutes, once the lag of five minutes has passed."""
    window = off(600, lambda t: 40.0 + rise_c * max(t - 400, 0) / 180)
    assert said(rules.switch_stuck, window, OvenPhase.IDLE, cycle=None) == level


def test_r6_allows_for_the_lag():
    """A heater gives off for a while what it holds."""
    window = heated(700, lambda t: 22.0 + 0.02 * t, heater=lambda t: float(t < 500), power_w=None)
    assert said(rules.switch_stuck, window) is Level.FINE


def test_r6_is_not_fooled_by_a_door():
    """The walls warm the air again after a door was open: seen by its switch, or by the height before."""
    height = lambda t: 50.0 - (8.0 * max(0.0, 1 - abs(t - 500) / 200) if t > 300 else 0.0)  # noqa: E731
    assert said(rules.switch_stuck, off(690, height, door_open=None)) is Level.FINE
    new_height = off(690, lambda t: 30 + 0.02 * max(t - 500, 0), door_open=lambda t: 480 < t < 500)
    assert said(rules.switch_stuck, new_height) is Level.FINE


@pytest.mark.parametrize(("height_c", "level"), [(59.9, 0), (60.2, 5)])
def test_r6_trips_on_a_chamber_that_does_not_fall(height_c, level):
    """H01: more than 5 °C over the set-point, heater off, for five minutes not falling."""
    assert said(rules.switch_stuck, off(400, lambda _: height_c)) == level


def test_r6_lets_an_overshoot_turn():
    """A heater's lag carries it up for two minutes; what falls again is no welded switch."""
    tent = off(400, lambda t: 62.0 - 0.01 * abs(t - 280))
    assert said(rules.switch_stuck, tent) is Level.FINE


def test_r6_does_not_judge_a_rise_across_a_gap():
    """Two readings on either side of a silence are no rate."""
    assert said(rules.switch_stuck, off(700, lambda t: 40 + 0.02 * t, gap=(510, 690))) is Level.FINE


@pytest.mark.parametrize(("rate_c_s", "level"), [(0.04, 0), (0.058, 0), (0.062, 5), (0.5, 5)])
def test_r7_trips_on_a_rise_that_no_heater_of_its_own_makes(rate_c_s, level):
    """H20: the sensor lies on the element; boundary at 1.5 times the fastest learned rate."""
    assert said(rules.too_fast, heated(120, lambda t: 22.0 + rate_c_s * t)) == level


def test_r7_rides_over_noise():
    """Least squares over 30 samples of 0.2 °C noise, fifteen times that of a good sensor, do not reach it."""
    assert said(rules.too_fast, heated(120, lambda t: 22.0 + 0.04 * t + noise(0.2))) is Level.FINE


def test_r7_lets_the_air_come_back_after_a_door():
    """Below what it was before, a fast rise is the walls'; the same rise above it is not."""
    back = lambda t: 50.0 if t < 200 else 38.0 + min(0.15 * (t - 200), 11.5)  # noqa: E731
    assert said(rules.too_fast, heated(270, back, door_open=None)) is Level.FINE
    on = lambda t: 50.0 if t < 200 else 38.0 + 0.5 * (t - 200)  # noqa: E731
    assert said(rules.too_fast, heated(270, on, door_open=None)) is Level.TRIP


def test_r7_does_not_judge_across_a_gap():
    """Forty seconds of silence in a minute leave nothing to fit."""
    assert said(rules.too_fast, heated(120, lambda t: 22.0 + 0.2 * t, gap=(70, 119))) is Level.FINE


def above(height_c, samples, **changes):
    window = heated(60, lambda _: 0.0, chamber_c=lambda t: (height_c if t > 60 - 2 * samples else 55.0, 50.0))
    return said(rules.over_load_limit, window, **changes)


@pytest.mark.parametrize(
    ("height_c", "samples", "level"),
    [
        (55, 9, 0),
        (63.0, 9, 0),
        (63.1, 1, 2),
        (63.1, 9, 2),
        (65.1, 2, 2),
        (65.0, 9, 2),
        (65.1, 3, 5),
        (90, 9, 5),
    ],
)
def test_r8_withholds_above_the_ceiling_and_trips_above_the_limit(height_c, samples, level):
    """H16: no permit from the first sample above 63 °C, a trip at the third above the 65 °C of the load."""
    assert above(height_c, samples) == level


def test_r8_ends_a_cycle_that_stays_above_its_ceiling():
    """Five minutes above it without heat are no overshoot."""
    held = cycle(withheld_since_mono_s=1060.0 - 299.0)
    assert above(63.5, 9, cycle=held) is Level.WITHHOLD
    assert above(63.5, 9, cycle=cycle(withheld_since_mono_s=1060.0 - 301.0)) is Level.STOP


def test_r8_is_not_reset_by_missing_readings_nor_by_a_gap():
    """Readings of None between hot ones must not begin the count anew."""
    window = heated(60, lambda _: 66.0, chamber_c=lambda t: (66.0 if t % 4 == 0 else None, None))
    assert said(rules.over_load_limit, window) is Level.TRIP
    assert said(rules.over_load_limit, heated(60, lambda _: 66.0, gap=(2, 56))) is Level.TRIP


@pytest.mark.parametrize(("height_c", "samples", "level"), [(125.0, 9, 0), (125.1, 1, 0), (125.1, 2, 5)])
def test_r9_trips_on_the_second_sample_above_the_hard_limit(height_c, samples, level):
    """The chamber's own limit, in every state; one sample may be noise."""
    window = course(60, lambda t: {"chamber_c": (height_c if t > 60 - 2 * samples else 55.0, 50.0)})
    assert said(rules.over_hard_limit, window, OvenPhase.IDLE, cycle=None, site=site()) == level


def test_r9_acts_across_a_gap():
    """Two hot samples are two hot samples, however far apart."""
    assert (
        said(rules.over_hard_limit, course(60, lambda _: {"chamber_c": (126.0,)}, gap=(2, 60))) is Level.TRIP
    )


def test_the_detection_budget_of_r6_and_r9_leaves_room():
    """B-02: what the reference oven (0.04 °C/s at most) gains before R9 and R6 have acted.

    R9: two samples of 2 s and a stop of 2 s, 0.24 °C. R6 by measured power: 10 s, a sample and the stop,
    0.56 °C. R6 by the rise alone: lag, three minutes and the stop, 12.7 °C from 55 °C at the pace that is
    left there; so an oven without a power meter relies on R8, which comes first, and on its cut-out.
    """
    rate = PARAMETERS.full_duty_rate_c_s
    assert (2 * 2 + 2) * rate < 0.3
    assert (10 + 4) * rate < 0.6
    top_c = 22.0 + rate * PARAMETERS.time_constant_s
    by_rise_s = PARAMETERS.thermal_lag_s + 180.0 + 4.0
    assert by_rise_s * (top_c - 55.0) / PARAMETERS.time_constant_s < 14.0
