"""Monitor and controller, each the real one, on one clock: a cycle from its confirmation to its end and what comes between."""

import pytest
from support.oven_campaign import nominal
from support.oven_joint import LOADS, Joint

from monitor.model.cycle import Ending
from monitor.model.inventory import Oven
from monitor.model.oven import OvenPhase
from monitor.oven.effects import PublishPermit, PublishStop
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import parameters_of
from monitor.simulator.oven_faults import SensorFault

P = OvenPhase


def checked(joint):
    joint.check()


def sent(joint, kind):
    return [effect for effect in joint.log if isinstance(effect, kind)]


@pytest.mark.parametrize(("load", "room_c"), [(LOADS[0], 33.0), (LOADS[3], 8.0), (LOADS[4], 21.0)])
def test_a_cycle_runs_from_its_confirmation_to_its_end(load, room_c):
    """B-18: through every state by itself, never above what the load stands, no permit refused, no rule speaks."""
    joint = Joint(load=load, room_c=room_c).started(duration_s=5400.0)
    joint.run(5600.0, checked)
    joint.until(P.DONE, at_most_s=7200.0)
    assert joint.state.ended.ending is Ending.TIME_UP
    assert joint.peak_c <= allowed(load, joint.parameters).limit_c - 3.0
    assert joint.rig.controller.refused is None
    assert joint.told == []
    said = [record.what.split(":")[0] for record in joint.records("phase")][-5:]
    assert said == [
        "armed to preheat_check", "preheat_check to heating", "heating to drying", "drying to cooling", "cooling to done",
    ]  # fmt: skip


def test_it_counts_as_heating_only_when_the_controller_has_proven_its_switches():
    """B-18: its check of both switches takes 35 s, in which a permit lives and nothing is heated."""
    joint = Joint().started()
    begun_s = joint.time_s
    while joint.phase is P.PREHEAT_CHECK:
        joint.tick()
        assert joint.rig.oven.power_w == 0.0 or joint.phase is P.HEATING
    assert joint.phase is P.HEATING
    assert 33.0 <= joint.time_s - begun_s <= 60.0


@pytest.mark.parametrize("number", [31, 589])
def test_a_nominal_cycle_in_another_oven_and_climate_trips_nothing(number):
    """B-01; `python -m benchmarks ovens` runs a thousand.

    Number 31 has a duty that an early R17 took for chatter; 589 has five cold spools, which an early R4 took for a
    sensor that fell out while they were held at the set-point.
    """
    ran = nominal(number, hours=0.9)
    assert ran.wrong is None
    assert ran.below_limit_c > 0.0


def test_an_oven_of_the_inventory_of_which_nothing_was_learned_yet_trips_nothing():
    """R4, R5, R7, R11: their start values come from its heater and its volume."""
    described = Oven(
        key="oven1",
        name="O",
        room="r",
        max_c=75.0,
        overshoot_c=5.0,
        sensor_error_c=2.0,
        heater_w=350.0,
        volume_l=40.0,
    )
    joint = Joint(parameters=parameters_of(described), spools=4, room_c=12.0).started(duration_s=5400.0)
    joint.run(5600.0, checked)
    assert joint.told == []
    assert joint.state.ended.ending is Ending.TIME_UP


def test_a_door_holds_and_the_same_cycle_goes_on():
    """B-04, B-17: a stop would end it for good at the controller; so none is sent."""
    joint = Joint().drying()
    cycle = joint.state.cycle.id
    joint.log.clear()
    joint.rig.faults.door_open = True
    joint.run(20.0, checked)
    assert joint.phase is P.HOLD
    assert joint.rig.oven.power_w == 0.0
    joint.rig.faults.door_open = False
    joint.until(P.DRYING, at_most_s=600.0)
    assert joint.rig.controller.book.run == cycle
    assert not sent(joint, PublishStop)
    assert joint.state.cycle.holds == 1


def test_a_hold_of_the_monitor_alone_opens_both_switches_and_the_cycle_goes_on():
    """B-04, R19: what only the monitor knows of is held by a permit of no heat; the check before heat is done anew."""
    joint = Joint().started()
    joint.until(P.HEATING, at_most_s=200.0)
    joint.run(30.0)
    assert joint.rig.outputs.switch_1
    joint.is_alive = False
    joint.run(16.0, checked)  # three late periods of its loop, half a lease
    joint.is_alive = True
    joint.run(4.0, checked)
    assert joint.records("held")
    assert not joint.rig.outputs.switch_1
    joint.until(P.HEATING, at_most_s=120.0)
    assert "preheat_check to heating" in joint.records("phase")[-1].what
    joint.until(P.DRYING, at_most_s=900.0)


