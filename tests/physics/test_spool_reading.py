"""What is read off a wound spool, and what using filament leaves."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.library import load_library
from monitor.physics.spool import (
    even_spool,
    ring_content,
    settled_spool,
    spool_parameters,
    spool_rings,
    spool_water_kg,
    step_spool,
)
from monitor.physics.spool_reading import (
    dry_length_m,
    full_outer_m,
    mean_water_content,
    outer_water_content,
    profile,
    total_length_m,
    use_filament,
    wound_kg,
)

LIBRARY = load_library()
PLA = spool_parameters(LIBRARY.material("pla"), diameter_m=0.00175)
FULL_M = full_outer_m(PLA, 1.0)


def dried_outside():
    """A PLA spool at 0.36 % dried for some hours: dry outside, wet at its hub."""
    state = even_spool(PLA, FULL_M, 50.0, relative_humidity=0.45)
    return step_spool(PLA, state, 6 * 3600.0, 50.0, 0.02, 1e-2)[0]


def test_a_kilogram_of_pla_is_335_metres():
    """Density 1240 kg/m3, 1.75 mm."""
    state = even_spool(PLA, FULL_M, 23.0, relative_humidity=0.3)
    assert total_length_m(PLA, state) == pytest.approx(335.0, abs=1.0)
    assert wound_kg(PLA, state) == pytest.approx(1.0, rel=1e-12)


def test_a_kilogram_of_pla_at_a_fifth_of_a_per_cent_holds_two_grams():
    state = even_spool(PLA, FULL_M, 23.0, water_content=0.002)
    assert 1000.0 * spool_water_kg(PLA, state) == pytest.approx(2.0, rel=0.01)


def test_an_even_spool_is_dry_all_through_or_not_at_all():
    state = even_spool(PLA, FULL_M, 23.0, water_content=0.002)
    assert dry_length_m(PLA, state, 0.0021) == total_length_m(PLA, state)
    assert dry_length_m(PLA, state, 0.0019) == 0.0


def test_a_spool_dried_outside_prints_well_for_some_metres_only():
    """This is what a single number for the spool hides."""
    state = dried_outside()
    content = ring_content(PLA, state)
    limits = np.linspace(content[-1], content[0], 9)[1:-1]
    metres = [float(dry_length_m(PLA, state, limit)) for limit in limits]
    assert (np.diff(metres) > 0.0).all()
    assert 0.0 < metres[0] < metres[-1] < total_length_m(PLA, state)


def test_dry_length_is_where_the_profile_crosses_the_limit():
    """On a straight profile over volume the crossing is known."""
    state = even_spool(PLA, FULL_M, 23.0, relative_humidity=0.3)
    squares = spool_rings(PLA, state).middles_m ** 2
    share = (squares - squares[0]) / (squares[-1] - squares[0])
    curve_at = LIBRARY.material("pla").isotherm
    content = 0.004 - 0.003 * share
    humidity = content / (curve_at.scale - curve_at.linear * content)
    state = settled_spool(PLA, FULL_M, 23.0, humidity)
    crossing_m2 = squares[0] + 2.0 / 3.0 * (squares[-1] - squares[0])
    wanted = (FULL_M**2 - crossing_m2) * 0.06 * 0.65 / 0.000875**2
    assert dry_length_m(PLA, state, 0.002) == pytest.approx(float(wanted), rel=1e-6)


def test_outer_is_the_outermost_millimetre_and_the_profile_runs_inwards():
    state = dried_outside()
    depth_m, content = profile(PLA, state)
    assert (np.diff(depth_m) > 0.0).all()
    assert (np.diff(content) > 0.0).all()
    assert content[0] < outer_water_content(PLA, state) < mean_water_content(PLA, state) < content[-1]
    assert outer_water_content(PLA, state, depth_m=1.0) == pytest.approx(
        float(mean_water_content(PLA, state))
    )


@settings(max_examples=25, deadline=None)
@given(
    shares=st.lists(st.floats(0.0, 0.6), min_size=1, max_size=5),
    humidity=st.lists(st.floats(0.02, 0.9), min_size=16, max_size=16),
)
def test_using_filament_takes_its_own_water_and_no_more(shares, humidity):
    """What is left and what was printed off add up; no ring becomes wetter or drier than there was."""
    state = settled_spool(PLA, FULL_M, 23.0, np.array(humidity))
    lowest, highest = state.strand.min(), state.strand.max()
    for share in shares:
        before_kg, before_m = spool_water_kg(PLA, state), total_length_m(PLA, state)
        left = use_filament(PLA, state, share * before_m)
        assert total_length_m(PLA, left) == pytest.approx(float((1.0 - share) * before_m), rel=1e-9)
        assert spool_water_kg(PLA, left) <= before_kg * (1.0 + 1e-12)
        assert left.strand.min() >= lowest - 1e-12
        assert left.strand.max() <= highest + 1e-12
        taken_kg = float(before_kg - spool_water_kg(PLA, left))
        dry_kg = share * float(wound_kg(PLA, state))
        assert lowest * dry_kg - 1e-15 <= taken_kg <= highest * dry_kg * 1.01 + 1e-12
        state = left


def test_the_profile_stays_where_it_was():
    """After printing off 100 m in 20 jobs the moisture at each radius is what it was."""
    state = dried_outside()
    rings, content = spool_rings(PLA, state), ring_content(PLA, state)
    left = state
    for _ in range(20):
        left = use_filament(PLA, left, 5.0)
    found, where = ring_content(PLA, left), spool_rings(PLA, left).middles_m
    wanted = np.interp(where, rings.middles_m, content)
    np.testing.assert_allclose(found, wanted, atol=0.02 * content.max())


def test_no_more_can_be_used_than_is_left():
    state = even_spool(PLA, FULL_M, 23.0, relative_humidity=0.3)
    for wrong in (-1.0, 400.0, float("nan")):
        with pytest.raises(ValueError):
            use_filament(PLA, state, wrong)
    empty = use_filament(PLA, state, total_length_m(PLA, state))
    assert total_length_m(PLA, empty) < 0.1
    assert np.isfinite(step_spool(PLA, empty, 3600.0, 23.0, 0.5)[0].strand).all()
