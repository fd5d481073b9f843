"""A room's air as numbers: carried to another warmth, by the hour, by the month, and made drier."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.estimate import box_lid
from monitor.estimate.room_air import (
    DaySample,
    HourSample,
    air_out,
    carried_humidity,
    day_mean_kg_m3,
    day_pattern,
    leak_share,
    month_means,
    opening_kg,
)
from monitor.model.room_air import Airing
from monitor.physics.psychrometrics import vapour_kg_m3

G = 1e-3


def days(count, vapour_g_m3, hours=range(24)):
    return [
        HourSample(day=day, hour=hour, vapour_kg_m3=G * vapour_g_m3(day, hour))
        for day in range(count)
        for hour in hours
    ]


def wave(_day, hour):
    return 9.0 + 1.5 * math.cos(2.0 * math.pi * (hour - 15) / 24.0)


@pytest.mark.parametrize(
    ("from_c", "humidity", "to_c", "carried"),
    [
        # ASHRAE's saturation pressures: 1228.0 Pa at 10, 2643.9 at 22, 2338.8 at 20, 7384.9 at 40, 872.5 at 5 degC.
        (10.0, 0.40, 22.0, 0.40 * 1228.0 / 2643.9),
        (20.0, 0.50, 40.0, 0.50 * 2338.8 / 7384.9),
        (5.0, 1.00, 20.0, 872.5 / 2338.8),
    ],
)
def test_air_carried_to_another_warmth_keeps_its_vapour_pressure(from_c, humidity, to_c, carried):
    """P12: relative humidity changes though no water came or went; ASHRAE 2017 table 3."""
    assert carried_humidity(from_c, humidity, to_c) == pytest.approx(carried, rel=1e-3)


@given(from_c=st.floats(-20.0, 40.0), humidity=st.floats(0.01, 1.0), to_c=st.floats(-20.0, 60.0))
def test_carrying_air_there_and_back_changes_nothing(from_c, humidity, to_c):
    """No water is made or lost on the way."""
    there = carried_humidity(from_c, humidity, to_c)
    if there <= 1.0:
        assert carried_humidity(to_c, there, from_c) == pytest.approx(humidity, rel=1e-9)


@pytest.mark.parametrize(
    ("outside", "room", "verdict"),
    [
        ((5.0, 0.90), (21.0, 0.50), Airing.DRIER),  # a foggy winter's day dries a room
        ((28.0, 0.50), (21.0, 0.50), Airing.DAMPER),  # a fair summer's day wets a cool one
        ((32.0, 0.80), (15.0, 0.60), Airing.DEW),  # and a cellar runs with water
        ((21.0, 0.51), (21.0, 0.50), Airing.SAME),
        ((21.0, 0.53), (21.0, 0.50), Airing.SAME),  # two meters cannot tell this
    ],
)
def test_whether_airing_helps_is_told_by_the_water_not_by_the_relative_humidity(outside, room, verdict):
    """P12: 90 %RH outside may be the drier air."""
    assert air_out(*outside, *room).verdict is verdict


def test_air_that_has_to_drop_water_is_saturated_inside():
    """More than saturated air cannot be."""
    aired = air_out(32.0, 0.80, 15.0, 0.60)
    assert aired.relative_humidity == 1.0
    assert aired.vapour_kg_m3 == pytest.approx(vapour_kg_m3(15.0, 1.0))


@given(
    outside_c=st.floats(-20.0, 35.0),
    outside=st.floats(0.05, 1.0),
    room_c=st.floats(5.0, 30.0),
    room=st.floats(0.05, 0.95),
)
def test_air_said_to_be_drier_holds_less_water_than_the_rooms(outside_c, outside, room_c, room):
    """The verdict and the grams never contradict each other."""
    aired = air_out(outside_c, outside, room_c, room)
    has_less = aired.vapour_kg_m3 < vapour_kg_m3(room_c, room)
    if aired.verdict is Airing.DRIER:
        assert has_less
    elif aired.verdict is not Airing.SAME:
        assert not has_less


def test_a_days_wave_is_found_at_its_hours_and_in_its_size():
    """Smoothing over three hours takes under 3 % off a wave of a day."""
    pattern = day_pattern(days(14, wave))
    assert (pattern.driest.hour, pattern.dampest.hour) == (3, 15)
    assert pattern.swing_kg_m3 == pytest.approx(3.0 * G, rel=0.03)
    assert pattern.is_worth_waiting
    assert pattern.mean_kg_m3 == pytest.approx(9.0 * G)


def test_weather_is_not_taken_for_an_hours_habit():
    """A week that gets damper day by day has no driest hour."""
    pattern = day_pattern(days(14, lambda day, hour: 6.0 + 0.5 * (day + hour / 24.0)))
    assert pattern.swing_kg_m3 < 0.6 * G  # what a day rises by itself
    assert not pattern.is_worth_waiting


@pytest.mark.parametrize("seed", range(20))
def test_noise_alone_is_never_worth_waiting_for(seed):
    """Of 24 noisy means one is always the lowest: it is judged on days that did not choose it."""
    noise = random.Random(seed)
    pattern = day_pattern(days(14, lambda _day, _hour: noise.gauss(9.0, 1.5)))
    assert not pattern.is_worth_waiting
    assert pattern.swing_kg_m3 < 1.0 * G


def test_a_small_swing_makes_no_difference():
    """A tenth less for waiting half a day is not worth a note on the door."""
    pattern = day_pattern(days(14, lambda _day, hour: 9.0 + 0.45 * math.cos(2.0 * math.pi * hour / 24.0)))
    assert pattern.swing_kg_m3 == pytest.approx(0.9 * G, rel=0.03)
    assert not pattern.is_worth_waiting


def test_days_with_too_few_hours_do_not_count():
    """Half a day's mean depends on which half it is."""
    assert day_pattern([]) is None
    assert day_pattern(days(3, wave)) is None
    assert day_pattern(days(14, wave, hours=range(8, 20))) is None
    assert day_pattern(days(4, wave)).days == 4


