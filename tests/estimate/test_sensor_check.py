"""A sensor over a salt: settled or not, and the correction that follows."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.estimate.sensor_check import (
    Point,
    Sample,
    Settling,
    Why,
    correction,
    equilibrium,
    is_mendable,
    left_uncertainty_pct,
    verdict,
)
from monitor.model.sensor_check import Verdict

HOUR_S = 3600.0
SALT_PCT = 33.0


def jar(hours, *, start_pct=50.0, tau_h=1.0, ends_pct=34.2, noise_pct=0.03, every_s=300.0, warmth=None):
    """Readings of a jar from its start, going over to where this sensor ends."""
    dice = np.random.default_rng(7)
    rows = []
    for number in range(1, int(hours * HOUR_S / every_s) + 1):
        at_h = number * every_s / HOUR_S
        value = ends_pct + (start_pct - ends_pct) * math.exp(-at_h / tau_h) + noise_pct * dice.normal()
        warmth_c = 22.0 if warmth is None else warmth(at_h)
        rows.append(Sample(time_s=at_h * HOUR_S, temperature_c=warmth_c, humidity_pct=value))
    return rows


def look(rows, hours):
    return equilibrium(rows, 0.0, hours * HOUR_S, SALT_PCT)


@pytest.mark.parametrize("start_pct", [10.0, 33.0, 60.0])
@pytest.mark.parametrize("tau_h", [0.2, 0.5, 1.0, 2.0, 4.0])
def test_what_is_called_settled_is_within_half_a_percent_of_its_end(start_pct, tau_h):
    """The wait is for what matters, however slow the jar, also where it began near the salt's own value."""
    for quarter in range(2, 96):
        found = look(jar(quarter / 4, start_pct=start_pct, tau_h=tau_h), quarter / 4)
        if found.settling is Settling.REACHED:
            assert found.humidity_pct == pytest.approx(34.2, abs=0.5)
            assert quarter / 4 < 6.0 * tau_h + 3.0
            return
    pytest.fail("it never settled within a day")


def test_no_jar_is_settled_within_its_first_two_hours():
    """A bulky sensor needs an hour, and a slow jar shows its creep only later, even if a reading holds still."""
    found = look(jar(1.9, start_pct=34.2), 1.9)
    assert (found.settling, found.why) == (Settling.WAITING, Why.SOON)


def test_a_slow_creep_that_looks_still_is_not_settled():
    """0.25 %RH an hour with a time constant of 8 h has 2 %RH to go: rate alone would accept it."""
    rows = jar(16.0, start_pct=50.0, tau_h=8.0, ends_pct=34.2, noise_pct=0.0)
    found = look(rows, 16.0)
    assert abs(found.remaining_pct) > 1.0
    assert found.settling is Settling.WAITING
    assert found.remaining_pct == pytest.approx(34.2 - rows[-1].humidity_pct, rel=0.15)


def test_how_long_to_wait_is_told():
    """A person goes away and comes back: the time must be about right."""
    found = look(jar(2.0, tau_h=1.0, noise_pct=0.0), 2.0)
    true_s = HOUR_S * math.log(15.8 * math.exp(-2.0) / 0.3)
    assert found.wait_s == pytest.approx(true_s, rel=0.25)


def test_a_jar_that_leaks_never_gets_there():
    """Nearer to the salt once than now: the room's air comes in."""
    rows = jar(5.0, start_pct=60.0, tau_h=0.5, ends_pct=34.0)
    rows += [
        Sample(time_s=(5.0 + n / 12) * HOUR_S, temperature_c=22.0, humidity_pct=34.0 + n / 12)
        for n in range(1, 49)
    ]
    found = look(rows, 9.0)
    assert (found.settling, found.why) == (Settling.NEVER, Why.LEAKS)


def test_a_sensor_that_passes_the_salts_value_on_its_way_does_not_leak():
    """One that reads 2 %RH low goes from above through the true value: that is its error, no leak."""
    assert look(jar(8.0, start_pct=60.0, ends_pct=31.0), 8.0).settling is Settling.REACHED


def test_a_sensor_far_off_that_goes_straight_away_from_the_salts_value_does_not_leak():
    """It reads 30 %RH too high, and the salt is damper than where it came from: it settles all the same."""
    assert look(jar(8.0, start_pct=60.0, ends_pct=63.0), 8.0).settling is Settling.REACHED


def test_a_jar_still_moving_after_a_day_is_given_up():
    """It would be waited for for ever."""
    found = look(jar(25.0, start_pct=90.0, tau_h=12.0), 25.0)
    assert (found.settling, found.why) == (Settling.NEVER, Why.LONG)


def test_a_sensor_that_never_moved_is_stuck():
    """A dead value far from the salt's holds still perfectly."""
    rows = [Sample(time_s=300.0 * n, temperature_c=22.0, humidity_pct=56.5) for n in range(1, 37)]
    found = look(rows, 3.0)
    assert (found.settling, found.why) == (Settling.NEVER, Why.STUCK)


def test_an_unsteady_temperature_is_waited_out():
    """1 K between salt and sensor is 6 % of a humidity."""
    found = look(jar(4.0, tau_h=0.3, warmth=lambda at_h: 22.0 + 1.5 * at_h), 4.0)
    assert (found.settling, found.why) == (Settling.WAITING, Why.WARMING)


