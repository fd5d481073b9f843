"""The wound spool lands on an independent fine-grid solution of the same equations."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.library import load_library
from monitor.model.catalogue import RationalIsotherm
from monitor.physics.diffusion import modes_of
from monitor.physics.spool import even_spool, ring_content, spool_parameters, spool_water_kg, step_spool
from monitor.physics.spool_reading import mean_water_content, outer_water_content

LIBRARY = load_library()
# Content (rh/0.5)^exponent: the two materials of the reference, which are none of the catalogue.
PA = (RationalIsotherm(scale=0.0275 / 0.5**1.35, exponent=1.35), 1130.0, 6e-13, 55e3)
PLA = (RationalIsotherm(scale=0.004 / 0.5), 1240.0, 4e-12, 40e3)

# 220 cells, hub 45 mm, outside 100 mm, width 60 mm, solid 0.8, tortuosity 2, film 5e-3 m/s, isothermal, one rate 8 D/a^2:
# (material, air degC, air RH, start, hours, mean %, outermost millimetre %, at the hub %)
LANDING = [
    (PA, 80.0, 0.02, 0.0275, 8, 1.167, 0.0753, 2.129),
    (PA, 80.0, 0.02, 0.0275, 24, 0.303, 0.0446, 0.576),
    (PLA, 50.0, 0.10, 0.0040, 4, 0.259, 0.1214, 0.342),
    (PLA, 50.0, 0.10, 0.0040, 12, 0.156, 0.0841, 0.214),
    (PLA, 23.0, 0.50, 0.0004, 30, 0.252, 0.388, 0.155),
    (PA, 23.0, 0.50, 0.0010, 120, 1.217, 2.473, 0.545),
]


@pytest.mark.parametrize(
    ("material", "air_c", "humidity", "start", "hours", "mean", "outer", "inner"), LANDING
)
def test_a_spool_lands_within_two_per_cent_of_the_fine_solution(
    material, air_c, humidity, start, hours, mean, outer, inner
):
    """Sixteen rings must tell what 220 cells tell: mean, outermost millimetre and hub."""
    isotherm, density, diffusivity, activation = material
    polymer = replace(
        LIBRARY.material("pla"),
        isotherm=isotherm,
        density_kg_m3=density,
        diffusivity_m2_s=diffusivity,
        activation_j_mol=activation,
    )
    parameters = spool_parameters(
        polymer, diameter_m=1.75e-3, solid_share=0.8, diffusion_share=0.2 / 2.0, modes=modes_of([(1.0, 8.0)])
    )
    state = even_spool(parameters, 0.1, air_c, water_content=start)
    state, _ = step_spool(parameters, state, hours * 3600.0, air_c, humidity, 5e-3)
    assert 100 * mean_water_content(parameters, state) == pytest.approx(mean, rel=0.02)
    assert 100 * outer_water_content(parameters, state) == pytest.approx(outer, rel=0.02)
    assert 100 * ring_content(parameters, state)[0] == pytest.approx(inner, rel=0.02)


@settings(max_examples=40, deadline=None)
@given(
    key=st.sampled_from(sorted(LIBRARY.materials)),
    start=st.floats(0.02, 0.9),
    stays=st.lists(
        st.tuples(st.floats(15, 60), st.floats(0.01, 0.95), st.floats(60, 90_000)), min_size=1, max_size=4
    ),
)
def test_water_is_neither_made_nor_lost(key, start, stays):
    """Over any sequence of airs, hot or cold, what a spool holds is what came in by its surface, to 1e-9."""
    parameters = spool_parameters(LIBRARY.material(key), diameter_m=1.75e-3)
    state = even_spool(parameters, 0.09, 22.0, relative_humidity=start)
    held_kg, moved_kg = spool_water_kg(parameters, state), 0.0
    most_kg = held_kg
    for air_c, humidity, dt_s in stays:
        state, gained_kg = step_spool(parameters, state, dt_s, air_c, humidity)
        moved_kg = moved_kg + gained_kg
        most_kg = max(most_kg, spool_water_kg(parameters, state))
    assert np.isfinite(ring_content(parameters, state)).all()
    assert spool_water_kg(parameters, state) - held_kg == pytest.approx(moved_kg, abs=1e-9 * most_kg + 1e-15)


@settings(max_examples=30, deadline=None)
@given(
    key=st.sampled_from(sorted(LIBRARY.materials)),
    start=st.floats(0.05, 0.9),
    humidity=st.floats(0.02, 0.95),
    dt_s=st.floats(600, 200_000),
)
def test_nothing_leaves_the_range_of_its_start_and_its_air(key, start, humidity, dt_s):
    """The maximum principle, isothermal: wetter air never dries a spool, drier air never wets it."""
    material = LIBRARY.material(key)
    parameters = spool_parameters(material, diameter_m=1.75e-3)
    state = even_spool(parameters, 0.09, 23.0, relative_humidity=start)
    before = ring_content(parameters, state)[0]
    goal = ring_content(parameters, even_spool(parameters, 0.09, 23.0, relative_humidity=humidity))[0]
    state, _ = step_spool(parameters, state, dt_s, 23.0, humidity)
    content = ring_content(parameters, state)
    low, high = sorted((before, goal))
    assert (content >= low * (1 - 1e-7) - 1e-12).all()
    assert (content <= high * (1 + 1e-7) + 1e-12).all()
