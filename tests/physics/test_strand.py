"""One strand against the closed solution of the cylinder."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import jn_zeros

from monitor.physics.diffusion import cylinder_modes, diffusivity_m2_s, mean_content, modes_of, step_strand

# Crank: share of the final moisture over D t / a^2, constant surface.
CRANK = [(0.0137, 0.25), (0.0631, 0.50), (0.1103, 0.63), (0.1764, 0.75), (0.3344, 0.90), (0.4543, 0.95)]


@pytest.mark.parametrize(("reduced_time", "share"), CRANK)
def test_uptake_follows_the_closed_solution(reduced_time, share):
    """Six modes and the rest of the weight in the last: within 0.01 from a quarter of the way on."""
    modes = cylinder_modes()
    strand = step_strand(modes, np.zeros(6), np.asarray(1.0), reduced_time, 1.0)
    assert mean_content(modes, strand) == pytest.approx(share, abs=0.01)


def test_the_modes_are_those_of_the_bessel_function():
    modes = cylinder_modes(10)
    np.testing.assert_allclose(np.sqrt(modes.rates), jn_zeros(0, 10), rtol=1e-12)
    assert modes.weights.sum() == pytest.approx(1.0, abs=1e-15)
    assert (modes.weights > 0.0).all()


@given(
    start=st.floats(0.0, 0.1),
    surface=st.floats(0.0, 0.1),
    dt_s=st.floats(1.0, 1e6),
    rate_1_s=st.floats(1e-9, 1e-2),
)
def test_two_steps_equal_one_of_twice_the_length(start, surface, dt_s, rate_1_s):
    """The step is exact at a constant surface value, whatever its length."""
    modes, rate = cylinder_modes(), np.asarray(rate_1_s)
    strand = np.linspace(start, 0.5 * start, 6)
    twice = step_strand(modes, step_strand(modes, strand, rate, dt_s, surface), rate, dt_s, surface)
    np.testing.assert_allclose(
        twice, step_strand(modes, strand, rate, 2.0 * dt_s, surface), rtol=1e-12, atol=1e-15
    )


def test_thicker_filament_is_slower_by_the_square_of_its_radius():
    """2.85 mm takes 2.65 times as long as 1.75 mm."""
    modes = cylinder_modes()
    thin = step_strand(modes, np.zeros(6), np.asarray(1e-12 / 0.000875**2), 3600.0, 1.0)
    thick = step_strand(modes, np.zeros(6), np.asarray(1e-12 / 0.001425**2), 2.6522 * 3600.0, 1.0)
    np.testing.assert_allclose(thin, thick, rtol=1e-4)


def test_diffusivity_quickens_as_measured():
    """PEI: 1e-12 at 20 °C to 16e-12 at 100 °C; polycarbonate 8.7e-11 at 100 °C."""
    assert diffusivity_m2_s(1.1e-12, 32e3, 100.0) == pytest.approx(16e-12, rel=0.15)
    assert diffusivity_m2_s(5.0e-12, 33e3, 100.0) == pytest.approx(8.7e-11, rel=0.20)
    assert diffusivity_m2_s(5.0e-12, 33e3, 23.0) == pytest.approx(5.0e-12, rel=1e-12)


@pytest.mark.parametrize("pairs", [[(0.5, 1.0)], [(1.0, 0.0)], [(1.5, 1.0), (-0.5, 2.0)]])
def test_modes_that_are_no_modes_are_refused(pairs):
    with pytest.raises(ValueError):
        modes_of(pairs)
