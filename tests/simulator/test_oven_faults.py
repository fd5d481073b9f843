"""Each fault on the simulated oven: which rule sees it, how soon heat is off, and how hot the chamber becomes.

The table that is printed (pytest -s) is the design's proof of B-02. Faults are switched on 3 min after the
start, in the steepest rise, and 90 min after it, in the calm.
"""

import pytest
from support.oven_permits import Renewer, started

from monitor.simulator.oven_faults import SensorFault
from monitor.simulator.oven_rig import OvenRig

SETPOINT_C, CEILING_C = 75.0, 80.0  # the reference oven's highest
CUTOUT_C = 95.0


def broken(**changes):
    def act(rig):
        for name, value in changes.items():
            setattr(rig.faults, name, value)

    return act


def sensors(*kinds):
    def act(rig):
        rig.faults.sensors = {place: kind for place, kind in enumerate(kinds) if kind}

    return act


# fault, what breaks, [(rule or none, heat off within s, peak at most degC)] for the rise and for the calm
S = SensorFault
UNDER = CEILING_C - 1.0
FAULTS = {
    "solid-state switch welded": (broken(welded_2=True), [("R6", 420, UNDER), ("R6", 30, CEILING_C + 1.0)]),
    "both switches welded": (
        broken(welded_1=True, welded_2=True),
        [("R6", 800, CUTOUT_C), ("R6", 240, CUTOUT_C)],
    ),
    "both welded, meter dead": (
        broken(welded_1=True, welded_2=True, meter_dead=True),
        [("R8", 800, CUTOUT_C), ("R8", 240, CUTOUT_C)],
    ),
    "one welded, meter dead": (
        broken(welded_2=True, meter_dead=True),
        [("R13", 800, CEILING_C + 4.5), ("R13", 400, CEILING_C + 4.5)],
    ),
    "sensor open": (sensors(S.OPEN), [("R1", 2, UNDER), ("R1", 2, UNDER)]),
    "sensor shorted": (sensors(None, S.SHORT), [("R1", 2, UNDER), ("R1", 2, UNDER)]),
    "sensor dead": (sensors(S.DEAD), [("R1", 2, UNDER), ("R1", 2, UNDER)]),
    "sensor silent": (sensors(S.SILENT), [("R2", 32, UNDER), ("R2", 32, UNDER)]),
    "both sensors silent": (sensors(S.SILENT, S.SILENT), [("R2", 32, UNDER), ("R2", 32, UNDER)]),
    "sensor stuck": (sensors(S.STUCK), [("R3", 905, UNDER), ("R3", 905, UNDER)]),
    "both sensors stuck": (
        sensors(S.STUCK, S.STUCK),
        [("R5", 620, CEILING_C + 6.0), ("R3", 905, CEILING_C + 6.0)],
    ),
    "sensor fallen out": (sensors(S.FALLEN_OUT), [("R4", 30, UNDER), ("R4", 20, UNDER)]),
    "both fallen out": (
        sensors(S.FALLEN_OUT, S.FALLEN_OUT),
        [("R4", 30, UNDER), ("R4", 20, UNDER)],
    ),
    "sensor 10 C low": (sensors(S.LOW), [("R10", 130, UNDER), ("R10", 130, UNDER)]),
    "fan dead": (broken(fan_dead=True), [("R14", 2, UNDER), ("R14", 2, UNDER)]),
    "door open": (broken(door_open=True), [(None, 2, UNDER), (None, 2, UNDER)]),
    "network gone": (broken(network_gone=True), [(None, 30, UNDER), (None, 30, UNDER)]),
    "mains gone": (broken(mains_off=True), [(None, 2, UNDER), (None, 2, UNDER)]),
    "program hangs": (broken(loop_hangs=True), [(None, 10, UNDER), (None, 10, UNDER)]),
    "hangs, watchdog dead": (
        broken(loop_hangs=True, watchdog_dead=True),
        [(None, 800, CUTOUT_C), (None, 240, CUTOUT_C)],
    ),
    "element dead": (broken(element_dead=True), [("R4", 2, UNDER), ("R5", 2, UNDER)]),
    "board restarts": (lambda rig: rig.reboot(), [(None, 2, UNDER), (None, 2, UNDER)]),
    "clock an hour on": (lambda rig: rig.jump_clock(3_600_000), [("R19", 2, UNDER), ("R19", 2, UNDER)]),
    "clock an hour back": (lambda rig: rig.jump_clock(-3_600_000), [("R19", 2, UNDER), ("R19", 2, UNDER)]),
}
MOMENTS_S = (180.0, 5400.0)


class Seen:
    """What one fault did."""

    def __init__(self, rig, act):
        self.begun_s, self.peak_c, self.element_c = rig.time_s, 0.0, 0.0
        self.off_s, self.trip_s, self.rule = 0.0, None, None
        act(rig)
        rig.run(3600.0, self.look)

    def look(self, rig):
        since_s = rig.time_s - self.begun_s
        self.peak_c = max(self.peak_c, rig.oven.air_c)
        self.element_c = max(self.element_c, rig.oven.element_c)
        if rig.oven.power_w > 0.0:
            self.off_s = since_s
        if rig.controller.lock.trip is not None and self.trip_s is None:
            self.trip_s, self.rule = since_s, rig.controller.lock.trip["rule"]


