"""Every kind of desiccant in the catalogue: what its humidity tells, and what only the water let in can."""

import math
from functools import cache

import numpy as np
import pytest

from monitor.estimate.box_belief import CORE, first_belief, square
from monitor.estimate.box_diagnosis import Cause, diagnose
from monitor.estimate.box_filter import advance, mean_loading
from monitor.estimate.box_forecast import TellsBy, forecast
from monitor.estimate.box_lid import BoxReading
from monitor.estimate.box_model import BoxModel
from monitor.library import load_library
from monitor.model.catalogue import PotentialIsotherm
from monitor.physics.isotherm import desiccant_humidity, desiccant_loading
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

DAY_S, STEP_S = 86_400.0, 900.0
ROOM_KG_M3, WARMTH_C, VOLUME_M3, CHANGES_1_H = 0.009, 23.0, 0.015, 0.05
LIMIT, DAYS = 0.20, 24.0
KINDS = load_library().desiccants
BY_WATER = {
    "mol_sieve_13x",
    "mol_sieve_5a",
    "mol_sieve_4a",
    "mol_sieve_3a",
    "calcium_chloride",
    "lithium_chloride",
    "calcium_oxide",
}


def humidity_over(kind, lowest, highest):
    """Of the bed by its loading: searched for each time, or read off a table where the course is smooth.

    Two thousand points miss what is searched by less than 1e-6; a sensor's scatter is five hundred times that.
    """
    if not isinstance(kind.isotherm, PotentialIsotherm):
        return lambda loading: float(desiccant_humidity(kind, loading, WARMTH_C))
    loadings = np.linspace(lowest, highest, 2001)
    humidities = desiccant_humidity(kind, loadings, WARMTH_C)
    between = 0.5 * (loadings[1:] + loadings[:-1])
    missed = np.interp(between, loadings, humidities) - desiccant_humidity(kind, between, WARMTH_C)
    assert np.abs(missed).max() < 1e-6
    return lambda loading: float(np.interp(loading, loadings, humidities))


@cache
def followed(key, days=DAYS):
    """A charge that the leak fills to about two thirds in 24 days: its model, belief and true loading."""
    kind = KINDS[key]
    full = float(desiccant_loading(kind, LIMIT))
    let_in_kg = CHANGES_1_H / 3600.0 * VOLUME_M3 * ROOM_KG_M3 * DAYS * DAY_S
    start = 0.05 * full
    model = BoxModel(
        volume_m3=VOLUME_M3,
        kind=kind,
        dry_kg=1.6 * let_in_kg / full,
        limit_humidity=LIMIT,
        loading=start,
        loading_sd=0.02 * full,
        filled_s=0.0,
    )
    belief, loading = first_belief(model, 0.0), start
    humidity_at = humidity_over(kind, start, start + 1.2 * let_in_kg * days / DAYS / model.dry_kg)
    dice = np.random.default_rng(5)
    for index in range(int(days * DAY_S / STEP_S)):
        humidity = humidity_at(loading)
        drive = ROOM_KG_M3 - humidity * saturated_vapour_kg_m3(WARMTH_C)
        # Still air over beads a centimetre deep carries 2 mm/s of what is apart.
        film_m3_s = 2e-3 * model.dry_kg / (kind.bulk_density_kg_m3 * 0.01)
        gap = CHANGES_1_H / 3600.0 * VOLUME_M3 * drive / film_m3_s / saturated_vapour_kg_m3(WARMTH_C)
        loading += CHANGES_1_H / 3600.0 * VOLUME_M3 * drive * STEP_S / model.dry_kg
        reading = BoxReading(
            time_s=STEP_S * (index + 1),
            temperature_c=WARMTH_C,
            relative_humidity=humidity + gap + 0.0005 * dice.standard_normal(),
            room_kg_m3=ROOM_KG_M3,
        )
        belief, _ = advance(model, belief, reading)
    return model, belief, loading


def told(belief):
    """Mean and standard deviation of the loading of the whole bed."""
    weights = mean_loading(np.eye(len(belief.state)))
    covariance = square(belief.covariance, len(belief.state))
    return float(weights @ np.array(belief.state)), math.sqrt(float(weights @ covariance @ weights))


@pytest.mark.parametrize("key", KINDS)
def test_the_loading_is_told_within_its_own_doubt(key):
    """Whatever tells it, the truth lies within what the belief allows."""
    _, belief, loading = followed(key)
    mean, spread = told(belief)
    assert all(map(math.isfinite, belief.state))
    assert abs(mean - loading) < 2.5 * spread


@pytest.mark.parametrize("key", KINDS)
def test_an_answer_says_what_it_rests_on(key):
    """Physics 4: the product must know which case it is in."""
    model, belief, _ = followed(key)
    expected = TellsBy.WATER_LET_IN if key in BY_WATER else TellsBy.HUMIDITY
    assert forecast(model, belief).tells_by is expected


@pytest.mark.parametrize("key", sorted(set(KINDS) - BY_WATER))
def test_where_humidity_tells_the_loading_is_known_to_a_fifth(key):
    model, belief, loading = followed(key)
    mean, _ = told(belief)
    assert abs(mean - loading) < 0.2 * model.tables.limit_loading


@pytest.mark.parametrize("key", ["calcium_chloride", "lithium_chloride", "calcium_oxide"])
def test_where_only_the_water_let_in_tells_the_doubt_grows(key):
    """An honest answer widens with every day that water comes in uncounted."""
    _, early, _ = followed(key, 6.0)
    _, late, _ = followed(key)
    assert told(late)[1] > 1.5 * told(early)[1]


@pytest.mark.parametrize("key", sorted(BY_WATER))
def test_what_is_counted_is_known_less_well_than_what_is_read(key):
    """A sieve shows nothing until it is nearly full: its share is told less surely than a gel's."""
    (counted_model, counted, _), (read_model, read, _) = followed(key), followed("silica_gel_a")
    counted_share = told(counted)[1] / counted_model.tables.limit_loading
    assert counted_share > told(read)[1] / read_model.tables.limit_loading


@pytest.mark.parametrize("key", KINDS)
def test_days_left_hold_the_truth_and_stay_in_order(key):
    """About half as long again as it has lasted is left; a leak that nothing tells is known within a few times."""
    model, belief, loading = followed(key)
    days = forecast(model, belief).days_left
    left_kg = model.dry_kg * (model.tables.limit_loading - loading)
    left_days = left_kg / (CHANGES_1_H / 3600.0 * VOLUME_M3 * ROOM_KG_M3 * 0.95) / DAY_S
    assert days.p10 <= days.p50 <= days.p90
    assert days.p10 < 2.0 * left_days
    assert days.p90 > 0.8 * left_days


def test_the_plateau_of_calcium_chloride_is_no_leak():
    """A box standing at about 29 %RH over brine is as it should be: water comes in, humidity stands still."""
    kind = KINDS["calcium_chloride"]
    model = BoxModel(
        volume_m3=VOLUME_M3,
        kind=kind,
        dry_kg=0.05,
        limit_humidity=0.35,
        loading=1.0,
        loading_sd=0.05,
        filled_s=0.0,
    )
    belief = first_belief(model, 0.0)
    for index in range(int(20 * DAY_S / STEP_S)):
        reading = BoxReading(
            time_s=STEP_S * (index + 1),
            temperature_c=WARMTH_C,
            relative_humidity=0.291,
            room_kg_m3=ROOM_KG_M3,
        )
        belief, _ = advance(model, belief, reading)
    assert [finding.cause for finding in diagnose(model, belief) if finding.cause is Cause.LEAK] == []
    assert belief.state[CORE] > 0.9
