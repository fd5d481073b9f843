"""B-52: which change of an oven's figures may wait, and which may not."""

from dataclasses import replace

import pytest
from support.oven_pair import PARAMETERS, Bench

from monitor.model.cycle import Ending
from monitor.model.oven import OvenPhase
from monitor.oven.events import FiguresSaid
from monitor.oven.parameters import is_only_looser


@pytest.mark.parametrize(
    ("changes", "is_looser"),
    [
        ({"max_c": 80.0}, True),
        ({"max_c": 80.0, "hard_limit_c": 120.0}, True),
        ({"overshoot_c": 2.0, "sensor_error_c": 1.0}, True),
        ({"max_c": 70.0}, False),
        ({"max_c": 80.0, "hard_limit_c": 90.0}, False),
        ({"max_c": 80.0, "overshoot_c": 8.0}, False),
        ({"max_c": 80.0, "has_fan": False}, False),
        ({"lease_s": 20.0}, False),
        ({"full_duty_rate_c_s": 0.05}, False),
    ],
)
def test_only_higher_limits_and_a_thinner_guard_are_looser(changes, is_looser):
    """Anything else of another oven makes what was confirmed untrue."""
    old = replace(PARAMETERS, hard_limit_c=100.0)
    assert is_only_looser(replace(old, **changes), old) is is_looser


def test_a_running_cycle_ends_by_stricter_figures_and_outlives_looser_ones():
    """Lowering counts at once; raising waits for the end."""
    bench = Bench().drying()
    bench.give(FiguresSaid(parameters=replace(PARAMETERS, max_c=80.0)))
    assert bench.phase is OvenPhase.DRYING
    assert bench.state.parameters == PARAMETERS
    lower = replace(PARAMETERS, max_c=70.0)
    bench.give(FiguresSaid(parameters=lower))
    assert not bench.controller.is_heating
    assert bench.state.ended.ending is Ending.STOPPED_BY_RULE
    assert bench.state.parameters == lower


def test_the_same_figures_again_change_nothing():
    """They are told with every change of the inventory."""
    bench = Bench().ready()
    version = bench.state.version
    assert bench.give(FiguresSaid(parameters=PARAMETERS)) == ()
    assert bench.state.version == version
