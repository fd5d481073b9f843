"""B-03, B-30, B-31, A-25: faults in the hardware trip in bounded time; the latch, its record and its reset."""

from dataclasses import replace

import pytest
from support.oven_pair import Bench, site
from support.oven_phases import bench_in

from monitor.model.cycle import Ending
from monitor.model.oven import OvenPhase, Trip
from monitor.oven.effects import KeepFirstOut, Notify, PublishReset, PublishStop
from monitor.oven.events import ProofTested, Restarted, SiteSaid
from monitor.oven.hard import LOCAL_RESET
from monitor.oven.saved import from_text, to_text
from monitor.oven.site import Detector

P = OvenPhase


def faulty(phase=P.DRYING, **faults):
    bench = bench_in(phase)
    for name, value in faults.items():
        setattr(bench.controller.faults, name, value)
    bench.log.clear()
    return bench


@pytest.mark.parametrize(
    ("phase", "faults", "rules", "within_s"),
    [
        (P.DRYING, {"dead": (0,)}, {"R1"}, 8),
        (P.DRYING, {"silent": (0,)}, {"R2"}, 70),
        (P.DRYING, {"frozen": (0, 1)}, {"R3", "R4", "R6"}, 1500),
        (P.HEATING, {"in_room": (0, 1)}, {"R4", "R5"}, 660),
        (P.DRYING, {"in_room": (0,)}, {"R4"}, 70),
        (P.HEATING, {"heater_dead": True}, {"R4", "R5"}, 660),
        (P.DRYING, {"is_welded": True}, {"R6", "R8", "R13"}, 700),
        (P.COOLING, {"is_welded": True}, {"R6"}, 14),
        (P.DONE, {"is_welded": True}, {"R6"}, 14),
        (P.DRYING, {"offsets_c": (0.0, -9.5)}, {"R4", "R10"}, 320),
        (P.DRYING, {"is_fan_dead": True}, {"R14"}, 40),
    ],
)
def test_each_fault_is_found_in_bounded_time(phase, faults, rules, within_s):
    """B-01: fault injected into a chamber that lives, not into a window made up for the rule."""
    bench = faulty(phase, **faults)
    begun_s = bench.mono_s
    while bench.state.trip is None and bench.mono_s - begun_s < within_s:
        bench.run(2.0)
    assert bench.state.trip is not None, f"still {bench.phase}: {bench.why()}"
    assert bench.state.trip.rule in rules
    assert bench.controller.permit is None


def test_a_trip_switches_off_is_latched_recorded_and_told_of():
    """B-03."""
    bench = faulty(dead=(0,))
    bench.run(10.0)
    assert bench.phase is P.TRIPPED
    assert not bench.controller.is_heating
    assert bench.state.ended.ending is Ending.TRIPPED
    assert next(e for e in bench.log if isinstance(e, PublishStop)).cycle == "*"
    assert bench.records("tripped")[0].rule == "R1"
    assert [e for e in bench.log if isinstance(e, Notify)][0].is_safety
    bench.controller.faults.dead = ()
    bench.run(600.0)
    assert bench.phase is P.TRIPPED


def test_the_first_out_record_has_the_order_and_ten_minutes_on_either_side():
    """A-25."""
    bench = bench_in(P.DRYING)
    bench.run(600.0)
    bench.controller.faults.dead = (0,)
    bench.run(20.0)
    bench.controller.faults.is_welded = True
    bench.run(620.0)
    kept = [e.first_out for e in bench.log if isinstance(e, KeepFirstOut)]
    assert [k.is_complete for k in kept] == [False, True]
    fired = kept[-1].fired
    assert [f.rule for f in fired[:2]] == ["R1", "R6"]
    assert fired[0].after_ms == 0 < 20_000 <= fired[1].after_ms <= 40_000
    first, last = kept[-1].trace[0], kept[-1].trace[-1]
    assert first.after_ms <= -590_000
    assert last.after_ms >= 590_000
    assert kept[0].trace[-1].after_ms == 0


