"""A spool in hot air and after it, against the worked figures of the literature table."""

import numpy as np
import pytest

from monitor.library import load_library
from monitor.physics.diffusion import cylinder_modes, diffusivity_m2_s, mean_content, step_strand
from monitor.physics.drying import (
    Air,
    attainable_floor,
    chamber_humidity,
    course,
    time_above_s,
    time_below_s,
)
from monitor.physics.spool import FAN_M_S, STILL_AIR_M_S, even_spool, spool_parameters, step_spool
from monitor.physics.spool_reading import full_outer_m

LIBRARY = load_library()
# Room at 23 °C and 50 %RH, merely heated to the usual drying temperature: humidity in the oven [%RH] and
# what it leaves [%], for a spread of materials. The table cut the humidity to one digit before it went on.
FLOORS = [
    ("pla", 14.6, 0.108),
    ("petg", 7.0, 0.026),
    ("abs", 4.5, 0.018),
    ("tpu_ether", 8.9, 0.053),
    ("pa6", 2.9, 0.139),
    ("pa12", 3.6, 0.054),
    ("pc", 2.0, 0.005),
    ("pva", 14.6, 1.552),
    ("pei", 0.7, 0.009),
    ("pla_pha", 19.0, 0.132),
]


@pytest.mark.parametrize(("key", "humidity_pct", "floor_pct"), FLOORS)
def test_heated_room_air_leaves_the_published_floor(key, humidity_pct, floor_pct):
    """Warming leaves the vapour pressure as it was; the rest is the isotherm."""
    material = LIBRARY.material(key)
    humidity = chamber_humidity(23.0, 0.5, material.dry_c)
    assert 100.0 * humidity == pytest.approx(humidity_pct, abs=0.08)
    floor = 100.0 * attainable_floor(material, humidity)
    assert floor == pytest.approx(floor_pct, rel=0.016, abs=0.0006)


def test_which_materials_heated_room_air_cannot_dry():
    """Seven cannot reach the moulder's limit, however long the cycle; PET by its floor most of all."""
    hopeless = set()
    for key, material in LIBRARY.materials.items():
        floor = attainable_floor(material, chamber_humidity(23.0, 0.5, material.dry_c))
        if floor > material.limit_content:
            hopeless.add(key)
    assert hopeless == {"pla", "pla_cryst", "tpu_ether", "tpu_ester", "pet", "pva", "pla_pha", "unknown"}


def test_what_the_spools_give_off_raises_the_chambers_humidity():
    """1 g an hour over 0.5 m3 an hour is 2 g/m3 on top."""
    plain = chamber_humidity(23.0, 0.5, 60.0)
    laden = chamber_humidity(23.0, 0.5, 60.0, released_kg_s=1e-3 / 3600.0, vent_m3_s=0.5 / 3600.0)
    assert (laden - plain) * 129.7 == pytest.approx(2.0, rel=0.01)
    with pytest.raises(ValueError):
        chamber_humidity(23.0, 0.5, 60.0, released_kg_s=1e-6)


def test_a_course_starts_where_the_spool_is_and_ends_where_the_steps_do():
    parameters = spool_parameters(LIBRARY.material("pla"), diameter_m=0.00175)
    state = even_spool(parameters, full_outer_m(parameters, 1.0), 22.0, water_content=0.003)
    air = Air(temperature_c=45.0, relative_humidity=0.05, film_m_s=FAN_M_S)
    found = course(parameters, state, air, 4 * 3600.0)
    assert found.time_s[-1] == 4 * 3600.0
    assert found.mean[0] == pytest.approx(0.003, rel=1e-9)
    assert (np.diff(found.mean) < 0.0).all()
    assert (found.outer[1:] < found.inner[1:]).all()
    assert found.warmth_c[0] == pytest.approx(22.0)
    at_once, _ = step_spool(parameters, state, 4 * 3600.0, 45.0, 0.05, FAN_M_S)
    np.testing.assert_allclose(found.end.strand, at_once.strand, rtol=0.02)


def test_when_a_limit_is_passed():
    """On straight lines between the times; never is infinite, already is 0."""
    time_s = np.array([0.0, 10.0, 20.0])
    moisture = np.array([[4.0, 1.0, 4.0], [2.0, 1.0, 4.0], [0.0, 1.0, 4.0]])
    np.testing.assert_allclose(time_below_s(time_s, moisture, 3.0), [5.0, 0.0, np.inf])
    np.testing.assert_allclose(time_above_s(time_s, moisture[::-1], 3.0), [15.0, np.inf, 0.0])


def test_a_dry_spool_in_a_room_passes_its_limit_within_hours():
    """The outer windings of PLA at 0.02 % are over 0.025 % within the hour at 50 %RH, the mean later."""
    material = LIBRARY.material("pla")
    parameters = spool_parameters(material, diameter_m=0.00175)
    state = even_spool(parameters, full_outer_m(parameters, 1.0), 23.0, water_content=0.0002)
    room = Air(temperature_c=23.0, relative_humidity=0.5, film_m_s=STILL_AIR_M_S)
    found = course(parameters, state, room, 6 * 3600.0, 300.0)
    outer_s = time_above_s(found.time_s, found.outer, material.limit_content)
    mean_s = time_above_s(found.time_s, found.mean, material.limit_content)
    assert outer_s < 3600.0
    assert outer_s < mean_s < 4 * 3600.0


def test_the_loose_strands_of_the_table_dry_in_its_hours():
    """90 % of the way at the drying temperature, single strand: PLA 4.9 h, ABS 2.1 h, PA6 9.2 h."""
    modes = cylinder_modes()
    for key, hours in (("pla", 4.9), ("abs", 2.1), ("pa6", 9.2)):
        material = LIBRARY.material(key)
        rate = (
            diffusivity_m2_s(material.diffusivity_m2_s, material.activation_j_mol, material.dry_c)
            / 0.000875**2
        )
        strand = step_strand(modes, np.ones(6), rate, hours * 3600.0, 0.0)
        assert mean_content(modes, strand) == pytest.approx(0.10, abs=0.005)