def test_a_gap_in_the_last_hour_settles_nothing():
    """A-36: what was not read cannot be taken for still."""
    rows = [s for s in jar(4.0, tau_h=0.3) if not 3.1 * HOUR_S < s.time_s < 3.6 * HOUR_S]
    assert look(rows, 4.0).why is Why.FEW
    assert look(jar(4.0, tau_h=0.3), 4.6).why is Why.FEW
    assert equilibrium([], 0.0, HOUR_S, SALT_PCT).why is Why.FEW


@given(
    values=st.lists(st.floats(0.0, 100.0), min_size=1, max_size=200),
    now_h=st.floats(0.0, 100.0),
    reference=st.none() | st.floats(0.0, 100.0),
)
def test_any_readings_give_an_answer(values, now_h, reference):
    """A sensor may say anything; the page must not fall over it."""
    rows = [Sample(time_s=300.0 * n, temperature_c=22.0, humidity_pct=v) for n, v in enumerate(values)]
    found = equilibrium(rows, 0.0, now_h * HOUR_S, reference)
    assert found.settling in set(Settling)
    assert (found.why is None) == (found.settling is Settling.REACHED)


def test_verdicts_follow_the_error():
    """Within the data sheet; correct it; too far for any correction."""
    assert [verdict(e, 1.8) for e in (1.8, -1.8, 1.9, -6.0, 6.1)] == [
        Verdict.WITHIN, Verdict.WITHIN, Verdict.CORRECT, Verdict.CORRECT, Verdict.REPLACE,
    ]  # fmt: skip


readings = st.floats(2.0, 40.0)


@given(low=readings, apart=st.floats(15.0, 60.0), offset=st.floats(-5.0, 5.0), gain=st.floats(0.92, 1.08))
def test_two_points_find_the_line_and_leave_nothing(low, apart, offset, gain):
    """As left, both points are right, whatever the sensor's offset and gain."""
    points = [
        Point(reading_pct=(true - offset) / gain, reference_pct=true, uncertainty_pct=1.0)
        for true in (low, low + apart)
    ]
    found = correction(points)
    assert found.gain == pytest.approx(gain, rel=1e-6)
    assert found.offset_pct == pytest.approx(offset, abs=1e-6)
    assert correction(points[::-1]) == found
    for point in points:
        if 0.0 <= point.reference_pct <= 100.0:
            assert found.corrected(point.reading_pct) == pytest.approx(point.reference_pct, abs=1e-6)


def test_one_point_gives_an_offset_only():
    """A gain from one point would be invented."""
    found = correction([Point(reading_pct=9.0, reference_pct=11.3, uncertainty_pct=1.0)])
    assert (round(found.offset_pct, 6), found.gain) == (2.3, 1.0)
    assert correction([]).corrected(42.0) == 42.0


@given(reading=st.floats(0.0, 100.0), offset=st.floats(-6.0, 6.0), gain=st.floats(0.9, 1.1))
def test_a_correction_keeps_order_and_range(reading, offset, gain):
    """More stays more, and no air is wetter than saturated or drier than dry."""
    points = [(10.0, offset + gain * 10.0), (40.0, offset + gain * 40.0)]
    found = correction([Point(reading_pct=r, reference_pct=t, uncertainty_pct=1.0) for r, t in points])
    assert 0.0 <= found.corrected(reading) <= 100.0
    assert found.corrected(reading) <= found.corrected(min(reading + 1.0, 100.0))


def test_a_sensor_that_reads_more_where_there_is_less_is_not_corrected():
    """A line through such points would turn damp into dry."""
    points = [
        Point(reading_pct=r, reference_pct=t, uncertainty_pct=1.0) for r, t in ((30.0, 11.3), (12.0, 32.8))
    ]
    with pytest.raises(ValueError, match="no higher"):
        correction(points)


@pytest.mark.parametrize(
    ("low", "high", "mends"), [(9.0, 31.0, True), (3.0, 30.0, False), (11.3, 35.5, False)]
)
def test_only_a_sensors_error_is_mended(low, high, mends):
    """A gain beyond 0.9 to 1.1 or an offset beyond 6 %RH is a broken sensor, or a broken check."""
    points = [
        Point(reading_pct=r, reference_pct=t, uncertainty_pct=1.0) for r, t in ((low, 11.3), (high, 32.8))
    ]
    assert is_mendable(correction(points)) is mends


def test_a_check_at_75_says_little_of_15():
    """P17: over table salt alone no more is known at 15 %RH than the data sheet says; over LiCl +-1."""
    salt = Point(reading_pct=75.5, reference_pct=75.5, uncertainty_pct=1.4)
    low = Point(reading_pct=11.3, reference_pct=11.3, uncertainty_pct=1.0)
    assert left_uncertainty_pct([salt], 15.0) > 1.8 * 2.0
    assert left_uncertainty_pct([low], 15.0) < 1.1


def test_a_pair_reaching_beyond_its_points_multiplies_their_noise():
    """33 and 75 % taken down to 8 %RH are worse than 11 and 33 %."""
    points = {at: Point(reading_pct=at, reference_pct=at, uncertainty_pct=1.0) for at in (11.3, 32.8, 75.3)}
    far = left_uncertainty_pct([points[32.8], points[75.3]], 8.0)
    near = left_uncertainty_pct([points[11.3], points[32.8]], 8.0)
    assert far > 1.4 * near
    assert near < 1.2
