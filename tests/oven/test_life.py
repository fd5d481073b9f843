"""A cycle from start to end, and what can come between: stops, holds, overshoots, extensions."""

from dataclasses import replace

import pytest
from support.oven_pair import PETG, Bench, site
from support.oven_phases import bench_in

from monitor.model.cycle import Ending, LoadItem, Permit
from monitor.model.oven import OvenPhase
from monitor.oven.effects import Notify, PublishStop
from monitor.oven.events import SiteSaid, StopAsked, Ticked
from monitor.oven.saved import to_text
from monitor.oven.supervisor import step
from monitor.oven.verdict import RUNNING

P = OvenPhase


def creep(bench, to_c):
    """Up as fast as an overshoot may be: an air that jumps by degrees is another fault (R7)."""
    while bench.controller.chamber.temperature_c < to_c:
        bench.controller.chamber.temperature_c += 0.1
        bench.run(2.0)


def stops(bench):
    return [effect for effect in bench.log if isinstance(effect, PublishStop)]


def test_a_cycle_goes_through_its_states_and_ends_by_itself():
    """B-18, B-15, B-19: heat has an end, and the fan's time comes after it."""
    bench = Bench().drying(duration_s=1500.0)
    bench.until(P.COOLING, at_most_s=3600.0)
    assert bench.state.ended.ending is Ending.TIME_UP
    assert not bench.controller.is_heating
    bench.until(P.DONE, at_most_s=3600.0)
    assert bench.controller.chamber.temperature_c < 45.5
    said = [record.what.split(":")[0] for record in bench.records("phase")]
    assert said == [
        "idle to armed", "armed to preheat_check", "preheat_check to heating", "heating to drying",
        "drying to cooling", "cooling to done",
    ]  # fmt: skip


def test_cooling_ends_earlier_in_a_hot_room():
    """B-19: below 45 °C or within 10 °C of the room, whichever comes first."""
    bench = bench_in(P.COOLING)
    bench.site = site(room_c=38.0)
    bench.give(SiteSaid(site=bench.site))
    bench.until(P.DONE, at_most_s=3600.0)
    assert 47.0 < bench.controller.chamber.temperature_c < 49.0


@pytest.mark.parametrize("phase", OvenPhase)
def test_a_stop_is_obeyed_in_every_state_whatever_cycle_it_names(phase):
    """B-17; contract 1: one that names another cycle is obeyed and logged."""
    bench = bench_in(phase)
    bench.give(StopAsked(who="guest", why="smell", cycle="another"))
    bench.run(4.0)
    assert bench.phase not in RUNNING
    assert not bench.controller.is_heating
    assert bench.records("stop_asked")[-1].who == "guest"


def test_a_stop_is_repeated_until_its_effect_is_seen():
    """H09: the first one was lost; the lease is the last resort, not the plan."""
    bench = bench_in(P.DRYING)
    bench.downlink = False
    bench.stop()
    bench.run(2.0)
    bench.downlink = True
    bench.run(6.0)
    assert len(stops(bench)) >= 2
    assert bench.controller.permit is None
    assert "no permit, no heat" in bench.records("stop_confirmed")[-1].what


def test_our_own_stop_coming_back_from_the_broker_is_no_new_one():
    """The broker gives back the stop of the cycle before; it must not end the one that has begun since."""
    bench = bench_in(P.HEATING)
    bench.stop()
    echo = stops(bench)[-1].id
    bench.run(10.0)
    bench.controller.arm()
    bench.run(4.0)
    assert bench.start().problem is None
    bench.run(10.0)
    bench.give(StopAsked(who="broker", why="echo", id=echo))
    assert bench.phase is P.HEATING
    bench.give(StopAsked(who="broker", why="not ours", id="elsewhere-1"))
    assert bench.phase is P.COOLING


def test_what_is_stopped_at_the_oven_stays_stopped():
    """B-17: local stop always wins; nothing from afar heats again."""
    bench = bench_in(P.DRYING)
    bench.controller.take_stop()
    bench.log.clear()
    bench.run(60.0)
    assert bench.phase is P.COOLING
    assert bench.state.ended.ending is Ending.STOPPED
    assert not bench.permits()


def test_a_door_holds_and_the_cycle_goes_on_when_it_shuts():
    """B-04: self-recovering within five minutes, after the fan is proven anew."""
    bench = bench_in(P.DRYING)
    bench.controller.door_open = True
    bench.run(20.0)
    assert bench.phase is P.HOLD
    assert not bench.controller.is_heating
    bench.controller.door_open = False
    bench.run(10.0)
    assert bench.phase in (P.HEATING, P.DRYING)
    assert bench.state.cycle.holds == 1


