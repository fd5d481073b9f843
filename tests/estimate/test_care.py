"""What a care card computes, held against the reference solver, tables of the literature and common sense."""

import time
from dataclasses import replace

import numpy as np
import pytest
from physics.reference_solver import Case, solve

from monitor.estimate import care
from monitor.estimate.care import cares
from monitor.library import load_library, polymer_content
from monitor.physics.diffusion import cylinder_modes

MATERIALS = load_library().materials
CARES = cares(MATERIALS)

# Room air of 23 °C and 50 %RH merely heated to the drying temperature: water left [%], and whether that meets
# the moulder's limit; computed by hand from the isotherms and steam tables, PET at its 55 °C.
FLOORS = [
    ("pla", 0.108, False), ("pla_cryst", 0.041, False), ("petg", 0.026, True), ("abs", 0.018, True),
    ("asa", 0.017, True), ("tpu_ether", 0.053, False), ("tpu_ester", 0.046, False), ("pa6", 0.139, True),
    ("pa66", 0.124, True), ("pa12", 0.054, True), ("pa6_66", 0.150, True), ("pa6_gf30", 0.097, True),
    ("pa6_cf15", 0.118, True), ("pc", 0.005, True), ("pc_abs", 0.007, True), ("pp", 0.002, True),
    ("hips", 0.003, True), ("pva", 1.552, False), ("pvb", 0.088, True), ("pom", 0.008, True),
    ("peek", 0.002, True), ("pei", 0.009, True), ("pmma", 0.044, True), ("pla_pha", 0.132, False),
    ("tpc", 0.021, True), ("peba", 0.067, True),
]  # fmt: skip


@pytest.mark.parametrize(("key", "left_pct", "is_enough"), FLOORS)
def test_heated_room_air_leaves_what_the_tables_say(key, left_pct, is_enough):
    """D-12: the floor, and whether it meets the limit; to the last digit of the table or 2 %."""
    found = CARES[key]
    assert 100 * found.floor == pytest.approx(left_pct, rel=0.02, abs=0.0006)
    assert (found.floor <= MATERIALS[key].limit_content) == is_enough
    assert found.muggy_floor > found.floor


@pytest.mark.parametrize("key", ["pla", "petg", "pa6", "pp", "pva"])
def test_half_of_the_water_is_there_when_the_reference_says(key):
    """The same full spool by the fine solver, that shares nothing with the product: half within 2 %."""
    material, found = MATERIALS[key], CARES[key]
    curve, modes = material.isotherm, cylinder_modes()
    outer_m = np.sqrt(0.045**2 + 1.0 / material.density_kg_m3 / 0.65 / (np.pi * 0.060))
    case = Case(
        hub_m=0.045,
        outer_m=float(outer_m),
        width_m=0.060,
        solid=0.65,
        diffusion=0.21,
        film_m_s=3e-3,
        density=material.density_kg_m3,
        d23=material.diffusivity_m2_s,
        activation=material.activation_j_mol,
        isotherm=lambda a: curve.scale * a / (1 + a * (curve.linear + a * curve.quadratic)),
        pairs=tuple(zip(modes.weights.tolist(), modes.rates.tolist(), strict=True)),
        air_c=23.0,
        air_rh=0.5,
        start_c=23.0,
        start_rh=0.0,
    )
    (answer,) = solve(case, [found.uptake.half_s / 3600.0])
    assert answer.mean == pytest.approx(0.5 * found.heading_for, rel=0.02)


@pytest.mark.parametrize("key", sorted(MATERIALS))
def test_a_drying_spool_only_gains_and_ends_where_it_heads_for(key):
    """From dry to nearly settled; the outer windings are never behind the whole."""
    material, uptake = MATERIALS[key], CARES[key].uptake
    means = [point.mean for point in uptake.curve]
    assert means == sorted(means)
    assert means[-1] == pytest.approx(0.95 * polymer_content(material, 0.5), rel=0.01)
    assert all(point.outer >= point.mean * 0.999 for point in uptake.curve)
    assert 0.0 < uptake.half_s < uptake.curve[-1].time_s


@pytest.mark.parametrize("key", sorted(MATERIALS))
def test_the_limit_is_passed_only_where_the_room_is_wetter_than_it(key):
    """A spool that heads for less than its limit passes it never; the outer windings pass it first."""
    found, limit = CARES[key], MATERIALS[key].limit_content
    uptake = found.uptake
    passes = found.heading_for > 1.0001 * limit  # POM heads for just its limit
    assert (uptake.mean_over_s is not None) == (uptake.outer_over_s is not None) == passes
    assert (found.limit_humidity < 0.4999) == passes
    if uptake.mean_over_s is not None:
        assert uptake.outer_over_s < uptake.mean_over_s


def test_the_thirsty_and_slow_are_told_from_the_quick():
    """P24: a polyamide takes weeks where polycarbonate takes a day; the literature agrees on the order."""
    half = {key: found.uptake.half_s for key, found in CARES.items()}
    assert half["pp"] < half["pc"] < half["pla"] < half["petg"] < half["pa12"] < half["pa6"] < half["pa66"]


def test_a_faster_material_is_half_way_sooner_and_the_others_stay_as_they_were():
    """A site's own diffusivity counts at once: nothing old is kept for new figures."""
    petg = MATERIALS["petg"]
    quick = replace(petg, diffusivity_m2_s=4 * petg.diffusivity_m2_s)
    changed = cares({**MATERIALS, "petg": quick})
    assert changed["petg"].uptake.half_s < 0.8 * CARES["petg"].uptake.half_s
    assert changed["abs"] == CARES["abs"]


def test_another_limit_costs_no_new_computation():
    """The spools' courses depend on how water moves, not on what people want."""
    care._courses.cache_clear()
    cares(MATERIALS)
    stricter = {**MATERIALS, "abs": replace(MATERIALS["abs"], limit_content=0.0002)}
    sooner = cares(stricter)["abs"].uptake.mean_over_s
    assert sooner < CARES["abs"].uptake.mean_over_s
    assert care._courses.cache_info().misses == 1


def test_all_materials_at_once_take_no_second():
    """The first look at the table after a start; processor time, as the machine may be busy."""
    care._courses.cache_clear()
    start_s = time.thread_time()
    cares(MATERIALS)
    assert time.thread_time() - start_s < 1.0
