"""May this start be confirmed, and if not, why: every ground to refuse one, with its requirement."""

from dataclasses import replace

import pytest
from support.oven_pair import NYLON, PETG, RELAY_PARAMETERS, WALL_S, Bench, site
from support.oven_phases import bench_in

from monitor.model.cycle import LoadItem, Origin
from monitor.model.oven import OvenPhase, Trip
from monitor.oven.effects import Answer, PublishPermit
from monitor.oven.events import SiteSaid, StartAsked
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Checklist, Detector, Relay, Tick
from monitor.oven.start import why_not

UNKNOWN = LoadItem(key="s9", name="Unmarked", material_limit_c=None, body_limit_c=None)


def problems(bench, **order):
    """The rules that speak against a start, weightiest first."""
    return why_not(bench.state, bench.order(**order), bench.mono_s, bench.wall_s)


def rules(bench, **order):
    return [problem.rule for problem in problems(bench, **order)]


def ready(**facts):
    bench = Bench().ready()
    bench.site = site(**facts)
    bench.give(SiteSaid(site=bench.site))
    return bench


def test_a_good_start_is_granted_recorded_and_gets_its_permit_with_the_next_state():
    """B-10; H37: the record comes before the answer, and both before the permit."""
    bench = ready()
    bench.log.clear()
    bench.give(StartAsked(order=bench.order(unattended=True)))
    bench.run(2.0)
    kinds = [type(effect).__name__ for effect in bench.log]
    assert kinds.index("Record") < kinds.index("Answer") < kinds.index("PublishPermit")
    assert bench.records("cycle_started")[0].who == "Ada"


def test_without_arming_there_is_no_start():
    """B-10, H14: a tap on a phone is not enough; B-13: nor is a schedule."""
    bench = Bench()
    bench.give(SiteSaid(site=bench.site))
    bench.run(30.0)
    assert rules(bench) == ["B-10"]
    assert rules(bench, origin=Origin.SCHEDULE) == ["B-13"]
    assert "button" in problems(bench)[0].detail


def test_arming_lapses_when_the_door_opens_after_it():
    """B-10: what is inside may no longer be what was armed; a fresh press arms again."""
    bench = ready()
    bench.controller.door_open = True
    bench.run(4.0)
    bench.controller.door_open = False
    bench.run(4.0)
    assert rules(bench) == ["B-10"]
    bench.controller.arm()
    bench.run(4.0)
    assert rules(bench) == []


def test_a_scheduled_start_needs_an_arming_that_is_fresh_when_it_starts():
    """B-13, B-25: whatever made it due, a clock that jumped included, somebody must have been there."""
    bench = ready()
    bench.run(1900.0)
    bench.wall_s += 86_400.0
    assert rules(bench, origin=Origin.SCHEDULE)[0] == "B-13"


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"issued_wall_s": WALL_S - 3600.0}, "B-16"),  # late
        ({"issued_wall_s": WALL_S + 3600.0}, "B-16"),  # from the future
        ({"issued_wall_s": WALL_S + 15.0, "expires_after_s": 5.0}, "B-16"),  # its own expiry has passed
        ({"is_retained": True}, "B-16"),
        ({"state_version": 0}, "B-28"),
    ],
)
def test_a_stale_replayed_or_retained_order_is_refused(change, rule):
    """H10: an order that waited is not what the person wants now."""
    assert rules(ready(), **change)[0] == rule


def test_an_order_of_ten_seconds_is_still_fresh_and_no_expiry_makes_it_older():
    """B-16: boundary; an issuer cannot grant itself more than ten seconds."""
    bench = ready()
    assert rules(bench, issued_wall_s=bench.wall_s - 10.0) == []
    assert rules(bench, issued_wall_s=bench.wall_s - 10.1, expires_after_s=1e9) == ["B-16"]


def test_the_same_order_twice_starts_one_cycle():
    """B-16, C.1: a duplicate of QoS 1 gets the same answer and does nothing."""
    bench = ready()
    order = bench.order()
    bench.give(StartAsked(order=order))
    cycle = bench.state.cycle.id
    effects = bench.give(StartAsked(order=order))
    answers = [e for e in effects if isinstance(e, Answer)]
    assert (answers[0].problem, answers[0].is_repeat) == (None, True)
    assert bench.state.cycle.id == cycle
    assert bench.state.cycles == 1


def test_an_order_that_was_overtaken_is_refused():
    """B-16: sequence numbers of one issuer only rise."""
    bench = ready()
    first, second = bench.order(setpoint_c=500.0), bench.order(setpoint_c=500.0)
    bench.give(StartAsked(order=second))
    assert why_not(bench.state, first, bench.mono_s, bench.wall_s)[0].rule == "B-16"