def test_heat_is_off_four_seconds_after_a_hold_though_a_permit_lives():
    """B-04: at once, not when the lease of thirty seconds ends."""
    joint = Joint().started()
    joint.until(P.HEATING, at_most_s=200.0)
    joint.run(30.0)
    joint.is_alive = False
    joint.run(16.0)
    joint.is_alive = True
    held_s = joint.time_s
    joint.run(26.0, checked)
    assert joint.heated_s - held_s <= 4.0
    last = next(effect.permit for effect in sent(joint, PublishPermit) if effect.permit.setpoint_c == 0.0)
    assert last.lease_s == 6.0


def test_a_sensor_that_answers_again_in_time_lets_the_cycle_go_on():
    """R2: held at 30 s, not yet tripped at 60 s."""
    joint = Joint().drying()
    joint.rig.faults.sensors = {0: SensorFault.SILENT}
    joint.run(40.0, checked)
    assert joint.phase is P.HOLD
    joint.rig.faults.sensors = {}
    joint.until(P.DRYING, at_most_s=300.0)
    assert joint.rig.controller.lock.trip is None


def test_a_cycle_lost_with_its_link_is_gone_on_with_from_the_phone():
    """B-22: within five minutes, as a new cycle; the arming of then still counts at the controller, too."""
    joint = Joint().drying()
    joint.run(2000.0)
    joint.cut()
    joint.run(60.0, checked)
    joint.cut(False)
    joint.run(20.0, checked)
    ended = joint.state.ended
    assert ended.ending is Ending.LINK_LOST
    assert not joint.rig.controller.arming.is_armed(joint.rig._now_ms())
    left_s = ended.duration_s - ended.ran_s - 60.0
    assert joint.start(resumes=ended.cycle, duration_s=left_s) is None
    joint.until(P.DRYING, at_most_s=600.0)
    assert joint.rig.controller.book.run == joint.state.cycle.id != ended.cycle


def test_a_stopped_cycle_is_not_gone_on_with_at_either_side():
    """B-17: whatever either of the two would believe, the other refuses."""
    joint = Joint().drying()
    joint.run(2000.0)
    joint.rig.stop_pressed = True
    joint.run(4.0, checked)
    joint.rig.stop_pressed = False
    joint.run(20.0, checked)
    assert joint.state.ended.ending is Ending.STOPPED
    assert joint.start(resumes=joint.state.ended.cycle, duration_s=3600.0) is not None
    joint.run(300.0, checked)
    assert joint.heated_s < joint.time_s - 300.0


def test_a_safety_trip_is_reset_by_somebody_at_the_oven_and_starts_nothing():
    """B-30, B-31: the button that the tripped controller does not arm by still shows that somebody is there."""
    joint = Joint().started()
    joint.rig.faults.welded_2 = True
    joint.until(P.TRIPPED, at_most_s=120.0)
    joint.rig.faults.welded_2 = False
    joint.run(60.0, checked)
    assert not joint.rig.controller.lock.trip["remote_reset"]
    assert joint.reset().title == "Not from afar"
    joint.rig.press_arm()
    joint.run(12.0)
    assert joint.reset() is None
    joint.run(12.0, checked)
    assert (joint.state.trip, joint.rig.controller.lock.trip) == (None, None)
    assert joint.phase is P.IDLE
    assert joint.start().rule == "B-10"  # that press armed the reset, not a start


def test_a_trip_of_the_monitor_alone_locks_the_heat_too():
    """R19, B-03: the controller has not tripped, but gets no permit and was told to stop."""
    joint = Joint().started(duration_s=5400.0)
    joint.run(100.0)
    joint.is_alive = False
    joint.run(60.0, checked)
    joint.is_alive = True
    joint.run(20.0, checked)
    assert joint.state.trip.rule == "R19"
    assert joint.rig.controller.lock.trip is None
    assert joint.reset() is None  # not one that asks for somebody there
    joint.run(100.0, checked)
    assert joint.heated_s < joint.time_s - 100.0
