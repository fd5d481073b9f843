"""Isotherms of polymers and desiccants against the tables they were fitted to, and back."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import library
from monitor.model.catalogue import RationalIsotherm
from monitor.physics.isotherm import (
    content_and_slope,
    curve_humidity,
    desiccant_humidity,
    desiccant_loading,
    loading_and_slope,
    polymer_content,
    polymer_curve,
)

LIBRARY = library.load_library()
DATA = Path(__file__).parents[1] / "data"
TABLE = {row["key"]: row for row in csv.DictReader((DATA / "desiccants.csv").read_text().splitlines())}
POINTS = list(csv.DictReader((DATA / "desiccant_points.csv").read_text().splitlines()))
HUMIDITIES = np.array([0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.80])
POWER = RationalIsotherm(scale=0.07, exponent=1.35)
SMOOTH = [key for key in TABLE if key not in ("calcium_chloride", "lithium_chloride", "calcium_oxide")]

materials = st.sampled_from(sorted(LIBRARY.materials))
humidities = st.floats(0.0, 1.0)


@pytest.mark.parametrize("key", sorted(TABLE))
def test_loadings_at_25_degrees_are_those_of_the_table(key):
    """The table is the fitted equation to four digits."""
    wanted = [float(TABLE[key][f"load_rh{round(100 * humidity):02d}"]) for humidity in HUMIDITIES]
    found = desiccant_loading(LIBRARY.desiccant(key), HUMIDITIES)
    np.testing.assert_allclose(found, wanted, atol=6e-5)


# Root mean square error [g/g] over the kept points within the fits' range; the fits themselves left 0.0023,
# 0.0060 and 0.0069 over all points of the three gels, and the pool up to 0.011.
@pytest.mark.parametrize(
    ("points", "kind", "rms"),
    [
        ("silica_gel_a_grade03", "silica_gel_a_grade03", 0.0035),
        ("silica_gel_a_rd2060", "silica_gel_a_rd2060", 0.0085),
        ("silica_gel_a_g40", "silica_gel_a_g40", 0.0090),
        ("silica_gel_a_grade03", "silica_gel_a", 0.0095),
        ("silica_gel_a_rd2060", "silica_gel_a", 0.0125),
        ("silica_gel_a_g40", "silica_gel_a", 0.0150),
        ("mol_sieve_13x", "mol_sieve_13x", 0.0050),
        ("mol_sieve_5a", "mol_sieve_5a", 0.0050),
        ("activated_alumina", "activated_alumina", 0.0075),
        ("montmorillonite_clay", "montmorillonite_clay", 0.0180),
    ],
)
def test_measured_points_lie_on_the_isotherm_over_all_temperatures(points, kind, rms):
    """Temperature enters through the potential alone: one set serves storage and regeneration."""
    rows = [row for row in POINTS if row["key"] == points and 0.2 <= float(row["rh_pct"]) <= 95.0]
    humidity, temperature_c, load = (
        np.array([float(row[name]) for row in rows]) for name in ("rh_pct", "t_c", "load_g_per_g")
    )
    error = desiccant_loading(LIBRARY.desiccant(kind), humidity / 100.0, temperature_c) - load
    assert float(np.sqrt(np.mean(error**2))) < rms


def test_humidity_at_constant_load_follows_temperature_as_published():
    """Silica gel, humidity [%RH] over load and temperature: it moves by a few hundredths per kelvin."""
    loads, temperatures_c = np.array([0.03, 0.05, 0.08, 0.12, 0.16]), np.array([5.0, 15.0, 25.0, 35.0, 45.0])
    wanted = [
        [2.6, 2.95, 3.3, 3.7, 4.1],
        [5.6, 6.2, 6.8, 7.4, 8.0],
        [10.0, 10.8, 11.6, 12.5, 13.3],
        [16.3, 17.4, 18.4, 19.5, 20.5],
        [24.0, 25.2, 26.4, 27.5, 28.7],
    ]
    found = desiccant_humidity(LIBRARY.desiccant("silica_gel_a"), loads[:, None], temperatures_c)
    np.testing.assert_allclose(100.0 * found, wanted, atol=0.06)


@pytest.mark.parametrize("key", SMOOTH)
def test_a_loading_leads_back_to_its_humidity(key):
    """The fuel gauge is the inverse of the isotherm, at any temperature."""
    kind = LIBRARY.desiccant(key)
    humidity, temperature_c = np.linspace(0.002, 0.95, 60)[:, None], np.array([-5.0, 25.0, 60.0, 120.0])
    loading = desiccant_loading(kind, humidity, temperature_c)
    back = desiccant_humidity(kind, loading, temperature_c)
    np.testing.assert_allclose(back, np.broadcast_to(humidity, back.shape), rtol=1e-6)


@pytest.mark.parametrize("key", ["calcium_chloride", "lithium_chloride"])
def test_a_solution_leads_back_to_its_humidity(key):
    kind = LIBRARY.desiccant(key)
    humidity = np.linspace(0.32, 0.95, 20)
    np.testing.assert_allclose(
        desiccant_humidity(kind, desiccant_loading(kind, humidity)), humidity, rtol=1e-5
    )


def test_hydrates_hold_their_humidity_between_two_steps():
    """While one hydrate turns into the next the air stands still; brine begins near 29 %RH."""
    kind = LIBRARY.desiccant("calcium_chloride")
    found = desiccant_humidity(kind, np.array([0.2, 0.5, 0.8, 1.05]))
    np.testing.assert_allclose(found, [0.06, 0.10, 0.20, 0.29])


@pytest.mark.parametrize("key", SMOOTH)
def test_slopes_are_those_of_the_curve(key):
    """Solvers rest on them."""
    isotherm, hair = LIBRARY.desiccant(key).isotherm, 1e-6
    above, below = (loading_and_slope(isotherm, HUMIDITIES + shift, 40.0)[0] for shift in (hair, -hair))
    slope = loading_and_slope(isotherm, HUMIDITIES, 40.0)[1]
    np.testing.assert_allclose(slope, (above - below) / (2.0 * hair), rtol=1e-5)


@pytest.mark.parametrize("key", sorted(TABLE))
def test_wetter_air_never_means_less_load_and_nothing_is_not_a_number(key):
    grid = np.concatenate([[0.0, 1e-9, 1e-4], np.linspace(0.001, 1.0, 400)])
    for temperature_c in (-40.0, 5.0, 25.0, 150.0):
        loading = desiccant_loading(LIBRARY.desiccant(key), grid, temperature_c)
        assert np.isfinite(loading).all()
        assert (np.diff(loading) >= -1e-12).all()
        assert (loading >= 0.0).all()


@given(key=materials, humidity=humidities)
def test_a_polymers_content_leads_back_to_its_humidity(key, humidity):
    curve = polymer_curve(LIBRARY.material(key).isotherm)
    content, slope = content_and_slope(curve, humidity)
    assert slope > 0.0
    assert curve_humidity(curve, content) == pytest.approx(humidity, abs=1e-9)


@given(key=materials, humidity=humidities)
def test_the_catalogue_and_the_formulas_agree(key, humidity):
    """The catalogue has its own, for whoever needs one number and no arrays."""
    material = LIBRARY.material(key)
    content = library.polymer_content(material, humidity)
    assert polymer_content(material, humidity) == pytest.approx(content, rel=1e-12)
    assert library.polymer_humidity(material, content) == pytest.approx(humidity, abs=1e-9)


def test_many_polymers_at_once_give_what_each_gives_alone():
    curves = [LIBRARY.material(key).isotherm for key in sorted(LIBRARY.materials)] + [POWER]
    grid = np.linspace(0.0, 1.3, 27)[:, None]
    together, slopes = content_and_slope(polymer_curve(curves), grid)
    back = curve_humidity(polymer_curve(curves), together)
    np.testing.assert_allclose(back, np.broadcast_to(grid, back.shape), atol=1e-9)
    for column, isotherm in enumerate(curves):
        alone, slope = content_and_slope(polymer_curve(isotherm), grid[:, 0])
        np.testing.assert_allclose(together[:, column], alone, rtol=1e-12)
        np.testing.assert_allclose(slopes[:, column], slope, rtol=1e-6)


@pytest.mark.parametrize(
    "wrong",
    [{"scale": 0.0}, {"scale": 1.0, "exponent": 2.0, "linear": 0.1}, {"scale": 1.0, "linear": -1.5}],
)
def test_an_isotherm_that_does_not_rise_is_refused(wrong):
    with pytest.raises(ValueError):
        RationalIsotherm(**wrong)