@pytest.mark.parametrize("name", list(FAULTS))
@pytest.mark.parametrize("moment", [0, 1])
def test_each_fault_is_found_by_its_rule_and_heat_is_off_in_time(name, moment):
    """B-01, B-02: the rule, the time to the last heat, the chamber's peak."""
    act, expected = FAULTS[name]
    rule, within_s, most_c = expected[moment]
    rig = OvenRig(seed=3)
    started(rig, setpoint_c=SETPOINT_C, ceiling_c=CEILING_C)
    rig.run(MOMENTS_S[moment])
    seen = Seen(rig, act)
    print(
        f"{name:28} {'rise' if moment == 0 else 'calm'}  {seen.rule or '-':6} trip {seen.trip_s or 0:5.0f} s"
        f"  last heat {seen.off_s:5.0f} s  chamber {seen.peak_c:5.1f} C  element {seen.element_c:4.0f} C"
    )
    assert seen.rule == rule
    assert seen.off_s <= within_s
    assert seen.peak_c <= most_c
    assert not rig.outputs.switch_1 or name.startswith("hangs")


def test_one_welded_switch_is_found_before_the_next_heat():
    """The relay alone welded does no harm and shows nothing, until the look before heat closes the other alone."""
    for fault in ("welded_1", "welded_2"):
        rig = OvenRig(seed=5)
        setattr(rig.faults, fault, True)
        started(rig)
        rig.run(120.0)
        assert rig.controller.lock.trip["rule"] == "R6", fault
        assert rig.oven.air_c < 35.0


def test_both_welded_in_a_cold_oven_are_found_by_the_meter_and_by_the_rise_alone():
    """H11: heat that nobody asked for is noticed in an idle oven, too, with or without a meter."""
    for meter_dead, within_s in ((False, 14.0), (True, 600.0)):
        rig = OvenRig(seed=5)
        rig.run(900.0)
        rig.faults.meter_dead = meter_dead
        rig.faults.welded_1 = rig.faults.welded_2 = True
        begun_s = rig.time_s
        while rig.controller.lock.trip is None and rig.time_s < begun_s + 3600.0:
            rig.step()
        assert rig.controller.lock.trip["rule"] == "R6"
        assert rig.time_s - begun_s <= within_s
        assert rig.outputs.local_alarm


def test_where_both_sensors_read_low_only_the_cutout_and_the_guard_help():
    """H05, said honestly: the node cannot see a drift that both sensors share; calibration and the cut-out must."""
    rig = OvenRig(seed=3)
    started(rig, setpoint_c=SETPOINT_C, ceiling_c=CEILING_C)
    rig.run(5400.0)
    seen = Seen(rig, sensors(S.LOW, S.LOW))
    assert seen.rule is None
    assert CEILING_C < seen.peak_c < CUTOUT_C


def test_with_cutout_and_watchdog_dead_the_fuse_is_left():
    """The last one in the row: what it is there for, and how hot it becomes by then."""
    rig = OvenRig(seed=3)
    started(rig, setpoint_c=SETPOINT_C, ceiling_c=CEILING_C)
    rig.run(5400.0)
    seen = Seen(rig, broken(loop_hangs=True, watchdog_dead=True, cutout_dead=True))
    assert not rig.oven.fuse_ok
    assert seen.peak_c < 118.0


@pytest.mark.parametrize("seed", range(5))
def test_a_restart_in_the_middle_stays_off_whatever_goes_on_renewing(seed):
    """B-21: another boot knows no cycle and no arming."""
    rig = OvenRig(seed=seed)
    renewer = started(rig)
    rig.run(600.0)
    boot = rig.controller.boot
    rig.faults.mains_off = True
    rig.run(4.0)
    rig.faults.mains_off = False
    rig.run(600.0)
    assert rig.controller.boot != boot
    assert rig.oven.power_w == 0.0
    assert "not armed" in renewer.last["refused"]["why"]


def test_a_flood_of_old_permits_neither_heats_nor_stops_what_is_right():
    """H10: a broker that delivers hours of queued orders."""
    rig = OvenRig(seed=3)
    renewer = started(rig)
    rig.run(600.0)
    old = [renewer.permit(seq=number + 1) for number in range(10)]
    rig.run(600.0)

    def flood(r):
        for payload in old:
            r.receive("permit", payload)
            r.receive("permit", payload, retained=True)

    before = rig.controller.book.living.seq
    rig.run(60.0, flood)
    assert rig.controller.phase in ("heating", "drying")
    assert rig.controller.book.living.seq > before
    renewer.speaks = False
    rig.run(60.0, flood)
    assert not rig.outputs.switch_1


def test_a_monitor_on_another_rig_cannot_heat_this_one():
    """Another boot's permits, renewed for hours."""
    rig, other = OvenRig(seed=1), OvenRig(seed=2)
    renewer = Renewer(other)
    rig.press_arm()

    def copy(r):
        r.receive("permit", renewer.permit())

    for _ in range(100):
        other.run(2.0)
        rig.run(2.0, copy)
    assert rig.oven.given_j == 0.0
