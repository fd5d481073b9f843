"""What must always hold for a wound spool."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.library import load_library
from monitor.physics.isotherm import curve_humidity, polymer_curve
from monitor.physics.psychrometrics import relative_humidity, saturated_vapour_kg_m3, vapour_pressure_pa
from monitor.physics.spool import (
    FAN_M_S,
    STILL_AIR_M_S,
    SpoolParameters,
    SpoolState,
    even_spool,
    ring_content,
    settled_spool,
    spool_parameters,
    spool_water_kg,
    step_spool,
)
from monitor.physics.spool_reading import dry_length_m, full_outer_m, mean_water_content, total_length_m

LIBRARY = load_library()
keys = st.sampled_from(sorted(LIBRARY.materials))
airs = st.tuples(
    st.floats(10.0, 1e5),
    st.floats(-10.0, 85.0),
    st.floats(0.0, 1.0),
    st.sampled_from([STILL_AIR_M_S, FAN_M_S]),
)
FEW = settings(max_examples=25, deadline=None)


def spool_of(key: str, *, net_kg: float = 1.0, open_share: float = 0.0, diameter_m: float = 0.00175):
    parameters = spool_parameters(LIBRARY.material(key), diameter_m=diameter_m, open_share=open_share)
    return parameters, full_outer_m(parameters, net_kg)


def equilibrium_humidity(parameters: SpoolParameters, state: SpoolState) -> np.ndarray:
    """Of every strand mode: the humidity that its content would be in equilibrium with."""
    return curve_humidity(parameters.curve, state.strand)


@FEW
@given(
    key=keys,
    start=st.floats(0.0, 1.0),
    steps=st.lists(airs, min_size=1, max_size=4),
    open_share=st.sampled_from([0.0, 0.5]),
    net_kg=st.floats(0.02, 3.0),
)
def test_water_is_conserved_and_nothing_is_not_a_number(key, start, steps, open_share, net_kg):
    """To 1e-9 over any sequence of steps: a few seconds or a day long, frost or oven, still or blown."""
    parameters, outer_m = spool_of(key, net_kg=net_kg, open_share=open_share)
    state = even_spool(parameters, outer_m, 20.0, relative_humidity=start)
    before, came_in_kg = spool_water_kg(parameters, state), 0.0
    for dt_s, air_c, humidity, film in steps:
        state, part_kg = step_spool(parameters, state, dt_s, air_c, humidity, film)
        came_in_kg += float(part_kg)
        assert np.isfinite(state.strand).all()
        assert (state.vapour_kg_m3 >= 0.0).all()
    scale = max(float(before), abs(came_in_kg), 1e-9)
    assert abs(float(spool_water_kg(parameters, state) - before) - came_in_kg) <= 1e-9 * scale


@FEW
@given(
    key=keys,
    starts=st.lists(st.floats(0.01, 0.9), min_size=16, max_size=16),
    humidities=st.lists(st.floats(0.01, 0.9), min_size=1, max_size=3),
    dt_s=st.floats(10.0, 40_000.0),
)
def test_isothermal_nothing_leaves_the_range_of_start_and_boundary(key, starts, humidities, dt_s):
    """The maximum principle, in terms of equilibrium humidity, from any profile."""
    parameters, outer_m = spool_of(key)
    state = settled_spool(parameters, outer_m, 23.0, np.array(starts))
    lowest, highest = min(starts + humidities), max(starts + humidities)
    for humidity in humidities:
        state, _ = step_spool(parameters, state, dt_s, 23.0, humidity)
        found = np.append(
            equilibrium_humidity(parameters, state), state.vapour_kg_m3 / saturated_vapour_kg_m3(23.0)
        )
        assert found.min() >= lowest - 1e-7
        assert found.max() <= highest + 1e-7


@FEW
@given(key=keys, start=st.floats(0.02, 0.9), humidity=st.floats(0.02, 0.9), dt_s=st.floats(60.0, 20_000.0))
def test_from_an_even_start_every_state_converges_monotonically(key, start, humidity, dt_s):
    parameters, outer_m = spool_of(key)
    state = even_spool(parameters, outer_m, 23.0, relative_humidity=start)
    towards = np.sign(humidity - start)
    for _ in range(5):
        following, _ = step_spool(parameters, state, dt_s, 23.0, humidity)
        assert (towards * (following.strand - state.strand) >= -1e-9).all()
        state = following


@pytest.mark.parametrize("key", ["pla", "pa6", "pva", "pp"])
def test_a_spool_in_equilibrium_stays_put(key):
    parameters, outer_m = spool_of(key)
    state = even_spool(parameters, outer_m, 23.0, relative_humidity=0.4)
    later, came_in_kg = step_spool(parameters, state, 1e5, 23.0, 0.4)
    np.testing.assert_allclose(later.strand, state.strand, rtol=1e-8)
    assert abs(float(came_in_kg)) < 1e-10


@pytest.mark.parametrize("key", ["pla", "pa6", "petg", "tpu_ether"])
def test_a_spool_arrives_at_its_equilibrium(key):
    parameters, outer_m = spool_of(key, net_kg=0.5)
    state, _ = step_spool(
        parameters, even_spool(parameters, outer_m, 23.0, relative_humidity=0.6), 1e9, 23.0, 0.2
    )
    content = ring_content(parameters, state)
    np.testing.assert_allclose(curve_humidity(parameters.curve, content), 0.2, rtol=1e-6)


@FEW
@given(key=keys, cooler_c=st.floats(30.0, 70.0), hotter_by=st.floats(1.0, 20.0), hours=st.floats(0.2, 12.0))
def test_a_hotter_air_of_equal_vapour_never_dries_slower(key, cooler_c, hotter_by, hours):
    """Warming room air takes nothing out of it, and still dries."""
    parameters, outer_m = spool_of(key)
    vapour_pa = vapour_pressure_pa(23.0, 0.5)
    dried = []
    for air_c in (cooler_c, cooler_c + hotter_by):
        state = even_spool(parameters, outer_m, 23.0, relative_humidity=0.5)
        state, _ = step_spool(
            parameters, state, hours * 3600.0, air_c, relative_humidity(air_c, vapour_pa), FAN_M_S
        )
        dried.append(float(mean_water_content(parameters, state)))
    assert dried[1] <= dried[0] * (1.0 + 1e-6)


@FEW
@given(key=keys, thinner=st.floats(0.001, 0.002), factor=st.floats(1.01, 2.0), hours=st.floats(0.2, 24.0))
def test_a_larger_strand_never_dries_faster(key, thinner, factor, hours):
    dried = []
    for diameter_m in (thinner, thinner * factor):
        parameters, _ = spool_of(key, diameter_m=diameter_m)
        state = even_spool(parameters, 0.09, 50.0, relative_humidity=0.5)
        state, _ = step_spool(parameters, state, hours * 3600.0, 50.0, 0.05)
        dried.append(float(mean_water_content(parameters, state)))
    assert dried[0] <= dried[1] * (1.0 + 1e-6)


@FEW
@given(
    key=keys,
    starts=st.lists(st.floats(0.0, 1.0), min_size=16, max_size=16),
    limit_share=st.floats(0.0, 1.2),
    net_kg=st.floats(0.01, 2.0),
)
def test_dry_length_never_exceeds_the_length_left(key, starts, limit_share, net_kg):
    parameters, outer_m = spool_of(key, net_kg=net_kg)
    state = settled_spool(parameters, outer_m, 23.0, np.array(starts))
    content = ring_content(parameters, state)
    dry_m = dry_length_m(parameters, state, limit_share * content.max())
    assert 0.0 <= dry_m <= total_length_m(parameters, state) * (1.0 + 1e-12)


def test_forecasts_of_several_steps_equal_repeated_single_steps():
    """For steps short enough to be taken whole this is exact; longer ones agree within 0.3 %."""
    parameters, outer_m = spool_of("petg")
    state = even_spool(parameters, outer_m, 23.0, relative_humidity=0.5)
    once = several = state
    for _ in range(24):
        several, _ = step_spool(parameters, several, 300.0, 23.0, 0.2)
    once, _ = step_spool(parameters, once, 24 * 300.0, 23.0, 0.2)
    assert mean_water_content(parameters, once) == pytest.approx(
        float(mean_water_content(parameters, several)), rel=3e-3
    )


def test_vapour_moves_from_hot_outer_windings_to_the_cold_hub():
    """With a gradient of temperature the inner windings gain at first: that is right."""
    parameters, outer_m = spool_of("petg")
    state = even_spool(parameters, outer_m, 20.0, relative_humidity=0.5)
    before = ring_content(parameters, state)
    state, _ = step_spool(parameters, state, 2700.0, 65.0, 0.05, FAN_M_S)
    assert (ring_content(parameters, state) - before)[: len(before) // 2].max() > 0.0


def test_a_pack_takes_one_to_three_hours_to_warm():
    """Before its core is warm no drying time counts."""
    parameters, outer_m = spool_of("pla")
    state = even_spool(parameters, outer_m, 20.0, relative_humidity=0.3)
    hours = 0.0
    while state.temperature_c[0] < 20.0 + 0.9 * 30.0:
        state, _ = step_spool(parameters, state, 600.0, 50.0, 0.1, FAN_M_S)
        hours += 1.0 / 6.0
    assert 1.0 < hours < 6.0


def test_open_flanges_dry_faster():
    dried = []
    for open_share in (0.0, 0.5):
        parameters, outer_m = spool_of("pla", open_share=open_share)
        state = even_spool(parameters, outer_m, 45.0, relative_humidity=0.5)
        state, _ = step_spool(parameters, state, 4 * 3600.0, 45.0, 0.1, FAN_M_S)
        dried.append(float(mean_water_content(parameters, state)))
    assert dried[1] < 0.85 * dried[0]


def test_a_batch_gives_what_each_spool_gives_alone():
    """Spools of all kinds, and three members of an ensemble for each, in one step."""
    kinds = ["pla", "pa6", "pva", "petg"]
    parameters = spool_parameters([LIBRARY.material(key) for key in kinds], diameter_m=0.00175)
    humidity = np.array([[0.2], [0.4], [0.6]]) + np.zeros(4)
    together = even_spool(parameters, full_outer_m(parameters, 0.8), 22.0, relative_humidity=humidity)
    together, gained_kg = step_spool(parameters, together, 1800.0, 30.0, np.array([0.1, 0.2, 0.3, 0.4]))
    assert gained_kg.shape == (3, 4)
    for column, key in enumerate(kinds):
        alone, outer_m = spool_of(key, net_kg=0.8)
        state = even_spool(alone, outer_m, 22.0, relative_humidity=0.6)
        state, gained = step_spool(alone, state, 1800.0, 30.0, 0.1 * (column + 1))
        np.testing.assert_allclose(together.strand[2, column], state.strand, rtol=1e-7)
        assert gained_kg[2, column] == pytest.approx(float(gained), rel=1e-6)


def test_impossible_air_and_steps_are_refused():
    parameters, outer_m = spool_of("pla")
    state = even_spool(parameters, outer_m, 23.0, relative_humidity=0.3)
    for dt_s, air_c, humidity in [
        (0.0, 23.0, 0.3),
        (60.0, 200.0, 0.1),
        (60.0, 23.0, 1.2),
        (60.0, np.nan, 0.3),
    ]:
        with pytest.raises(ValueError):
            step_spool(parameters, state, dt_s, air_c, humidity)
    with pytest.raises(ValueError):
        even_spool(parameters, outer_m, 23.0)


def test_a_start_by_content_is_a_start_by_humidity():
    parameters, outer_m = spool_of("pa6")
    curve = polymer_curve(LIBRARY.material("pa6").isotherm)
    by_content = even_spool(parameters, outer_m, 23.0, water_content=0.02)
    by_humidity = even_spool(parameters, outer_m, 23.0, relative_humidity=curve_humidity(curve, 0.02))
    np.testing.assert_allclose(by_content.strand, by_humidity.strand, rtol=1e-12)
    np.testing.assert_allclose(ring_content(parameters, by_content), 0.02, rtol=1e-9)
