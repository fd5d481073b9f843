"""What a bed takes from the air by an open lid: against its own equation integrated finely, and its limits."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from support.box_cases import entered
from support.box_small import PLAIN

from monitor.estimate.box_belief import CAPACITY, CORE, INWARD, SKIN, first_belief
from monitor.estimate.box_water import SKIN_SHARE, taken_up_kg
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

WARM_C = 22.0
AIR_KG_M3 = 0.010  # some 52 %RH
INTO_BED_M3_S = 8e-5
HOUR_S = 3_600.0


@pytest.fixture(scope="module")
def bed():
    model = entered(replace(PLAIN, dry_kg=0.3, stated_dry_kg=0.3))
    return model, first_belief(model, 0.0).state


def _taken_kg(bed, span_s, air_kg_m3=AIR_KG_M3, **changes):
    model, state = bed
    state = list(state)
    for row, value in changes.items():
        state[{"inward": INWARD, "capacity": CAPACITY}[row]] = value
    return taken_up_kg(model, state, INTO_BED_M3_S, air_kg_m3, WARM_C, span_s)


def _over_kg_m3(model, loading):
    return float(model.tables.humidity(np.array([loading]), WARM_C)[0]) * saturated_vapour_kg_m3(WARM_C)


@pytest.mark.parametrize("hours", [0.5, 3.0, 8.0, 40.0])
def test_it_is_what_two_parts_of_a_bed_take_by_their_equation(bed, hours):
    """Skin: d/dt = flow (air - over the skin) / its mass - what sinks in; the middle gets that."""
    model, state = bed
    rate_1_s = np.exp(state[INWARD])

    def moves(_time_s, parts):
        skin, core, _ = parts
        came_kg_s = INTO_BED_M3_S * (AIR_KG_M3 - _over_kg_m3(model, skin))
        sinks_1_s = rate_1_s * (skin - core)
        return [
            came_kg_s / (SKIN_SHARE * model.dry_kg) - sinks_1_s * (1.0 - SKIN_SHARE) / SKIN_SHARE,
            sinks_1_s,
            came_kg_s,
        ]

    exact = solve_ivp(moves, (0.0, hours * HOUR_S), [state[SKIN], state[CORE], 0.0], rtol=1e-8, atol=1e-12)
    assert _taken_kg(bed, hours * HOUR_S) == pytest.approx(exact.y[2, -1], rel=0.03)


def test_at_first_it_is_all_that_flows_past_and_at_last_what_the_bed_holds(bed):
    model, state = bed
    drive_kg_m3 = AIR_KG_M3 - _over_kg_m3(model, state[SKIN])
    assert _taken_kg(bed, 60.0) == pytest.approx(INTO_BED_M3_S * drive_kg_m3 * 60.0, rel=0.01)
    humidity = AIR_KG_M3 / saturated_vapour_kg_m3(WARM_C)
    full = float(model.tables.loading_at(np.array([humidity]))[0])
    assert _taken_kg(bed, 3_000.0 * HOUR_S) == pytest.approx(model.dry_kg * (full - state[SKIN]), rel=0.02)


def test_it_takes_less_the_slower_it_sinks_in_and_nothing_from_air_that_is_drier(bed):
    assert _taken_kg(bed, 8.0 * HOUR_S, inward=-14.0) < 0.9 * _taken_kg(bed, 8.0 * HOUR_S)
    assert _taken_kg(bed, 8.0 * HOUR_S, capacity=0.3) > _taken_kg(bed, 8.0 * HOUR_S)
    assert _taken_kg(bed, 8.0 * HOUR_S, air_kg_m3=1e-4) == 0.0
    assert _taken_kg(bed, 0.0) == 0.0
