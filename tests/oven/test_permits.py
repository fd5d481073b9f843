"""Leave to heat, as section 3 of the contract has it."""

from dataclasses import replace

import pytest
from support.oven_pair import NYLON, PARAMETERS, PETG, Bench, site
from support.oven_phases import bench_in

from monitor.model.cycle import LoadItem
from monitor.model.oven import OvenPhase
from monitor.oven.effects import PublishPermit, PublishStop
from monitor.oven.events import Heard, SiteSaid, Ticked
from monitor.oven.parameters import OvenParameters
from monitor.oven.permits import why_none
from monitor.oven.verdict import Level, Verdict


def drying():
    bench = bench_in(OvenPhase.DRYING)
    bench.log.clear()
    return bench


def denied(bench, verdicts=()):
    return why_none(bench.state, verdicts, bench.mono_s)


def test_a_permit_says_what_the_contract_asks_for():
    """Boot and state it rests on, a ceiling of limit less error, a set-point lower by the overshoot."""
    bench = Bench().ready()
    bench.start()
    permit, newest = bench.permits()[0].permit, bench.state.window.newest.state
    assert (permit.cycle, permit.boot, permit.state_seq) == (bench.state.cycle.id, newest.boot, newest.seq)
    assert (permit.setpoint_c, permit.ceiling_c, permit.lease_s) == (55.0, 63.0, 30.0)


def test_permits_are_renewed_at_a_third_of_the_lease():
    """10 of 30 s, with a state each 2 s."""
    bench = drying()
    bench.run(10.0)
    bench.log.clear()
    bench.run(300.0)
    assert len(bench.permits()) == 30


def test_numbers_rise_by_every_permit():
    """A controller refuses one that is not above the last."""
    bench = drying()
    bench.run(300.0)
    numbers = [effect.permit.seq for effect in bench.permits()]
    assert numbers == sorted(set(numbers))


def test_no_permit_rests_on_the_same_state_twice():
    """The lease counts from that state: it would prolong nothing, and a frozen controller must not get any."""
    bench = drying()
    bench.uplink = False
    bench.run(8.0)
    seen = [effect.permit.state_seq for effect in bench.permits()]
    assert len(seen) == len(set(seen))


@pytest.mark.parametrize(("age_s", "is_given"), [(0.0, True), (10.0, True), (10.1, False), (3600.0, False)])
def test_no_permit_rests_on_a_state_older_than_ten_seconds(age_s, is_given):
    """Contract 3; boundary."""
    bench = drying()
    bench.mono_s += age_s
    assert (denied(bench) is None) == is_given


def test_no_permit_rests_on_a_state_that_was_long_under_way():
    """H10: it is new to us and old to the oven; told by the offset of the two clocks."""
    bench = drying()
    bench.controller.pass_time(2.0)
    said = bench.controller.state()
    bench.mono_s += 13.0
    bench.state = replace(bench.state, stepped_mono_s=bench.mono_s - 2.0)
    assert not [e for e in bench.give(Heard(state=said)) if isinstance(e, PublishPermit)]
    assert denied(bench) == "its newest state is too old"


@pytest.mark.parametrize(
    "phase", sorted(set(OvenPhase) - {OvenPhase.PREHEAT_CHECK, OvenPhase.HEATING, OvenPhase.DRYING})
)
def test_no_permit_in_any_other_state(phase):
    """Unknown or resting = off."""
    assert denied(bench_in(phase)) is not None


@pytest.mark.parametrize("level", [Level.WITHHOLD, Level.HOLD, Level.STOP, Level.TRIP])
def test_no_permit_while_any_rule_does_not_hold(level):
    """Contract 3: only while every rule holds; a notice is not such."""
    bench = drying()
    assert denied(bench, (Verdict(rule="R1", level=level, what="no"),)) == "no"
    assert denied(bench, (Verdict(rule="R18", level=Level.NOTICE, what="hm"),)) is None


def broken(state, what):
    cycle, newest = state.cycle, state.window.newest
    other = replace(newest, state=replace(newest.state, boot="other"))
    tripped = replace(newest, state=replace(newest.state, state=OvenPhase.TRIPPED))
    weak = LoadItem(key="s1", name="PLA", material_limit_c=50.0, body_limit_c=50.0)
    window = state.window
    return {
        "another boot": replace(state, window=replace(window, samples=(*window.samples, other))),
        "controller tripped": replace(state, window=replace(window, samples=(*window.samples, tripped))),
        "nothing heard": replace(state, window=replace(window, samples=())),
        "site unknown": replace(state, site=None),
        "out of service": replace(state, is_out_of_service=True),
        "set-point over the load": replace(state, cycle=replace(cycle, setpoint_c=58.1)),
        "ceiling over the load": replace(state, cycle=replace(cycle, ceiling_c=63.1)),
        "weaker load": replace(state, site=site(load=(weak,))),
        "over the cap": replace(state, cycle=replace(cycle, duration_s=25 * 3600.0)),
        "not armed and long": replace(
            state, cycle=replace(cycle, is_armed_locally=False, duration_s=9 * 3600.0)
        ),
    }[what]


