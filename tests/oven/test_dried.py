"""D-13, D-06: an estimate lowers and ends heat; it never raises, lengthens or begins any."""

import pytest
from support.oven_joint import Joint
from support.oven_pair import Bench

from monitor.model.cycle import Ending
from monitor.model.oven import OvenPhase
from monitor.oven.effects import PublishPermit, PublishStop
from monitor.oven.events import FoundDry

P = OvenPhase


def dry(pair, hold_c, cycle=None):
    return pair.give(
        FoundDry(cycle=cycle or pair.state.cycle.id, hold_c=hold_c, why="an hour more gains 0.0 g")
    )


def permits(pair):
    return [effect.permit for effect in pair.log if isinstance(effect, PublishPermit)]


def test_what_is_dry_is_held_cooler_until_its_confirmed_end():
    """The same cycle, a lower set-point with the next state, and the end that was confirmed."""
    bench = Bench().drying()
    before = bench.state.cycle
    bench.log.clear()
    dry(bench, 45.0)
    bench.run(4.0)
    assert permits(bench)[0].setpoint_c == 45.0
    after = bench.state.cycle
    assert (after.id, after.ends_mono_s, after.ceiling_c) == (before.id, before.ends_mono_s, before.ceiling_c)
    assert after.asked_setpoint_c == before.asked_setpoint_c
    assert after.dry_since_wall_s is not None
    assert "to 45 °C" in bench.records("lowered")[0].what


@pytest.mark.parametrize("hold_c", [-1.0, 0.0, 24.0, 54.5, 55.0, 59.0, 70.0, 1e9, float("nan"), float("inf")])
def test_no_hold_that_is_not_clearly_cooler_is_taken(hold_c):
    """Never up; and no figure that could be taken for a permit of no heat."""
    bench = Bench().drying()
    before = bench.state
    assert before.cycle.setpoint_c == 55.0
    dry(bench, hold_c)
    assert bench.state.cycle.setpoint_c == before.cycle.setpoint_c
    assert bench.state.cycle.dry_since_wall_s is None


def test_it_is_said_once_and_of_the_running_cycle_alone():
    """A second word lowers nothing more; one of an earlier cycle lowers nothing at all."""
    bench = Bench().drying()
    dry(bench, 45.0, cycle="another")
    assert bench.state.cycle.setpoint_c == 55.0
    dry(bench, 45.0)
    dry(bench, 30.0)
    dry(bench, None)
    assert bench.state.cycle.setpoint_c == 45.0
    assert bench.phase is P.DRYING


def test_where_no_cooler_air_keeps_it_dry_heat_ends():
    """To cooling, with a stop that ends the cycle at its controller for good; nobody is alarmed."""
    bench = Bench().drying()
    bench.log.clear()
    effects = dry(bench, None)
    assert any(isinstance(effect, PublishStop) for effect in effects)
    assert (bench.phase, bench.state.ended.ending) == (P.COOLING, Ending.DRY)
    bench.run(60.0)
    assert permits(bench) == []


def test_whoever_fetches_it_ends_the_heat():
    """A door that opens on a held spool is the fetching, not a hold that trips after five minutes (B-04)."""
    bench = Bench().drying()
    dry(bench, 45.0)
    bench.run(10.0)
    bench.controller.door_open = True
    bench.run(400.0)
    assert bench.state.ended.ending is Ending.DRY
    assert bench.state.trip is None
    assert bench.phase in (P.COOLING, P.DONE, P.IDLE)


def test_more_time_for_a_held_cycle_is_time_at_the_lower_set_point():
    """B-15: longer by a person's order, and no warmer by it."""
    bench = Bench().drying()
    dry(bench, 45.0)
    assert bench.extend(3600.0).problem is None
    bench.log.clear()
    bench.run(30.0)
    assert {permit.setpoint_c for permit in permits(bench)} == {45.0}


def test_a_hold_goes_on_over_the_real_controller_without_a_word_of_any_rule():
    """D-06 with the controller that a board runs: the chamber cools to the hold, stays there, ends as confirmed."""
    joint = Joint().drying(duration_s=3.0 * 3600.0)
    joint.run(1200.0, lambda j: j.check())
    dry(joint, 45.0)
    joint.run(5400.0, lambda j: j.check())
    assert joint.phase is P.DRYING
    assert joint.rig.oven.air_c == pytest.approx(45.0, abs=2.5)
    joint.until(P.COOLING, at_most_s=2.0 * 3600.0)
    assert joint.state.ended.ending is Ending.TIME_UP
    assert joint.state.ended.duration_s == 3.0 * 3600.0
    assert joint.told == []
    assert joint.rig.controller.lock.trip is None


def test_a_monitor_that_dies_while_it_holds_leaves_no_heat():
    """R20: a hold lives by the same leases."""
    joint = Joint().drying()
    dry(joint, 45.0)
    joint.run(300.0)
    joint.kill()
    joint.run(120.0, lambda j: j.check())
    assert not joint.rig.is_heated
