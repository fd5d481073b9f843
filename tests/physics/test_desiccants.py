"""A charge of desiccant: rates, gauge, spent and regenerated, against the published figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.library import load_library
from monitor.physics.desiccant import (
    HumidityTells,
    bead_rate_1_s,
    bed_settling_s,
    humidity_at_25_c,
    humidity_tells,
    is_spent,
    residual_loading,
    settled_humidity,
    used_share,
)
from monitor.physics.isotherm import desiccant_loading

LIBRARY = load_library()
SILICA = LIBRARY.desiccant("silica_gel_a")
HOUR_S = 3600.0


def test_beads_settle_in_the_hours_published():
    """3 mm beads at 15, 25, 35 and 60 °C; twice the diameter takes four times as long."""
    found = 1.0 / bead_rate_1_s(np.array([15.0, 25.0, 35.0, 60.0]), 0.003) / HOUR_S
    np.testing.assert_allclose(found, [6.7, 3.7, 2.2, 38.0 / 60.0], rtol=0.03)
    assert bead_rate_1_s(25.0, 0.001) == pytest.approx(9.0 * bead_rate_1_s(25.0, 0.003))


def test_a_bed_of_silica_settles_in_the_hours_published():
    """7 h at 5 mm, 30 h at 10 mm, 5 days at 20 mm, between 10 and 20 %RH."""
    found = bed_settling_s(SILICA, np.array([0.005, 0.010, 0.020]), 0.15, 25.0) / HOUR_S
    np.testing.assert_allclose(found, [7.4, 30.0, 119.0], rtol=0.10)


def test_a_reading_is_normalised_to_25_degrees():
    """9.8 %RH at 22 °C is 10.0 %RH at 25 °C."""
    assert 100.0 * humidity_at_25_c(0.098, 22.0) == pytest.approx(10.0, abs=0.05)


@given(humidity=st.floats(0.01, 0.9), temperature_c=st.floats(5.0, 45.0))
def test_the_normalised_humidity_means_the_same_load(humidity, temperature_c):
    """It is exact for every isotherm in the adsorption potential."""
    here = desiccant_loading(SILICA, humidity, temperature_c)
    assert desiccant_loading(SILICA, humidity_at_25_c(humidity, temperature_c)) == pytest.approx(
        here, rel=1e-9
    )


# Grams per gram over the oven's temperature, for room dew points of 5, 10, 15 and 20 °C; interpolated from
# the measured isotherms of this gel. The fit stays within 2 mg/g of them.
RESIDUE = [
    [0.026, 0.014, 0.007, 0.003, 0.002],
    [0.034, 0.019, 0.009, 0.004, 0.0024],
    [0.044, 0.025, 0.011, 0.005, 0.003],
    [0.058, 0.032, 0.014, 0.007, 0.004],
]


def test_regeneration_in_room_air_ends_at_the_published_residue():
    found = residual_loading(
        LIBRARY.desiccant("silica_gel_a_grade03"),
        np.array([60.0, 75.0, 100.0, 120.0, 140.0]),
        np.array([5.0, 10.0, 15.0, 20.0])[:, None],
    )
    np.testing.assert_allclose(found, RESIDUE, atol=0.0025)


def test_a_sieve_keeps_most_of_its_water_at_80_degrees():
    """Silica regenerates cool; 13X keeps 0.188 g/g at 80 °C and needs 200 °C or more."""
    assert residual_loading(LIBRARY.desiccant("mol_sieve_13x"), 80.0, 15.0) == pytest.approx(0.188, abs=0.003)


@pytest.mark.parametrize(
    ("key", "tells"),
    [
        ("silica_gel_a", HumidityTells.LOADING),
        ("silica_gel_orange", HumidityTells.LOADING),
        ("montmorillonite_clay", HumidityTells.LOADING),
        ("activated_alumina", HumidityTells.LOADING),
        ("mol_sieve_13x", HumidityTells.NEARLY_FULL),
        ("mol_sieve_3a", HumidityTells.NEARLY_FULL),
        ("mol_sieve_4a", HumidityTells.NEARLY_FULL),
        ("calcium_chloride", HumidityTells.PLATEAU),
        ("calcium_oxide", HumidityTells.NOTHING),
    ],
)
def test_the_product_knows_what_humidity_tells(key, tells):
    """A sieve shows nothing until it is nearly full, calcium chloride holds a plateau."""
    assert humidity_tells(LIBRARY.desiccant(key), 0.15) == tells


def test_no_gauge_below_what_a_sensor_can_see():
    """PET asks for less than 1 %RH: there even silica gel's humidity tells nothing."""
    assert humidity_tells(SILICA, 0.0095) == HumidityTells.NEARLY_FULL


def test_spent_is_read_against_the_limit_of_the_box_not_against_saturation():
    """13 g per 100 g is spent at a limit of 20 %RH and two thirds used at one of 30 %RH."""
    assert is_spent(SILICA, 0.130, 0.20)
    assert not is_spent(SILICA, 0.127, 0.20)
    assert not is_spent(SILICA, 0.130, 0.30)
    assert used_share(SILICA, 0.130, 0.20) == 1.0
    assert used_share(SILICA, 0.130, 0.30) == pytest.approx(0.74, abs=0.01)
    assert used_share(SILICA, 0.02, 0.20, fresh_loading=0.02) == 0.0


def test_one_weighing_calibrates_a_batch():
    """A batch that holds a sixth more is less full at the same load."""
    plain, better = settled_humidity(SILICA, 0.13), settled_humidity(SILICA, 0.13, batch_factor=1.17)
    assert better < plain
    assert desiccant_loading(SILICA, better) * 1.17 == pytest.approx(0.13)
