"""R11 to R13 and R15 to R17: nominal, boundary, noise, gap and the fault (B-01)."""

import math

import pytest
from support.oven_pair import PARAMETERS
from support.oven_scene import course, cycle, heated, noise, said, scene

from monitor.model.cycle import Tally
from monitor.model.oven import OvenPhase
from monitor.oven import rules_course as rules
from monitor.oven.parameters import OvenParameters
from monitor.oven.verdict import Level

STEADY = heated(300, lambda _: 55.0)


def warm_up_s():
    """-tau ln(1 - 33/96) and the lag: what this oven needs from 22 to 55 °C."""
    return 2400.0 * math.log(96.0 / 63.0) + 300.0


def test_the_expected_warm_up_is_that_of_the_model():
    """By hand: 1011 s and 300 s of lag."""
    assert rules.warm_up_s(scene(STEADY)) == pytest.approx(warm_up_s())


@pytest.mark.parametrize(("share", "level"), [(1.0, 0), (2.99, 0), (3.01, 4), (10, 4)])
def test_r11_stops_after_three_times_the_warm_up(share, level):
    """Door open, room cold, element dead: boundary at three times."""
    now_s = 1000.0 + share * warm_up_s()
    assert said(rules.not_reaching, STEADY, now_mono_s=now_s) == level


def test_r11_is_for_warming_alone_and_goes_by_time_not_by_samples():
    """Once reached it is R12's; a gap in the readings does not stretch the time."""
    late_s = 1000.0 + 4 * warm_up_s()
    assert said(rules.not_reaching, STEADY, OvenPhase.DRYING, now_mono_s=late_s) is Level.FINE
    gappy = heated(300, lambda _: 30.0 + noise(), gap=(20, 290))
    assert said(rules.not_reaching, gappy, now_mono_s=late_s) is Level.STOP


def test_r11_gives_a_set_point_at_the_top_of_the_heater_a_finite_time():
    """What can hardly be reached would otherwise be waited for without end."""
    hot = scene(STEADY, cycle=cycle(setpoint_c=118.0))
    assert math.isfinite(rules.warm_up_s(hot))
    assert rules.warm_up_s(scene(STEADY, cycle=cycle(setpoint_c=20.0))) == 600.0


def sag(below_c, seconds, *, gap=None):
    window = heated(1200, lambda t: 55.0 - (below_c if t >= 1200 - seconds else 0.0), gap=gap)
    return said(rules.sagging, window, OvenPhase.DRYING)


@pytest.mark.parametrize(
    ("below_c", "seconds", "level"),
    [(0, 1200, 0), (4.5, 1200, 0), (6, 560, 0), (6, 660, 4), (20, 170, 0), (20, 200, 4)],
)
def test_r12_stops_when_more_than_60_degree_minutes_are_missing(below_c, seconds, level):
    """Boundaries at 5 °C and 60 °C·min; the hotter sensor reads 0.1 °C more."""
    assert sag(below_c, seconds) == level


def test_r12_forgives_a_door_and_noise():
    """Two minutes at 20 °C less, and single readings far off, stay within the allowance."""
    assert sag(20, 120) is Level.FINE
    spikes = heated(1200, lambda t: 55.0 - (30.0 if round(t) % 60 == 0 else 0.0))
    assert said(rules.sagging, spikes, OvenPhase.DRYING) is Level.FINE


def test_r12_counts_a_gap_as_what_was_seen_before_it():
    """A chamber that sagged when it fell silent sagged in the silence."""
    assert sag(10, 500, gap=(760, 1190)) is Level.STOP


def test_r12_begins_with_the_drying():
    """The warming up before is no sag."""
    window = heated(1200, lambda t: 22.0 + 0.0275 * t)
    dried = cycle(phase_since_mono_s=2190.0)
    assert said(rules.sagging, window, OvenPhase.DRYING, cycle=dried) is Level.FINE


def over(height_c, samples, tally=None, **changes):
    window = heated(
        60, lambda _: 0, chamber_c=lambda t: (height_c if t > 60 - 2 * samples else 54.0,), **changes
    )
    return said(rules.overshooting, window, cycle=cycle(tally=tally or Tally()))