def test_an_hour_that_was_never_measured_is_not_told():
    """A node that is switched off at night says nothing of the night."""
    pattern = day_pattern(days(14, wave, hours=range(4, 24)))
    assert [hour.hour for hour in pattern.hours] == list(range(4, 24))
    assert pattern.dampest.hour == 15


def test_an_hour_that_the_clocks_repeat_counts_once():
    """25 hours in a day: both are that hour."""
    twice = [*days(6, wave), HourSample(day=0, hour=2, vapour_kg_m3=20.0 * G)]
    pattern = day_pattern(twice)
    hour = next(each for each in pattern.hours if each.hour == 2)
    assert hour.days == 6
    assert hour.p90_kg_m3 < 15.0 * G


def test_an_opening_here_is_an_opening_of_the_box_estimator():
    """P34: one figure for one thing, on whichever page it stands."""
    assert opening_kg(0.012, 0.010) == pytest.approx(box_lid.AIR_CHANGES * 0.00012)


def test_a_month_is_told_from_its_measured_days():
    """23 °C and 50 %RH hold 10.28 g/m3, with a dew point of 12.0 °C (ASHRAE); nine days are no month."""
    june = [DaySample(year=2026, month=6, temperature_c=23.0, relative_humidity=0.5)] * 10
    july = [DaySample(year=2026, month=7, temperature_c=23.0, relative_humidity=0.6)] * 9
    (month,) = month_means([*july, *june])
    assert (month.year, month.month, month.days) == (2026, 6, 10)
    assert month.vapour_kg_m3 == pytest.approx(10.28 * G, rel=1e-3)
    assert month.dew_point_c == pytest.approx(12.0, abs=0.1)


def test_what_leaks_in_is_proportional_to_the_difference_in_vapour():
    """P26: by hand: (7 - 2) / (10 - 2)."""
    assert leak_share(10.0 * G, 2.0 * G, 7.0 * G) == pytest.approx(0.625)


def test_a_box_as_moist_as_its_room_has_no_leak_to_compare():
    """A share of nothing is not a number."""
    assert leak_share(10.0 * G, 9.9 * G, 7.0 * G) is None


def test_a_room_drier_than_a_box_dries_it():
    """Below nought: water leaves through the leak."""
    assert leak_share(10.0 * G, 6.0 * G, 4.0 * G) < 0.0


@given(usual=st.floats(2.0, 20.0), target=st.floats(2.0, 20.0), hours=st.floats(0.0, 24.0))
def test_a_dehumidifier_never_makes_the_day_damper(usual, target, hours):
    """P26: it is back at night to what it was, and never above it."""
    mean = day_mean_kg_m3(usual, target, hours)
    assert min(usual, target) - 1e-9 <= mean <= usual + 1e-9