def test_of_two_phones_the_second_start_is_refused():
    """B-28, B-18: it was decided on a state that is no longer so, and a cycle runs."""
    bench = ready()
    first, second = bench.order(), replace(bench.order(), issuer="other phone")
    bench.give(StartAsked(order=first))
    found = [p.rule for p in why_not(bench.state, second, bench.mono_s, bench.wall_s)]
    assert found[:2] == ["B-28", "B-18"]


@pytest.mark.parametrize(
    "phase", [OvenPhase.PREHEAT_CHECK, OvenPhase.HEATING, OvenPhase.DRYING, OvenPhase.HOLD]
)
def test_one_oven_runs_one_cycle(phase):
    """B-18."""
    assert "B-18" in rules(bench_in(phase))


def test_a_tripped_oven_does_not_start():
    """B-10: no latched trip, neither ours nor the controller's."""
    assert "B-10" in rules(bench_in(OvenPhase.TRIPPED))
    bench = ready()
    bench.controller.trip = Trip(id="t1", rule="R9", what="hot", remote_reset=False)
    bench.run(2.0)
    assert rules(bench)[0] == "B-10"


def test_an_oven_that_is_not_heard_does_not_start():
    """B-10: sensors fresh; boundary at ten seconds."""
    bench = ready()
    bench.mono_s += 10.0
    assert rules(bench) == []
    bench.mono_s += 0.1
    assert rules(bench) == ["B-10"]
    assert rules(Bench())[0] == "B-10"


def test_a_heater_that_is_on_already_bars_a_start():
    """B-20, H11: mains came back and the switch with it."""
    bench = ready()
    bench.controller.faults.is_welded = True
    bench.run(2.0)
    assert "B-20" in rules(bench)


@pytest.mark.parametrize(
    ("facts", "rule"),
    [
        ({"is_storage_writable": False}, "B-26"),
        ({"is_self_tested": False}, "H38"),
        ({"is_sole_owner": False}, "H39"),
        ({"room_c": 3.0}, "B-10"),
        ({"room_c": 41.0}, "B-10"),
        ({"detector": Detector(is_heard=True, is_alarming=True)}, "B-10"),  # and it is tripped
        ({"door_open": True}, "B-04"),
        ({"load": ()}, "B-14"),
    ],
)
def test_what_is_around_an_oven_can_bar_a_start(facts, rule):
    """B-10, B-26, B-44, H38, H39: no record, no self-test, no sane room, no heat."""
    assert rule in rules(ready(**facts))


def test_a_site_that_was_not_told_lately_bars_a_start():
    """What was so three minutes ago may not be so now."""
    bench = ready()
    bench.state = replace(bench.state, site_mono_s=bench.mono_s - 151.0)
    assert rules(bench) == ["B-10"]


@pytest.mark.parametrize("fault", ["dead", "silent"])
def test_a_sensor_that_is_not_well_bars_a_start(fault):
    """B-10: sensors fresh: the rules of a running cycle speak before it runs."""
    bench = ready()
    setattr(bench.controller.faults, fault, (1,))
    bench.run(40.0)
    assert rules(bench)[0] in ("R1", "R2")


def test_a_cutout_that_is_open_bars_a_start():
    """B.4: the first layer has spoken."""
    bench = ready()
    bench.controller.cutout_ok = False
    bench.run(2.0)
    assert rules(bench) == ["CUTOUT"]


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"load": ("s1", "s2")}, "B-10"),
        ({"limited_by": "Nylon"}, "B-10"),
        ({"ends_wall_s": WALL_S}, "B-10"),
        ({"setpoint_c": 58.1}, "B-14"),
        ({"setpoint_c": 130.0}, "B-14"),
        ({"setpoint_c": float("nan")}, "B-14"),
        ({"setpoint_c": 12.0}, "B-14"),
        ({"duration_s": 0.0}, "B-15"),
        ({"duration_s": 25 * 3600.0}, "B-15"),
        ({"duration_s": float("inf")}, "B-15"),
    ],
)
def test_what_was_shown_and_confirmed_must_be_what_is_done(change, rule):
    """B-10, B-14, B-15, H16, H17: 130 °F typed as °C is refused, not turned down."""
    assert rule in rules(ready(), **change)


def test_a_set_point_too_high_names_the_item_that_limits_it():
    """B-14: with nylon and PETG inside it is the PETG, and the figure is in the answer."""
    found = problems(ready(load=(NYLON, PETG)), setpoint_c=70.0)
    assert (found[0].rule, found[0].limiting_item, found[0].limit_c) == ("B-14", "Blue PETG", 58.0)
    assert "Blue PETG" in found[0].detail


def test_a_body_limit_counts_like_a_material_limit():
    """B-14, H22: the reel gives way before the filament does."""
    weak = LoadItem(key="s3", name="Nylon on PS", material_limit_c=90.0, body_limit_c=60.0)
    assert problems(ready(load=(weak,)), setpoint_c=55.0)[0].limiting_item == "the reel of Nylon on PS"