def test_heat_that_goes_on_after_a_trip_is_stopped_again_and_again():
    """B-03: by every means available; H09."""
    bench = faulty(dead=(0,))
    bench.downlink = False
    bench.run(30.0)
    assert len([e for e in bench.log if isinstance(e, PublishStop)]) >= 3


def tripped(rule="R1", **faults):
    bench = faulty(P.HEATING, **(faults or {"dead": (0,)}))
    while bench.state.trip is None:
        bench.run(2.0)
    assert bench.state.trip.rule == rule
    for name in faults or {"dead": ()}:
        setattr(bench.controller.faults, name, type(getattr(bench.controller.faults, name))())
    bench.controller.armed_until_s = 0.0
    bench.run(30.0)
    return bench


def test_a_reset_starts_nothing():
    """B-31."""
    bench = tripped()
    bench.log.clear()
    assert bench.reset().problem is None
    bench.run(60.0)
    assert (bench.phase, bench.state.trip) == (P.IDLE, None)
    assert not bench.permits()
    assert bench.records("reset")[0].who == "Ada"


@pytest.mark.parametrize(
    "change", [{"checked": ()}, {"text": " "}, {"who": ""}, {"trip": "another"}, {"state_version": 0}]
)
def test_a_reset_needs_a_person_who_looked(change):
    """B-30: first-out read, ticks made, person and text recorded."""
    bench = tripped()
    assert bench.reset(**change).problem is not None
    assert bench.phase is P.TRIPPED


def test_a_reset_waits_for_a_cool_chamber():
    """B-30: boundary at 45 °C."""
    bench = tripped()
    bench.controller.chamber.temperature_c = 45.4
    bench.run(2.0)
    assert bench.reset().problem.title == "Not before it is cool"
    bench.controller.chamber.temperature_c = 44.5
    bench.run(2.0)
    assert bench.reset().problem is None


def test_a_reset_waits_for_the_cause_to_be_gone():
    """B-30: the condition must be clear."""
    bench = tripped()
    bench.controller.faults.dead = (0,)
    bench.run(10.0)
    assert bench.reset().problem.title == "What tripped it is still so"


def test_an_oven_that_is_not_heard_is_not_reset():
    """B-30: what cannot be seen cannot be declared safe."""
    bench = tripped()
    bench.uplink = False
    bench.run(20.0)
    assert bench.reset().problem.title == "The oven is not heard"


@pytest.mark.parametrize("rule", ["R3", "R4", "R5", "R6", "R7", "R9", "R14", "R20"])
def test_a_safety_trip_is_not_reset_from_afar(rule):
    """B-30: somebody must stand at the oven; arming it shows that."""
    bench = tripped()
    bench.state = replace(bench.state, trip=replace(bench.state.trip, rule=rule, is_safety=True))
    assert bench.reset().problem.title == "Not from afar"
    bench.controller.arm()
    bench.run(4.0)
    assert bench.reset().problem is None


def test_a_button_pressed_before_the_trip_shows_nobody_after_it():
    """B-30: whoever armed it has not seen what happened since."""
    bench = bench_in(P.ARMED)
    bench.controller.faults.is_welded = True
    bench.run(20.0)
    bench.controller.faults.is_welded = False
    bench.run(30.0)
    assert bench.reset().problem.title == "Not from afar"
    bench.controller.arm()
    bench.run(4.0)
    assert bench.reset().problem is None


def test_the_rules_of_b30_are_the_safety_trips():
    """R3 to R7, R9, R14, R20, and what hardware, a detector or an unreadable state say."""
    assert LOCAL_RESET.issuperset({"R3", "R4", "R5", "R6", "R7", "R9", "R14", "R20"})
    assert not LOCAL_RESET & {"R1", "R2", "R8", "R10", "R13", "R19"}
    bench = faulty(P.DONE, is_welded=True)
    bench.run(20.0)
    assert bench.state.trip.is_safety


