"""Moist air against published tables."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.physics import psychrometrics as air

# ASHRAE Handbook 2017 ch. 1 table 3, IAPWS R14-08 and IAPWS-95; each row names its own.
_FILE = Path(__file__).parents[1] / "data" / "psychrometric_reference.csv"
TABLE = list(csv.DictReader(_FILE.read_text().splitlines()))
WARM = [row for row in TABLE if float(row["t_c"]) > 0.01]
FROZEN = [row for row in TABLE if air.LOWEST_C <= float(row["t_c"]) < 0.0]
BEYOND = [row for row in TABLE if float(row["t_c"]) < air.LOWEST_C]


def _id(row):
    return f"{row['t_c']}degC-{row['rh_pct']}RH"


@pytest.mark.parametrize("row", WARM, ids=_id)
def test_saturation_and_vapour_content_are_within_a_thousandth_of_the_tables(row):
    """All moisture is computed from these two; 0.1 % is far below any sensor's error."""
    temperature_c, humidity = float(row["t_c"]), float(row["rh_pct"]) / 100
    assert air.saturation_pressure_pa(temperature_c) == pytest.approx(float(row["p_ws_pa"]), rel=1e-3)
    content = 1000 * air.vapour_kg_m3(temperature_c, humidity)
    assert content == pytest.approx(float(row["abs_humidity_g_m3"]), rel=1e-3)


@pytest.mark.parametrize("row", WARM, ids=_id)
def test_dew_points_are_within_a_twentieth_of_a_kelvin_of_the_tables(row):
    """Below 0 degC the table's dew points are over liquid water, as ours are."""
    vapour_pa = air.vapour_pressure_pa(float(row["t_c"]), float(row["rh_pct"]) / 100)
    assert air.dew_point_c(vapour_pa) == pytest.approx(float(row["dew_point_c"]), abs=0.05)


@pytest.mark.parametrize("row", FROZEN, ids=_id)
def test_ice_is_within_a_thousandth_and_its_frost_point_within_a_twentieth_of_a_kelvin(row):
    """Below 0 degC the table is over ice."""
    temperature_c = float(row["t_c"])
    pressure_pa = air.saturation_pressure_over_ice_pa(temperature_c)
    assert pressure_pa == pytest.approx(float(row["p_ws_pa"]), rel=1e-3)
    assert air.frost_point_c(pressure_pa) == pytest.approx(temperature_c, abs=0.05)


def test_what_lies_beyond_the_range_is_refused():
    """The formulation is not extrapolated: two reference rows lie below -40 degC."""
    assert len(BEYOND) == 2
    for temperature_c in [float(row["t_c"]) for row in BEYOND] + [150.1, float("nan")]:
        with pytest.raises(ValueError):
            air.saturation_pressure_pa(temperature_c)
        with pytest.raises(ValueError):
            air.saturation_pressure_pa(np.array([20.0, temperature_c]))
    for humidity in (-0.01, 1.01, float("nan")):
        with pytest.raises(ValueError):
            air.vapour_kg_m3(20.0, humidity)


@given(temperature_c=st.floats(-40, 150), humidity=st.floats(0.001, 1.0))
def test_dew_point_never_exceeds_air_temperature_and_leads_back_to_the_same_air(temperature_c, humidity):
    """Unsaturated air must be cooled, never warmed, to reach its dew point."""
    vapour_pa = air.vapour_pressure_pa(temperature_c, humidity)
    dew_c = air.dew_point_c(vapour_pa)
    assert dew_c <= temperature_c + 1e-6
    if dew_c >= -40:
        assert air.saturation_pressure_pa(dew_c) == pytest.approx(vapour_pa, rel=1e-6)


def test_arrays_give_what_single_values_give():
    """A fleet is computed at once and must not differ from one box."""
    grid_c = np.linspace(-40, 150, 191)
    single = [air.saturation_pressure_pa(float(t)) for t in grid_c]
    assert np.allclose(air.saturation_pressure_pa(grid_c), single, rtol=1e-12)
    assert np.all(np.diff(single) > 0)


def test_warming_air_keeps_its_vapour_pressure_and_lowers_its_relative_humidity():
    """P12: 50 %RH at 20 degC is some 16 % in a chamber at 40 degC, though no water has left."""
    pressure_pa = air.vapour_pressure_pa(20.0, 0.5)
    assert air.relative_humidity(40.0, pressure_pa) == pytest.approx(0.158, abs=0.001)
    assert air.mixing_ratio(pressure_pa) == pytest.approx(0.00726, abs=0.00002)
