"""A-41, A.8: dose and equivalent humidity against constant cases, and what must hold of them always."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.estimate.dose import Span, dose_of, dose_over, equivalent_humidity, worst_hour
from monitor.library import load_library
from monitor.physics.diffusion import cylinder_modes, diffusivity_m2_s, mean_content, step_strand
from monitor.physics.isotherm import polymer_content

MATERIALS = load_library().materials
PA, PLA = MATERIALS["pa6"], MATERIALS["pla"]
HOUR_S = 3_600.0

humidities = st.floats(0.0, 1.0)
histories = st.lists(
    st.tuples(st.floats(60.0, 40 * HOUR_S), st.floats(5.0, 60.0), humidities), min_size=1, max_size=12
)
materials = st.sampled_from(sorted(MATERIALS))


def arrays(history):
    return tuple(np.array(column) for column in zip(*history, strict=True))


def spans(history):
    return [Span(seconds=s, temperature_c=t, humidity=h) for s, t, h in history]


@pytest.mark.parametrize("key", sorted(MATERIALS))
@pytest.mark.parametrize("humidity", [0.02, 0.31, 0.9])
def test_a_constant_humidity_is_itself(key, humidity):
    """Also where the temperature swings."""
    history = [(HOUR_S * n, 20.0 + 3.0 * n, humidity) for n in range(1, 6)]
    assert equivalent_humidity(MATERIALS[key], *arrays(history)) == pytest.approx(humidity, abs=1e-9)


@given(materials, histories)
def test_no_history_is_worse_than_its_dampest_moment(key, history):
    found = equivalent_humidity(MATERIALS[key], *arrays(history))
    lowest, highest = min(h for *_, h in history), max(h for *_, h in history)
    assert lowest - 1e-9 <= found <= highest + 1e-9


@given(histories)
def test_the_constant_humidity_does_the_same_to_a_strand_stepped_by_itself(history):
    """Against the strand's own stepping, which shares nothing with the sum of shares."""
    modes = cylinder_modes()
    start = polymer_content(PA, history[0][2])
    found = equivalent_humidity(PA, *arrays(history))
    real = alike = np.full(len(modes.weights), float(start))
    for seconds, temperature_c, humidity in history:
        rate = diffusivity_m2_s(PA.diffusivity_m2_s, PA.activation_j_mol, temperature_c) / 0.875e-3**2
        real = step_strand(modes, real, rate, seconds, polymer_content(PA, humidity))
        alike = step_strand(modes, alike, rate, seconds, polymer_content(PA, found))
    assert float(mean_content(modes, alike)) == pytest.approx(float(mean_content(modes, real)), abs=1e-9)


def test_a_dose_of_constant_air_is_excess_times_rate_times_time():
    """Worked by hand: the excess in limits, D / a^2, and ten hours."""
    excess = float(polymer_content(PA, 0.5)) / PA.limit_content - 1.0
    at_35_c = PA.diffusivity_m2_s * math.exp(
        PA.activation_j_mol / 8.314462618 * (1.0 / 296.15 - 1.0 / 308.15)
    )
    by_hand = excess * at_35_c / (0.875e-3) ** 2 * 10.0 * HOUR_S
    found = dose_of(PA, np.array([10 * HOUR_S]), np.array([35.0]), np.array([0.5]))
    assert found == pytest.approx(by_hand, rel=1e-9)


def test_air_that_cannot_take_it_over_its_limit_gives_no_dose():
    assert dose_of(PA, np.array([1000 * HOUR_S]), np.array([40.0]), np.array([0.01])) == 0.0
    assert dose_of(PA, np.array([HOUR_S]), np.array([23.0]), np.array([0.6])) > 0.0


@given(materials, histories, histories)
def test_doses_of_adjoining_windows_add_up(key, first, second):
    material = MATERIALS[key]
    parts = dose_of(material, *arrays(first)) + dose_of(material, *arrays(second))
    assert dose_of(material, *arrays(first + second)) == pytest.approx(parts, rel=1e-9, abs=1e-12)