def test_an_unknown_material_is_treated_as_the_weakest():
    """B-14: lowest class; 45 °C less the guard of 7 °C."""
    bench = ready(load=(PETG, UNKNOWN))
    assert rules(bench, setpoint_c=38.0) == []
    assert problems(bench, setpoint_c=38.1)[0].limiting_item == "Unmarked (material not known)"


def test_the_chamber_is_a_limit_too():
    """B-14: nylon stands 80 °C on its reel, the oven 75 °C."""
    assert problems(ready(load=(NYLON,)), setpoint_c=69.0)[0].limiting_item == "the oven itself"


@pytest.mark.parametrize(
    ("order", "found"),
    [
        ({"setpoint_c": 60.0, "duration_s": 8 * 3600.0}, []),
        ({"setpoint_c": 60.1}, ["B-11"]),
        ({"duration_s": 8 * 3600.0 + 1}, ["B-11"]),
        ({"unattended": True}, ["B-11"]),
    ],
)
def test_an_oven_without_an_arming_input_runs_attended_only(order, found):
    """B-11: 60 °C and 8 h, and somebody stays."""
    bench = Bench(has_arming=False)
    bench.site = site(load=(NYLON,))
    bench.ready()
    assert rules(bench, **order) == found


def test_an_attended_start_says_in_the_book_that_nobody_armed_it():
    """B-11."""
    bench = Bench(has_arming=False).ready()
    assert bench.start().problem is None
    assert "not locally armed" in bench.records("cycle_started")[0].what


@pytest.mark.parametrize(
    ("facts", "rule"),
    [
        ({"is_cutout_confirmed": False}, "B-51"),
        ({"checklist": None}, "B-40"),
        ({"checklist": Checklist(ticked=frozenset(Tick) - {Tick.LIMITER}, at_wall_s=WALL_S)}, "B-40"),
        ({"checklist": Checklist(ticked=frozenset(Tick), at_wall_s=WALL_S - 91 * 86_400.0)}, "B-40"),
        ({"checklist": Checklist(ticked=frozenset(Tick), at_wall_s=WALL_S + 86_400.0)}, "B-40"),
        ({"proof_tested_wall_s": None}, "B-50"),
        ({"proof_tested_wall_s": WALL_S - 366 * 86_400.0}, "B-50"),
        ({"detector": Detector(is_heard=False, is_alarming=False)}, "B-44"),
        ({"room_c": None}, "B-10"),
    ],
)
def test_unattended_use_is_a_mode_of_its_own(facts, rule):
    """B-40, B-44, B-50, B-51: each of these bars it, and none of them a start that somebody stays with."""
    assert rules(ready(**facts), unattended=True) == [rule]
    assert rules(ready(**facts)) == []


@pytest.mark.parametrize("tick", Tick)
def test_every_item_of_the_checklist_is_asked_for(tick):
    """B-40: the mode is unavailable until all are ticked."""
    missing = Checklist(ticked=frozenset(Tick) - {tick}, at_wall_s=WALL_S)
    assert rules(ready(checklist=missing), unattended=True) == ["B-40"]


@pytest.mark.parametrize(
    ("relay", "rule"),
    [
        (None, "B-24"),
        (Relay(counts_down=False, stays_off_after_power_loss=True), "B-24"),
        (Relay(counts_down=True, stays_off_after_power_loss=False), "B-20"),
    ],
)
def test_a_relay_that_cannot_switch_itself_off_or_stay_off_is_refused(relay, rule):
    """B-20, B-24."""
    bench = Bench(parameters=RELAY_PARAMETERS, has_arming=False)
    bench.site = site(relay=relay)
    bench.ready()
    assert rule in rules(bench)


def test_a_relay_of_which_it_was_not_verified_that_it_stays_off_needs_somebody_there():
    """B-20: the proof test shows it; until then it may come on after a power cut with nobody there."""
    bench = Bench(parameters=RELAY_PARAMETERS, has_arming=False)
    bench.site = site(relay=Relay(counts_down=True, stays_off_after_power_loss=None))
    bench.ready()
    assert rules(bench) == []
    assert "B-20" in rules(bench, unattended=True)


def test_a_refused_start_leaves_a_record_and_no_permit():
    """B-16: refused and logged."""
    bench = ready()
    answer = bench.start(setpoint_c=90.0)
    assert answer.problem.title == "Too hot for what is inside"
    assert bench.records("order_refused")[0].rule == "B-14"
    assert not [e for e in bench.log if isinstance(e, PublishPermit)]


def test_a_longer_cap_of_the_oven_is_honoured_up_to_the_hard_one():
    """B-15: finite, at most the cap."""
    bench = Bench(parameters=OvenParameters(max_c=75.0, longest_s=48 * 3600.0)).ready()
    assert rules(bench, duration_s=48 * 3600.0) == []
    assert rules(bench, duration_s=48 * 3600.0 + 1) == ["B-15"]