@pytest.mark.parametrize(
    "what",
    ["another boot", "controller tripped", "nothing heard", "site unknown", "out of service", "set-point over the load",
     "ceiling over the load", "weaker load", "over the cap", "not armed and long"],
)  # fmt: skip
def test_every_condition_is_looked_at_again_for_each_permit(what):
    """B-10, B-11, B-14, B-15: a state that came to be wrong by whatever way gets no permit."""
    bench = drying()
    bench.state = broken(bench.state, what)
    assert denied(bench) is not None


def test_without_arming_no_permit_goes_above_60_degrees():
    """B-11, once more at the last door."""
    bench = drying()
    figures = OvenParameters(max_c=90.0)
    hot = replace(bench.state.cycle, setpoint_c=61.0, load=(NYLON,), is_armed_locally=False)
    bench.state = replace(bench.state, cycle=hot, parameters=figures, site=site(load=(NYLON,)))
    assert denied(bench) == "it was not armed at the oven"


def test_a_lower_ceiling_goes_out_at_once():
    """B-14: something weaker was put in that still stands the set-point."""
    bench = drying()
    bench.run(2.0)
    spool = LoadItem(key="s4", name="PETG on glue", material_limit_c=63.0, body_limit_c=63.0)
    bench.site = site(load=(PETG, spool))
    bench.log.clear()
    bench.give(SiteSaid(site=bench.site))
    bench.run(2.0)
    assert bench.permits()[-1].permit.ceiling_c == 61.0


def test_the_last_lease_does_not_reach_far_beyond_the_end():
    """STPA, too long: a monitor that dies at the end leaves at most five seconds."""
    bench = Bench().drying(duration_s=1200.0)
    bench.run(1200.0 - (bench.mono_s - bench.state.cycle.started_mono_s) - 4.0)
    last = bench.permits()[-1]
    left_s = bench.state.cycle.ends_mono_s - bench.state.given.given_mono_s
    assert last.permit.lease_s <= left_s + 5.0


def test_the_heater_is_off_within_a_lease_after_the_monitor_fell_silent():
    """H06, H07: whatever died; here the monitor."""
    bench = drying()
    for _ in range(16):
        bench.controller.pass_time(2.0)
    assert bench.controller.permit is None
    assert not bench.controller.is_heating


def test_a_refused_permit_is_followed_by_a_better_one():
    """A permit that came too late is no end of the cycle."""
    bench = bench_in(OvenPhase.PREHEAT_CHECK)
    bench.downlink = False
    bench.run(14.0)
    bench.downlink = True
    bench.run(12.0)
    assert bench.phase is OvenPhase.HEATING


def test_a_controller_that_refuses_for_a_minute_ends_the_start():
    """B-18: not for ever in the check; and it says what the controller said."""
    bench = bench_in(OvenPhase.ARMED)
    bench.controller.last_seq = 10**6
    bench.start()
    bench.run(70.0)
    assert bench.phase in (OvenPhase.COOLING, OvenPhase.DONE)
    assert "not above the last" in bench.state.ended.why


def test_a_stop_is_the_first_thing_said():
    """B-17, H37: off does not wait for the book."""
    bench = drying()
    assert isinstance(bench.stop()[0], PublishStop)


def test_a_tick_alone_gives_no_permit():
    """B-17: what happened at the oven since its last state is not known; here it is due and stays due."""
    bench = drying()
    bench.mono_s += 9.9
    assert not [e for e in bench.give(Ticked()) if isinstance(e, PublishPermit)]


def test_a_lease_of_two_seconds_holds_while_both_sides_live():
    """B-23: a state and a renewal each third of it; a shorter lease is a safer one."""
    bench = Bench(parameters=replace(PARAMETERS, lease_s=2.0)).ready()
    assert bench.start().problem is None
    for _ in range(1200):
        bench.run(0.5, every_s=0.5)
    assert bench.phase in (OvenPhase.HEATING, OvenPhase.DRYING), bench.why()
    assert {permit.permit.lease_s for permit in bench.permits()} == {2.0}
