"""What the controller publishes is the contract's oven state, often enough, under the names of B-18."""

import json
import tracemalloc

import pytest
from support.oven_bench import Bench

from controller.core import Controller
from controller.limits import FIRMWARE_HARD_C, OvenLimits
from controller.signals import Outputs
from monitor.model.oven import LivingPermit, OvenPhase
from monitor.wire.messages import parse_oven_state

MEMBERS = {
    "boot", "uptime_s", "seq", "state", "chamber_c", "sample_seq", "humidity_pct", "heater", "power_w",
    "fan", "door_open", "cutout_ok", "armed_s", "permit", "refused", "trip",
}  # fmt: skip


def parsed(bench):
    return parse_oven_state(json.dumps(bench.states[-1]).encode())


def test_the_state_has_exactly_the_members_of_the_contract():
    assert set(Bench().states[-1]) == MEMBERS


def test_the_monitor_reads_what_the_controller_says():
    bench = Bench().heated()
    state = parsed(bench)
    assert state.boot == "a91c"
    assert state.state is OvenPhase.HEATING
    assert state.permit == LivingPermit(cycle="c1", seq=5, left_s=28.0)
    assert state.heater > 0.0
    assert state.fan is True
    assert state.door_open is False


def test_a_tripped_state_is_read_too():
    bench = Bench().heated()
    bench.chamber_c[1] = None
    bench.step(10.0)
    state = parsed(bench)
    assert state.state is OvenPhase.TRIPPED
    assert state.chamber_c[1] is None
    assert (state.trip.rule, state.trip.remote_reset) == ("R1", True)


@pytest.mark.parametrize("odd", [1e9, float("nan"), float("inf"), -1e9])
def test_odd_measurements_do_not_cost_the_message(odd):
    """One bad member would make the monitor blind to all others."""
    bench = Bench()
    bench.chamber_c[0], bench.power_w, bench.humidity_pct = odd, odd, odd
    bench.step(20.0)
    state = parsed(bench)
    assert state.chamber_c[0] is None
    assert state.humidity_pct is None


def test_sample_numbers_rise_only_with_fresh_samples():
    bench = Bench()
    before = bench.states[-1]["sample_seq"][0]
    bench.step(10.0)
    assert bench.states[-1]["sample_seq"][0] == before + 5
    bench.number -= 1
    bench.look()
    assert bench.controller.sensors[0].seq == before + 5


def test_a_quiet_oven_speaks_every_ten_seconds():
    bench = Bench()
    bench.step(100.0)
    heard = len(bench.states)
    bench.step(600.0)
    assert len(bench.states) - heard == 60


def test_a_heating_oven_speaks_every_two_seconds():
    bench = Bench().heated()
    heard = len(bench.states)
    bench.step(20.0)
    assert len(bench.states) - heard == 10


def test_numbers_rise_by_one():
    bench = Bench().heated()
    seqs = [state["seq"] for state in bench.states]
    assert seqs == list(range(1, len(seqs) + 1))


def test_the_states_of_a_run_come_in_order():
    """B-18."""
    bench = Bench()
    bench.step(10.0)
    bench.heated()
    bench.chamber_c = [54.0, 54.0]
    bench.permit()
    bench.step(4.0)
    bench.order("stop", b"{}")
    bench.step(4.0)
    bench.chamber_c = [40.0, 40.0]
    bench.step(1900.0)
    order = list(dict.fromkeys(state["state"] for state in bench.states))
    assert order == ["idle", "armed", "preheat_check", "heating", "drying", "cooling", "done"] or order == [
        "idle", "armed", "preheat_check", "heating", "drying", "cooling", "armed", "done",
    ]  # fmt: skip


def test_an_open_door_holds_and_needs_a_permit_given_after_it_was_shut():
    """Heat must not come back by itself onto what somebody has just put in."""
    bench = Bench().heated()
    bench.door_open = True
    bench.step()
    assert not bench.out.switch_1
    assert bench.states[-1]["state"] == "hold"
    assert bench.states[-1]["permit"] is None
    named = bench.newest_seq
    bench.door_open = False
    bench.look()
    assert not bench.out.switch_1
    bench.step(4.0)
    assert bench.states[-1]["state"] == "hold"
    assert bench.permit(state_seq=named + 1) is None


def test_a_door_hold_ends_after_five_minutes():
    """B-04."""
    bench = Bench().heated()
    bench.door_open = True
    bench.step(310.0)
    bench.door_open = False
    bench.step(4.0)
    assert bench.states[-1]["state"] == "done"
    assert "has ended" in bench.permit()


def test_all_outputs_are_off_at_power_up():
    """B-20: before the first step and after it."""
    out = Outputs()
    assert not any((out.switch_1, out.switch_2, out.duty, out.fan, out.local_alarm))
    bench = Bench()
    assert not any((bench.out.switch_1, bench.out.switch_2, bench.out.duty, bench.out.fan))


@pytest.mark.parametrize("hard_c", [FIRMWARE_HARD_C + 0.1, 700.0, float("nan"), float("inf"), 0.0])
def test_no_setting_raises_the_hard_limit(hard_c):
    """B-52, H18: an oven's own figures are bounded by a constant in the code."""
    with pytest.raises(ValueError, match="hard_c"):
        OvenLimits(hard_c=hard_c)


@pytest.mark.parametrize(
    "figures", [{"sensors": 0}, {"run_most_h": 49.0}, {"step_ms": 60_000}, {"least_on_ms": 9000}]
)
def test_other_figures_are_bounded_too(figures):
    with pytest.raises(ValueError, match=next(iter(figures))):
        OvenLimits(hard_c=80.0, **figures)


@pytest.mark.parametrize("boot", ["", "x" * 33])
def test_a_boot_name_that_would_not_fit_is_refused(boot):
    with pytest.raises(ValueError, match="boot"):
        Controller(OvenLimits(hard_c=80.0), boot, 0)


def test_the_fan_runs_while_it_is_hot():
    """B-19: until below 45 degC, with a little to spare so that it does not chatter."""
    bench = Bench().heated()
    bench.chamber_c = [55.0, 55.0]
    bench.order("stop", b"{}")
    bench.step(600.0)
    assert bench.out.fan
    bench.chamber_c = [43.0, 43.0]
    bench.step()
    assert bench.out.fan
    bench.chamber_c = [41.0, 41.0]
    bench.step()
    assert not bench.out.fan


def test_memory_does_not_grow():
    """A node has kilobytes: two simulated days of states and refusals leave nothing behind."""
    bench = Bench()

    def hours(number):
        for _ in range(number * 60):
            bench.permit(boot="b000")
            bench.step(60.0)
            bench.states.clear()
            bench.states.append({"seq": 0})

    hours(2)
    tracemalloc.start()
    try:
        hours(1)
        first, _ = tracemalloc.get_traced_memory()
        hours(4)
        second, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert second - first < 6000


def test_the_uptime_never_falls_though_the_clock_does():
    """R19: the monitor would take such a state for one that was overtaken, and never hear of the trip."""
    bench = Bench().heated()
    before = bench.states[-1]
    bench.now_ms -= 3_600_000
    bench.step()
    after = bench.states[-1]
    assert (after["state"], after["trip"]["rule"]) == ("tripped", "R19")
    assert after["seq"] > before["seq"]
    assert after["uptime_s"] >= before["uptime_s"]