def test_a_hold_takes_the_heat_by_a_permit_and_not_by_a_stop():
    """B-04, B-17: a stop ends a cycle for good at its controller, and a held one is to go on."""
    bench = bench_in(P.DRYING)
    bench.controller.faults.silent = (0,)
    bench.log.clear()
    bench.until(P.HOLD, at_most_s=60.0)
    last = bench.permits()[-1].permit
    assert (last.cycle, last.setpoint_c, last.ceiling_c) == (bench.state.cycle.id, 0.0, 63.0)
    assert last.lease_s == 6.0
    assert not stops(bench)
    assert not bench.controller.is_heating
    bench.run(10.0)
    assert bench.controller.permit is None
    bench.controller.faults.silent = ()
    bench.log.clear()
    bench.run(6.0)
    assert bench.permits()[0].permit.setpoint_c == 55.0
    assert bench.controller.permit.cycle == bench.state.cycle.id


def test_a_lost_permit_of_no_heat_is_followed_by_another():
    """H09: as a stop is repeated; the lease that lives is the last resort, not the plan."""
    bench = bench_in(P.DRYING)
    bench.controller.faults.silent = (0,)
    bench.run(26.0)
    bench.downlink = False
    bench.until(P.HOLD, at_most_s=20.0)
    assert bench.controller.is_heating
    bench.downlink = True
    bench.run(6.0)
    assert not bench.controller.is_heating
    assert bench.phase is P.HOLD


def test_a_hold_on_a_state_that_is_too_old_gives_nothing():
    """Contract 3: no permit rests on a state older than ten seconds; the lease that lives runs out."""
    bench = bench_in(P.DRYING)
    bench.mono_s += 18.0
    bench.log.clear()
    bench.give(Ticked())
    assert bench.phase is P.HOLD
    assert not bench.permits()
    assert not stops(bench)


def test_a_hold_of_more_than_five_minutes_is_a_trip():
    """B-04; boundary."""
    bench = bench_in(P.HOLD)
    bench.controller.door_open = True
    bench.run(290.0)
    assert bench.phase is P.HOLD
    bench.run(20.0)
    assert (bench.phase, bench.state.trip.rule) == (P.TRIPPED, "B-04")


def test_the_fourth_hold_is_a_trip():
    """B-04: no more than three a cycle."""
    bench = bench_in(P.HEATING)
    for _ in range(3):
        bench.controller.door_open = True
        bench.run(6.0)
        assert bench.phase is P.HOLD
        bench.controller.door_open = False
        bench.run(20.0)
        assert bench.phase is P.HEATING
    bench.controller.door_open = True
    bench.run(6.0)
    assert (bench.phase, bench.state.trip.rule) == (P.TRIPPED, "B-04")


def test_a_hold_in_which_the_load_changed_does_not_go_on():
    """B-04: only if nothing changed; what was put in does not stand it."""
    bench = bench_in(P.HOLD)
    bench.site = site(load=(PETG, LoadItem(key="s3", name="PLA", material_limit_c=50.0, body_limit_c=65.0)))
    bench.give(SiteSaid(site=bench.site))
    bench.controller.door_open = False
    bench.run(20.0)
    assert bench.phase not in RUNNING


def test_too_hot_for_a_permit_is_no_hold():
    """Contract 3: above the ceiling heat is cut at once (R8), not counted as a hold of B-04."""
    bench = bench_in(P.DRYING)
    creep(bench, 63.6)
    bench.controller.chamber.time_constant_s = 1200.0
    bench.log.clear()
    bench.run(4.0)
    assert not bench.permits()
    bench.run(200.0)
    assert (bench.phase, bench.state.cycle.holds) == (P.DRYING, 0)
    assert bench.permits()


def test_a_stop_at_the_oven_while_too_hot_is_a_stop():
    """B-17: that no permit goes out just then does not hide it."""
    bench = bench_in(P.DRYING)
    creep(bench, 63.2)
    bench.controller.take_stop()
    bench.run(4.0)
    assert bench.state.ended is not None
    assert bench.state.ended.ending is Ending.STOPPED