@given(materials, histories, st.floats(0.0, 0.5), st.floats(0.0, 10 * HOUR_S))
def test_damper_or_longer_is_never_less(key, history, more, longer_s):
    material = MATERIALS[key]
    seconds, temperature_c, humidity = arrays(history)
    dose = dose_of(material, seconds, temperature_c, humidity)
    damper = np.minimum(humidity + more, 1.0)
    assert dose_of(material, seconds, temperature_c, damper) >= dose - 1e-12
    assert dose_of(material, seconds + longer_s, temperature_c, humidity) >= dose - 1e-12
    rest = np.concatenate([humidity[:1], damper[1:]])  # the start is that of the same strand
    assert equivalent_humidity(material, seconds, temperature_c, rest) >= (
        equivalent_humidity(material, seconds, temperature_c, humidity) - 1e-9
    )


@given(materials, histories, st.integers(2, 7))
def test_cut_into_finer_samples_it_is_the_same(key, history, pieces):
    material = MATERIALS[key]
    finer = [(s / pieces, t, h) for s, t, h in history for _ in range(pieces)]
    assert dose_of(material, *arrays(finer)) == pytest.approx(
        dose_of(material, *arrays(history)), rel=1e-9, abs=1e-12
    )
    assert equivalent_humidity(material, *arrays(finer)) == pytest.approx(
        equivalent_humidity(material, *arrays(history)), abs=1e-6
    )


def test_a_night_outside_counts_for_more_the_longer_ago_it_is_not():
    """It reacts to how long: a day at 60 %RH in a week is more than an hour of it."""
    week = [(6 * 24 * HOUR_S, 23.0, 0.15)]
    an_hour = equivalent_humidity(PA, *arrays([*week, (HOUR_S, 23.0, 0.6)]))
    a_day = equivalent_humidity(PA, *arrays([*week, (24 * HOUR_S, 23.0, 0.6)]))
    assert 0.15 < an_hour < a_day < 0.6


def test_with_much_missing_bounds_are_told_and_no_figure():
    """A tenth of a window may be missing; of a fifth it is told what it lies between."""
    air = spans([(8 * HOUR_S, 23.0, 0.2)])
    gap = Span(seconds=2 * HOUR_S, temperature_c=23.0, humidity=None)
    found = dose_over(PLA, [*air, gap], driest=0.2, dampest=0.6)
    assert found.coverage == pytest.approx(0.8)
    assert not found.equivalent_humidity.is_one
    assert found.equivalent_humidity.low == pytest.approx(0.2)
    assert 0.2 < found.equivalent_humidity.high < 0.6
    assert found.dose.low < found.dose.high
    short = Span(seconds=0.5 * HOUR_S, temperature_c=23.0, humidity=None)
    whole = dose_over(PLA, [*air, short], driest=0.2, dampest=0.6)
    assert whole.equivalent_humidity.is_one
    assert whole.dose.is_one
    with pytest.raises(ValueError, match="nothing"):
        dose_over(PLA, [gap], driest=0.2, dampest=0.6)


def test_the_worst_hour_stands_beside_it_and_no_mean_hides_it():
    air = [Span(seconds=300.0, temperature_c=23.0, humidity=0.15) for _ in range(2000)]
    for number in range(1000, 1012):
        air[number] = Span(seconds=300.0, temperature_c=23.0, humidity=0.70)
    assert worst_hour(air) == pytest.approx(0.70)
    air[1005] = Span(seconds=300.0, temperature_c=23.0, humidity=None)
    assert worst_hour(air) == pytest.approx((11 * 0.70 + 0.15) / 12)
    assert worst_hour([Span(seconds=600.0, temperature_c=23.0, humidity=0.4)]) == pytest.approx(0.4)
    assert worst_hour([]) is None


def test_a_damp_moment_at_the_beginning_is_no_worst_hour():
    """Five minutes of 70 % before a dry day: the hour that holds them is told, not they alone."""
    damp = Span(seconds=300.0, temperature_c=23.0, humidity=0.70)
    dry = Span(seconds=300.0, temperature_c=23.0, humidity=0.15)
    assert worst_hour([damp, *[dry] * 287]) == pytest.approx((0.70 + 11 * 0.15) / 12)
    assert worst_hour([damp, dry, dry]) == pytest.approx((0.70 + 2 * 0.15) / 3)