def test_an_oven_without_arming_input_is_reset_after_a_proof_test():
    """B-30, B-50: a test that somebody did at the oven shows that somebody was there."""
    bench = Bench(has_arming=False).ready()
    bench.controller.faults.is_welded = True
    bench.run(20.0)
    bench.controller.faults.is_welded = False
    bench.run(30.0)
    assert bench.reset().problem.title == "Not from afar"
    bench.give(ProofTested(who="Ada"))
    assert bench.reset().problem is None


def weld_and_reset(bench):
    bench.controller.faults.is_welded = True
    bench.run(14.0)
    assert bench.state.trip.rule == "R6"
    bench.controller.faults.is_welded = False
    bench.controller.arm()
    bench.run(30.0)
    return bench.reset()


def test_the_third_safety_trip_in_30_days_takes_it_out_of_service():
    """B-30, H30: until a proof test is recorded; a restart does not lift it."""
    bench = Bench().ready()
    assert weld_and_reset(bench).problem is None
    assert weld_and_reset(bench).problem is None
    assert weld_and_reset(bench).problem.title == "The oven is out of service"
    bench.state = from_text(to_text(bench.state))
    bench.give(Restarted(parameters=bench.state.parameters))
    bench.give(SiteSaid(site=bench.site))
    bench.run(4.0)
    assert bench.reset().problem.title == "The oven is out of service"
    bench.give(ProofTested(who="Ada"))
    bench.controller.arm()
    bench.run(4.0)
    assert bench.reset().problem is None
    assert not bench.state.is_out_of_service


def test_three_safety_trips_over_more_than_30_days_do_not():
    """B-30."""
    bench = Bench().ready()
    for _ in range(3):
        assert weld_and_reset(bench).problem is None
        bench.wall_s += 16 * 86_400.0
        bench.run(4.0)


def test_what_fires_later_can_make_a_trip_graver():
    """A remote reset of R1 must not take a welded switch with it."""
    bench = tripped()
    bench.controller.faults.is_welded = True
    bench.run(20.0)
    bench.controller.faults.is_welded = False
    bench.run(30.0)
    assert bench.state.trip.rule == "R1"
    assert bench.reset().problem.title == "Not from afar"


def controller_trip(bench, *, remote_reset=True):
    bench.controller.trip = Trip(id="t7", rule="R10", what="the sensors differ", remote_reset=remote_reset)
    bench.run(4.0)


def test_a_trip_of_the_controller_is_ours_too_and_is_reset_there_first():
    """Contract 1 and 3: `oven/<oven>/reset` names the trip and the boot; it starts nothing."""
    bench = bench_in(P.HEATING)
    controller_trip(bench)
    assert bench.phase is P.TRIPPED
    assert bench.state.trip.controller_trip == "t7"
    bench.downlink = False
    assert bench.reset().problem is None
    assert bench.phase is P.TRIPPED  # the controller still shows it
    bench.downlink = True
    assert bench.reset().problem is None
    asked = [e for e in bench.log if isinstance(e, PublishReset)][-1]
    assert (asked.trip, asked.boot, asked.who) == ("t7", "b1", "Ada")
    bench.run(4.0)
    assert bench.phase is P.IDLE


def test_a_controller_that_says_no_remote_reset_is_believed():
    """Contract 3."""
    bench = bench_in(P.IDLE)
    controller_trip(bench, remote_reset=False)
    assert bench.reset().problem.title == "Not from afar"


def test_a_detector_trips_an_oven_that_rests_too():
    """B-44: all heat in that room."""
    bench = bench_in(P.IDLE)
    bench.give(SiteSaid(site=site(detector=Detector(is_heard=True, is_alarming=True))))
    assert (bench.phase, bench.state.trip.rule) == (P.TRIPPED, "B-44")


def test_a_trip_outlives_a_restart():
    """B-30: pulling the plug of the service is no reset."""
    bench = tripped()
    bench.state = from_text(to_text(bench.state))
    bench.give(Restarted(parameters=bench.state.parameters))
    bench.run(20.0)
    assert bench.phase is P.TRIPPED