def test_a_first_overshoot_lowers_the_set_point():
    """R13: there is no duty in a permit to lower, so the set-point is; it goes out at once."""
    bench = bench_in(P.DRYING)
    creep(bench, 60.4)
    assert bench.permits()[-1].permit.setpoint_c <= 54.0
    assert [e.rule for e in bench.log if isinstance(e, Notify)] == ["R13"]
    bench.run(1200.0)
    assert bench.phase is P.DRYING
    creep(bench, 60.4)
    assert (bench.phase, bench.state.trip.rule) == (P.TRIPPED, "R13")


def test_the_store_that_fails_ends_the_cycle():
    """B-26, H37: no audit, no heat."""
    bench = bench_in(P.DRYING)
    bench.site = site(is_storage_writable=False)
    bench.give(SiteSaid(site=bench.site))
    assert bench.state.ended.ending is Ending.STOPPED_BY_RULE
    assert not bench.controller.is_heating


def test_an_extension_is_a_confirmed_order_within_the_bounds():
    """B-15, B-28."""
    bench = Bench().drying(duration_s=3600.0)
    ends_s, version = bench.state.cycle.ends_mono_s, bench.state.version
    assert bench.extend(600.0).problem is None
    assert bench.state.cycle.ends_mono_s == ends_s + 600.0
    assert bench.extend(600.0, state_version=version).problem.rule == "B-28"
    assert bench.extend(24 * 3600.0).problem.rule == "B-15"
    assert bench.extend(-60.0).problem.rule == "B-15"
    assert bench.extend(60.0, cycle="another").problem.rule == "B-15"


def test_without_arming_an_extension_stays_within_eight_hours():
    """B-11: no way round it."""
    bench = Bench(has_arming=False).drying(duration_s=7 * 3600.0)
    assert bench.extend(3600.0).problem is None
    assert bench.extend(60.0).problem.rule == "B-15"


def test_heat_that_nobody_permitted_is_stopped_and_told_of():
    """H39: another program gave the oven a permit while it rested."""
    bench = bench_in(P.IDLE)
    newest = bench.state.window.newest.state
    bench.controller.take_permit(
        Permit(
            cycle="x",
            seq=9,
            boot=newest.boot,
            state_seq=newest.seq,
            setpoint_c=60.0,
            ceiling_c=80.0,
            lease_s=60.0,
        )
    )
    bench.run(4.0)
    assert bench.controller.permit is None
    assert stops(bench)[-1].cycle == "*"
    assert [e.rule for e in bench.log if isinstance(e, Notify)] == ["H39"]


def test_an_idle_oven_that_is_found_warm_is_cooled_first():
    """B-19."""
    bench = Bench()
    bench.controller.chamber.temperature_c = 60.0
    bench.give(SiteSaid(site=bench.site))
    bench.run(10.0)
    assert bench.phase is P.COOLING


def test_the_door_after_the_end_makes_it_idle():
    """What was dried has been taken out."""
    bench = bench_in(P.DONE)
    bench.controller.door_open = True
    bench.run(4.0)
    assert bench.phase is P.IDLE
    assert bench.state.cycle is None


def test_a_step_changes_nothing_but_what_it_returns():
    """Purity: the same step twice gives the same, and the old state is as it was."""
    bench = bench_in(P.DRYING)
    before = bench.state
    text = to_text(before)
    event = StopAsked(who="Ada", why="x")
    assert step(before, event, bench.mono_s, bench.wall_s) == step(before, event, bench.mono_s, bench.wall_s)
    assert to_text(before) == text
    assert replace(before) == before


def test_a_fan_that_does_not_start_ends_the_start():
    """B-18, H21: heat counts as proven only once the fan moves air; a heater that is on without it trips."""
    bench = bench_in(P.ARMED)
    bench.controller.faults.is_fan_dead = True
    bench.start()
    bench.run(70.0)
    assert bench.phase is P.TRIPPED
    assert bench.state.trip.rule == "R14"


def test_one_arming_is_good_for_one_start():
    """B-10: who armed it for one load did not arm it for the next."""
    bench = bench_in(P.PREHEAT_CHECK)
    bench.run(20.0)
    bench.stop()
    bench.run(10.0)
    assert bench.start().problem.rule == "B-10"
    bench.controller.arm()
    bench.run(4.0)
    assert bench.start().problem is None


def test_a_cycle_of_whose_surroundings_nothing_is_told_ends_and_says_so():
    """Load, store and detector are unknown then; it is no lost link, so it may not be resumed as one."""
    bench = bench_in(P.DRYING)
    bench.is_told = False
    bench.run(220.0)
    assert bench.state.ended.ending is Ending.STOPPED_BY_RULE
    assert "told" in bench.state.ended.why
