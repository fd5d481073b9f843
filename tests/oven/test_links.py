"""Lost links, restarts and clocks: the heater goes off by itself and nothing but a person brings it back."""

import copy
from dataclasses import replace

import pytest
from support.oven_phases import bench_in

from monitor.model.cycle import Ending
from monitor.model.oven import OvenPhase
from monitor.oven.effects import PublishStop
from monitor.oven.events import Heard, Restarted, Ticked
from monitor.oven.saved import from_text, to_text
from monitor.oven.verdict import HEATED

P = OvenPhase


def stops(bench):
    return [effect for effect in bench.log if isinstance(effect, PublishStop)]


@pytest.mark.parametrize("way", ["uplink", "downlink"])
def test_a_link_lost_for_a_lease_ends_the_cycle(way):
    """B-22, B-26, H08: the heater went off by itself, and off it remains."""
    bench = bench_in(P.DRYING)
    setattr(bench, way, False)
    bench.run(40.0)
    bench.uplink = bench.downlink = True
    bench.run(20.0)
    assert bench.phase is P.COOLING
    assert bench.state.ended.ending is Ending.LINK_LOST
    assert not bench.controller.is_heating


@pytest.mark.parametrize("way", ["uplink", "downlink"])
def test_a_link_lost_for_a_moment_changes_nothing(way):
    """Fifteen seconds are within a lease."""
    bench = bench_in(P.DRYING)
    setattr(bench, way, False)
    bench.run(14.0)
    bench.uplink = bench.downlink = True
    bench.run(30.0)
    assert bench.phase is P.DRYING


def test_heat_that_outlives_a_lost_link_is_stopped_when_it_is_heard_again():
    """H09, B-22: no stop goes out on a guess; where the lease did not end the heat, one does."""
    bench = bench_in(P.DRYING)
    living = bench.controller.permit
    bench.uplink = False
    bench.log.clear()
    bench.run(40.0)
    assert (bench.state.ended.ending, stops(bench)) == (Ending.LINK_LOST, [])
    controller = bench.controller  # a broken one: its lease does not run
    controller.permit, controller.lease_ends_s = living, 1e9
    bench.uplink = True
    bench.run(2.0)
    assert stops(bench)[-1].cycle == "*"
    assert not bench.controller.is_heating


def lost():
    bench = bench_in(P.DRYING)
    bench.run(1800.0)  # the arming has long lapsed
    bench.downlink = False
    bench.run(40.0)
    bench.downlink = True
    bench.run(20.0)
    return bench


def resumed(bench, **changes):
    ended = bench.state.ended
    order = {"resumes": ended.cycle, "setpoint_c": 55.0, "duration_s": ended.duration_s - ended.ran_s - 60.0}
    return bench.start(**(order | changes))


def test_within_five_minutes_a_lost_cycle_may_be_gone_on_with_from_the_phone():
    """B-22; B-21: as a new cycle with a new id, confirmed by a person."""
    bench = lost()
    before = bench.state.ended.cycle
    assert bench.start().problem.rule == "B-10"  # a plain start needs the button
    assert resumed(bench).problem is None
    bench.run(20.0)
    assert bench.phase in HEATED
    assert bench.state.cycle.id != before


@pytest.mark.parametrize(
    "spoil",
    [
        lambda b: b.run(310.0),
        lambda b: (
            setattr(b.controller, "door_open", True)
            or b.run(4.0)
            or setattr(b.controller, "door_open", False)
            or b.run(4.0)
        ),
        lambda b: b.controller.reboot() or b.run(30.0),
    ],
)
def test_a_lost_cycle_is_not_gone_on_with_when_anything_changed(spoil):
    """B-22: else full start: too late, a door that was opened, a controller that restarted."""
    bench = lost()
    spoil(bench)
    assert resumed(bench).problem is not None


def test_a_resumption_is_neither_hotter_nor_longer():
    """B-22: it goes on; more than that is a start."""
    assert resumed(lost(), setpoint_c=56.0).problem is not None
    assert resumed(lost(), duration_s=4 * 3600.0).problem is not None


def test_a_cycle_that_was_stopped_is_not_resumed():
    """B-17: only a lost link is."""
    bench = bench_in(P.DRYING)
    bench.run(1800.0)
    bench.stop()
    bench.run(10.0)
    assert resumed(bench).problem is not None


def test_a_restart_of_the_service_interrupts_and_says_how_far_it_came():
    """B-21, H12: never automatic."""
    bench = bench_in(P.DRYING)
    bench.run(600.0)
    saved = to_text(bench.state)
    bench.state, bench.mono_s = from_text(saved), 3.0
    bench.log.clear()
    bench.give(Restarted(parameters=bench.state.parameters))
    assert stops(bench)
    bench.run(120.0)
    assert bench.phase is P.COOLING
    assert not bench.permits()
    assert bench.state.ended.ending is Ending.RESTARTED
    assert "of 240 min" in bench.state.ended.why


def test_a_controller_that_restarts_gets_no_new_permit():
    """B-21: return of mains."""
    bench = bench_in(P.DRYING)
    bench.controller.reboot()
    bench.log.clear()
    bench.run(60.0)
    assert not bench.permits()
    assert bench.state.ended.ending is Ending.RESTARTED


def test_an_echo_of_the_boot_before_is_not_another_restart():
    """C.1: a late message of the old boot tells nothing."""
    bench = bench_in(P.ARMED)
    old = copy.deepcopy(bench.controller)
    bench.controller.reboot()
    bench.controller.arm()
    bench.run(20.0)
    assert bench.start().problem is None
    bench.run(10.0)
    bench.give(Heard(state=old.state()))
    assert bench.phase is P.HEATING
    assert bench.state.window.newest.state.boot == "b2"


@pytest.mark.parametrize("by_s", [-86_400.0, -3.0, 3.0, 3600.0, 1e8])
def test_a_clock_jump_does_not_touch_a_running_cycle(by_s):
    """B-25, R19: it goes on by the monotonic clock, and the step is marked."""
    bench = bench_in(P.DRYING)
    ends_s = bench.mono_s + 120.0
    bench.state = replace(
        bench.state,
        cycle=replace(bench.state.cycle, duration_s=ends_s - bench.state.cycle.started_mono_s),
    )
    bench.wall_s += by_s
    bench.run(60.0)
    assert bench.phase is P.DRYING
    assert bench.records("clock_step")
    bench.until(P.COOLING, at_most_s=3600.0)
    assert bench.mono_s == pytest.approx(ends_s, abs=2.0)


def test_a_program_that_is_late_holds_and_then_goes_on():
    """R19, H06."""
    bench = bench_in(P.DRYING)
    bench.mono_s += 18.0
    bench.give(Ticked())
    assert bench.phase is P.HOLD
    bench.run(10.0)
    assert bench.phase in HEATED
