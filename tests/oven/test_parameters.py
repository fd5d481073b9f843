"""B-52: configuration moves a rule's figures inside hard bounds and never beyond."""

import ast
import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.oven_pair import PARAMETERS, PETG

from monitor.errors import BadSettingsError
from monitor.model.cycle import LoadItem
from monitor.model.inventory import Oven
from monitor.oven import hard
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import BOUNDS, OvenParameters, parameters_of

ROOT = Path(__file__).resolve().parents[2]


def test_every_figure_has_bounds():
    """A new figure without a row would be free."""
    no_numbers = {"has_fan", "actuator"}
    assert {spec.name for spec in fields(OvenParameters)} == set(BOUNDS) | no_numbers


@pytest.mark.parametrize("name", BOUNDS)
def test_a_figure_outside_of_its_bounds_is_refused_by_name(name):
    """H18: 700 for 70 is a typing error, not a wish; nothing is clamped quietly."""
    lowest, highest = BOUNDS[name]
    for wrong in (math.nextafter(lowest, -math.inf), math.nextafter(highest, math.inf), math.nan, math.inf):
        with pytest.raises(BadSettingsError, match=name):
            replace(PARAMETERS, **{name: wrong})


@pytest.mark.parametrize(
    ("name", "limit"),
    [
        ("max_c", hard.MAX_WORKING_C),
        ("hard_limit_c", hard.MAX_CHAMBER_C),
        ("lease_s", hard.MAX_LEASE_S),
        ("longest_s", hard.MAX_DURATION_S),
        ("attended_max_c", hard.MAX_UNARMED_C),
        ("attended_max_s", hard.MAX_UNARMED_S),
    ],
)
def test_the_highest_value_is_the_hard_constant(name, limit):
    """The constants of the code are the last word."""
    assert BOUNDS[name][1] == limit


def test_the_start_values_lie_within_what_the_rules_were_proposed_with():
    """R2, R3, R6, R8, R10, R12, R20 as their table has them."""
    p = PARAMETERS
    assert (p.stale_hold_s, p.stale_trip_s, p.stuck_span_c, p.stuck_after_s) == (30, 60, 0.02, 600)
    assert (p.off_rise_c, p.off_power_w, p.thermal_lag_s, p.spread_c) == (1, 5, 300, 8)
    assert (p.sag_c, p.sag_allowance_c_s, p.lease_s, p.fast_factor) == (5, 3600, 30, 1.5)
    assert (p.spread_hold_s, p.spread_trip_s, p.energy_notice, p.switchings_per_min) == (120, 300, 1.3, 6)


def test_a_rule_cannot_trip_before_it_holds_nor_in_every_cycle():
    """Figures that contradict each other are refused together."""
    with pytest.raises(BadSettingsError):
        replace(PARAMETERS, stale_hold_s=30.0, stale_trip_s=20.0)
    with pytest.raises(BadSettingsError):
        OvenParameters(max_c=90.0, hard_limit_c=80.0)


@given(max_c=st.floats(30.0, 150.0), overshoot_c=st.floats(0.0, 60.0), error_c=st.floats(0.1, 20.0))
def test_any_oven_of_the_inventory_stays_under_the_hard_limits(max_c, overshoot_c, error_c):
    """An oven that may go to 150 °C may not here."""
    oven = Oven(key="o", name="O", room="r", max_c=max_c, overshoot_c=overshoot_c, sensor_error_c=error_c)
    figures = parameters_of(oven)
    assert figures.max_c <= hard.MAX_WORKING_C
    assert figures.max_c < figures.hard_limit_c <= hard.MAX_CHAMBER_C
    assert figures.guard_c >= hard.MIN_GUARD_C


LIMITS = st.none() | st.floats(20.0, 200.0)


@given(st.lists(st.tuples(LIMITS, LIMITS), min_size=1, max_size=6), st.randoms())
def test_a_ceiling_is_at_or_under_every_limit_inside(limits, dice):
    """B-14: the least of all decides, whatever the order; what is not known counts as the weakest."""
    load = [
        LoadItem(key=f"s{i}", name=f"S{i}", material_limit_c=m, body_limit_c=b)
        for i, (m, b) in enumerate(limits)
    ]
    bound = allowed(load, PARAMETERS)
    for material_c, body_c in limits:
        assert bound.limit_c <= (hard.UNKNOWN_MATERIAL_C if material_c is None else material_c)
        assert bound.limit_c <= (hard.UNKNOWN_BODY_C if body_c is None else body_c)
    assert bound.limit_c <= PARAMETERS.max_c
    assert bound.ceiling_c == bound.limit_c - PARAMETERS.sensor_error_c
    assert bound.setpoint_c <= bound.ceiling_c
    dice.shuffle(load)
    assert allowed(load, PARAMETERS) == bound or allowed(load, PARAMETERS).limit_c == bound.limit_c


def test_the_guard_band_is_never_thinner_than_three_degrees():
    """B-14: whoever claims a perfect oven still gets 3 °C."""
    perfect = OvenParameters(max_c=75.0, overshoot_c=0.0, sensor_error_c=0.1)
    assert allowed((PETG,), perfect).setpoint_c == 62.0


def test_hard_limits_are_written_nowhere_but_in_their_own_file():
    """B-52: no module assigns to them, and each is a plain literal."""
    names = {name for name in vars(hard) if name.isupper()}
    for path in sorted((ROOT / "monitor").rglob("*.py")) + sorted((ROOT / "web").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            stored = isinstance(node, ast.Attribute) and isinstance(node.ctx, (ast.Store, ast.Del))
            assert not (stored and node.attr in names), f"{path} writes {node.attr}"
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "setattr":
                assert "hard" not in ast.dump(node.args[0]), f"{path} may write a hard limit"


def test_an_oven_of_the_inventory_warms_as_its_heater_and_its_volume_say():
    """R7 before anything was learned: 350 W in 40 l raise the air by 0.34 °C/s at first; 0.06 would have tripped."""
    oven = Oven(key="o", name="O", room="r", max_c=75.0, overshoot_c=5.0, sensor_error_c=2.0)
    figures = parameters_of(replace(oven, heater_w=350.0, volume_l=40.0))
    assert figures.fastest_rate_c_s == pytest.approx(0.34, abs=0.01)
    assert figures.full_duty_rate_c_s == pytest.approx(0.060, abs=0.002)
    unknown = parameters_of(oven)
    assert unknown.fastest_rate_c_s == 0.35
    tiny = parameters_of(replace(oven, heater_w=3000.0, volume_l=2.0))
    assert tiny.fastest_rate_c_s == 1.0  # inside its bounds