@pytest.mark.parametrize(
    ("height_c", "samples", "level"), [(55, 9, 0), (60.0, 9, 0), (60.1, 1, 0), (60.1, 2, 1)]
)
def test_r13_gives_notice_of_the_first_overshoot(height_c, samples, level):
    """H19: more than 5 °C over; one sample may be noise."""
    assert over(height_c, samples) == level


def test_r13_trips_on_the_second_and_counts_each_once():
    """While it lasts it is the same overshoot."""
    assert over(60.5, 5, Tally(overshoots=1)) is Level.TRIP
    assert over(60.5, 5, Tally(overshoots=1, is_overshooting=True)) is Level.FINE


def test_r13_is_stricter_where_the_guard_band_is_thinner():
    """A guard of 3 °C must not be used up unseen."""
    thin = OvenParameters(max_c=75.0, overshoot_c=1.0, sensor_error_c=1.0)
    window = heated(60, lambda _: 58.2)
    assert said(rules.overshooting, window, parameters=thin) is Level.NOTICE
    assert said(rules.overshooting, window) is Level.FINE


def test_r13_acts_across_a_gap():
    """Hot before a silence and hot after it is hot."""
    assert over(60.5, 30, gap=(4, 58)) is Level.NOTICE


@pytest.mark.parametrize(("hours", "level"), [(4.0, 0), (4.39, 0), (4.41, 4), (30.0, 4)])
def test_r15_stops_at_a_tenth_beyond_what_was_confirmed(hours, level):
    """The cycle's own end has failed if this is seen; it goes by time, so noise and gaps do not matter."""
    assert said(rules.too_long, STEADY, now_mono_s=1000.0 + hours * 3600.0) == level


def test_r15_never_exceeds_the_longest_cycle():
    """The cap of the oven holds without the tenth."""
    long = cycle(duration_s=PARAMETERS.longest_s)
    at_s = 1000.0 + PARAMETERS.longest_s + 1.0
    assert said(rules.too_long, STEADY, cycle=long, now_mono_s=at_s) is Level.STOP


@pytest.mark.parametrize(
    ("energy_wh", "level"), [(0, 0), (200, 0), (260, 0), (261, 1), (300, 1), (301, 4), (None, 0)]
)
def test_r16_tells_at_130_and_stops_at_150_percent(energy_wh, level):
    """H05: a sensor that drifts low is told by the energy it takes; not measured = not judged."""
    used = cycle(learned_energy_wh=200.0, tally=Tally(energy_wh=energy_wh))
    assert said(rules.too_much_energy, STEADY, cycle=used) == level


def test_r16_knows_nothing_of_a_recipe_it_has_not_learned():
    """No figure, no verdict."""
    assert said(rules.too_much_energy, STEADY, cycle=cycle(tally=Tally(energy_wh=9999.0))) is Level.FINE


def switching(every_s, seconds=1200, *, gap=None):
    return heated(seconds, lambda _: 55.0, heater=lambda t: float((t // every_s) % 2 == 0), gap=gap)


@pytest.mark.parametrize(("every_s", "level"), [(1e9, 0), (60, 0), (32, 0), (28, 4), (4, 4)])
def test_r17_stops_a_switch_that_chatters(every_s, level):
    """H31: more than six a minute, or 120 an hour, wear a relay out; boundary at one per 30 s."""
    assert said(rules.chattering, switching(every_s)) == level


def test_r17_does_not_count_a_changing_duty_as_switching():
    """Noise of a proportional control is no switch."""
    window = heated(600, lambda _: 55.0, heater=lambda t: 0.3 + 0.2 * (round(t) % 4 == 0))
    assert said(rules.chattering, window) is Level.FINE


def test_r17_does_not_count_a_duty_that_comes_and_goes_near_nothing():
    """Nominal cycle 31: at a low set-point in a warm room it goes between 0 and 0.06 with each state."""
    window = heated(900, lambda _: 38.0, heater=lambda t: 0.06 * (round(t) % 4 == 0))
    assert said(rules.chattering, window) is Level.FINE


def test_r17_counts_a_gap_as_one_switching_at_most_and_does_not_blow_up_a_short_time():
    """Five switchings in the first two minutes are not 150 an hour."""
    assert said(rules.chattering, switching(20, seconds=100)) is Level.FINE
    assert said(rules.chattering, switching(4, seconds=100, gap=(10, 90))) is Level.FINE
    assert said(rules.chattering, course(100, lambda _: {})) is Level.FINE
