"""How heat is given: in whole pulses, on the hotter sensor, never past what was permitted (R8, R10, R17)."""

import pytest
from support.oven_bench import Bench

from controller.heat import Pulser, Regulator
from controller.limits import OvenLimits


@pytest.mark.parametrize("duty", [0.0, 0.03, 0.1, 0.27, 0.5, 0.77, 0.95, 1.0])
@pytest.mark.parametrize(("window_ms", "least_ms", "step_ms"), [(10_000, 2000, 500), (120_000, 10_000, 1000)])
def test_pulses_give_the_duty_asked_for(duty, window_ms, least_ms, step_ms):
    """Averaged over an hour, within one step a window."""
    pulser = Pulser(window_ms, least_ms)
    steps = 3_600_000 // step_ms
    on = sum(pulser.is_on(number * step_ms, duty) for number in range(steps))
    assert on / steps == pytest.approx(duty, abs=step_ms / window_ms + 0.01)


@pytest.mark.parametrize("duty", [0.03, 0.1, 0.5, 0.9, 0.97])
def test_no_pulse_and_no_pause_is_shorter_than_a_relay_bears(duty):
    """R17: 10 s, and no more than six switchings a minute."""
    pulser, step_ms = Pulser(120_000, 10_000), 1000
    said = [pulser.is_on(number * step_ms, duty) for number in range(3600)]
    changes = [number for number in range(1, 3600) if said[number] != said[number - 1]]
    lengths = [later - earlier for earlier, later in zip(changes, changes[1:], strict=False)]
    assert min(lengths) >= 10
    assert len(changes) <= 6 * 60


def test_a_regulator_far_below_gives_all_and_far_above_gives_nothing():
    regulator = Regulator(OvenLimits(hard_c=85.0))
    assert regulator.duty(0, 20.0, 55.0) == 1.0
    regulator.forget()
    assert regulator.duty(2000, 70.0, 55.0) == 0.0


def test_the_hotter_sensor_counts():
    """R10: one that reads low must not drive the other one up."""
    bench = Bench().heated()
    bench.chamber_c = [50.0, 56.5]
    bench.permit()
    bench.step(4.0)
    assert bench.out.duty == 0.0


@pytest.mark.parametrize("sensor", [0, 1])
def test_heat_is_cut_at_the_ceiling_at_once(sensor):
    """R8: at the very step at which one sensor has reached it, and until it is below the set-point again."""
    bench = Bench().heated()
    bench.chamber_c[sensor] = 60.1
    bench.step()
    assert not bench.out.switch_1
    assert bench.states[-1]["state"] in ("heating", "drying")
    assert bench.is_permitted
    bench.chamber_c[sensor] = 57.0
    bench.permit()
    bench.step(20.0)
    assert not bench.out.switch_1
    bench.chamber_c[sensor] = 53.0
    bench.permit()
    bench.step(20.0)
    assert bench.out.switch_1


def test_the_third_time_at_the_ceiling_locks():
    """R13: a heater under control does not come there."""
    bench = Bench().heated()
    for _ in range(3):
        bench.chamber_c = [60.5, 60.0]
        bench.permit()
        bench.step(4.0)
        bench.chamber_c = [50.0, 50.0]
        bench.permit()
        bench.step(20.0)
    assert bench.trip["rule"] == "R13"


def test_a_ceiling_lowered_onto_a_hot_oven_holds_and_does_not_lock():
    """R8: the spool that was put in wants less; the chamber cools down to it."""
    bench = Bench().heated()
    bench.chamber_c = [54.0, 54.0]
    bench.step(4.0)
    for drop in range(8):
        bench.chamber_c = [54.0 - drop, 54.0 - drop]
        assert bench.permit(setpoint_c=40.0, ceiling_c=45.0) is None
        bench.step(10.0)
        assert not bench.out.switch_1
    assert bench.trip is None


def test_the_relay_rests_after_it_has_opened():
    """R17: a chattering hold must not wear it out."""
    bench = Bench().heated()
    bench.chamber_c = [60.5, 60.5]
    bench.step()
    bench.chamber_c = [50.0, 50.0]
    off = 0
    for _ in range(10):
        bench.step()
        off += not bench.out.switch_1
    assert 4 <= off <= 6


def test_the_output_never_outlasts_the_lease():
    """What is driven lasts until the next step: with less than a step left it is off."""
    bench = Bench().heated(lease_s=12)
    ends_ms = bench.controller.book.living.ends_ms
    while bench.now_ms < ends_ms + 10_000:
        if bench.out.switch_1:
            assert bench.now_ms + 2000 <= ends_ms
        bench.step()
    assert not bench.is_permitted


def test_a_late_loop_holds_and_a_very_late_one_locks():
    """R19."""
    bench = Bench().heated()
    bench.now_ms += 7000
    bench.look()
    assert not bench.out.switch_1
    assert bench.trip is None
    bench.now_ms += 21_000
    bench.look()
    assert bench.trip["rule"] == "R19"


def test_a_clock_that_runs_backwards_locks():
    """R19: a lease on such a clock might never end."""
    bench = Bench().heated()
    bench.now_ms -= 1
    bench.look()
    assert bench.trip["rule"] == "R19"
    assert not bench.out.switch_1


def test_a_failed_self_test_locks():
    bench = Bench().heated()
    bench.self_test_ok = False
    bench.step()
    assert bench.trip["rule"] == "R19"


def test_one_sensor_ovens_work_too():
    bench = Bench(sensors=1).heated()
    assert len(bench.states[-1]["chamber_c"]) == 1


@pytest.mark.parametrize("sensor", [0, 1])
def test_two_samples_above_the_hard_limit_lock(sensor):
    """R9: whatever the permit says, and not for one glitch."""
    bench = Bench().heated(setpoint_c=80.0, ceiling_c=85.0)
    bench.chamber_c[sensor] = 85.5
    bench.step()
    assert not bench.out.switch_1
    assert bench.trip is None
    bench.step()
    assert bench.trip["rule"] == "R9"
    assert bench.trip["remote_reset"] is False


def test_a_hot_oven_that_nobody_heats_locks_as_well():
    """R9 holds in every state: what heats it may be none of ours."""
    bench = Bench()
    bench.chamber_c = [90.0, 90.0]
    bench.step(4.0)
    assert bench.trip["rule"] == "R9"
    assert bench.out.fan
    assert bench.out.local_alarm


def pulsing(bench, is_welded, seconds=60.0):
    """Near its set-point, with a meter; the seconds until it trips, or None."""
    bench.chamber_c = [53.5, 53.5]
    for number in range(round(seconds / 2.0)):
        flows = bench.out.switch_1 and (bench.out.switch_2 or is_welded)
        bench.power_w = 350.0 if flows else 0.0
        if number % 5 == 0:
            bench.permit()
        bench.step()
        if bench.trip is not None:
            return 2.0 * (number + 1)
    return None


def test_r6_adds_up_the_power_in_the_pauses_of_a_pulsed_heater():
    """H01: ten seconds in one piece would come only when the chamber is too hot for any pulse."""
    bench = Bench().heated()
    assert pulsing(bench, False, 600.0) is None
    within_s = pulsing(bench, True)
    assert within_s is not None
    assert within_s <= 40.0
    assert bench.trip["rule"] == "R6"


def overshot(bench, times):
    for _ in range(times):
        bench.chamber_c = [58.2, 57.0]  # 3 above 55, below the ceiling of 60
        bench.permit()
        bench.step()
        assert not bench.out.switch_1
        bench.chamber_c = [54.0, 54.0]
        bench.step(12.0)


def test_r13_cuts_three_degrees_above_the_setpoint_and_trips_at_the_third_time():
    """H01 without a meter: at full power the stored heat of the element alone passes a ceiling."""
    bench = Bench().heated()
    bench.chamber_c = [54.0, 54.0]
    bench.step(4.0)
    overshot(bench, 2)
    assert bench.trip is None
    overshot(bench, 1)
    assert bench.trip["rule"] == "R13"


def test_r13_goes_on_counting_when_the_lease_lapses_in_between():
    """The monitor withholds permits above the ceiling (R8): that is no new beginning."""
    bench = Bench().heated()
    bench.chamber_c = [54.0, 54.0]
    bench.step(4.0)
    overshot(bench, 2)
    bench.step(40.0)
    assert not bench.is_permitted
    bench.permit()
    bench.step(6.0)
    overshot(bench, 1)
    assert bench.trip["rule"] == "R13"


def test_r13_does_not_count_a_setpoint_that_was_lowered_onto_a_hot_oven():
    """A weaker spool was put in."""
    bench = Bench().heated()
    for setpoint_c in (40.0, 38.0, 36.0, 34.0):
        bench.chamber_c = [54.0, 54.0]
        bench.permit(setpoint_c=setpoint_c)
        bench.step(4.0)
        bench.chamber_c = [setpoint_c - 1.0, setpoint_c - 1.0]
        bench.step(12.0)
    assert bench.trip is None


def test_a_permit_of_no_heat_opens_both_switches_at_once():
    """B-04: it is how the monitor holds; a pulse that has begun does not go on to its end."""
    bench = Bench().heated()
    bench.step(20.0)
    assert bench.is_on
    assert bench.permit(setpoint_c=0.0, lease_s=6.0) is None
    bench.step()
    assert not bench.out.switch_1
    assert not bench.out.switch_2
    assert bench.states[-1]["state"] == "hold"
    assert bench.is_permitted
    bench.step(8.0)
    assert not bench.is_permitted


def test_after_a_permit_of_no_heat_the_same_cycle_goes_on_checked_afresh():
    """B-04: on a state published after it."""
    bench = Bench().heated()
    bench.power_w = 0.0  # with a meter each switch is closed alone first
    bench.permit(setpoint_c=0.0, lease_s=6.0)
    bench.step(4.0)
    for _ in range(4):
        assert bench.permit() is None
        bench.step(2.0)
        assert bench.states[-1]["state"] == "preheat_check"
        bench.step(8.0)
    bench.step(2.0)
    assert bench.out.duty > 0.0


def test_a_permit_of_no_heat_heats_not_even_a_frozen_chamber():
    """Below 0 degC a set-point of 0 would be one above what is measured."""
    bench = Bench()
    bench.chamber_c = [-4.0, -4.0]
    bench.arm()
    assert bench.permit(setpoint_c=0.0) is None
    bench.step(20.0)
    assert not bench.out.switch_1


def test_a_duty_that_falls_to_nothing_ends_the_pulse_that_has_begun():
    """What is told as no heat must be none: the monitor takes power without heat for a welded switch (R6)."""
    pulser = Pulser(120_000, 10_000)
    assert pulser.is_on(0, 1.0)
    assert pulser.is_on(4000, 0.0)  # shorter than its switch bears
    assert not pulser.is_on(10_000, 0.0)
    assert not pulser.is_on(60_000, 0.5)  # one pulse a window
    assert pulser.is_on(120_000, 0.5)


def test_a_permit_from_before_the_door_was_opened_is_refused_also_where_none_lived():
    """What lies inside may have changed since it was decided on."""
    bench = Bench().heated()
    bench.step(40.0)  # the lease has lapsed
    assert not bench.is_permitted
    old = bench.newest_seq
    while bench.newest_seq == old:
        bench.step(2.0)
    old = bench.newest_seq
    bench.door_open = True
    bench.step(2.0)
    bench.door_open = False
    bench.step(2.0)
    assert "before heat was last taken away" in bench.permit(state_seq=old)


def half_an_hour_on():
    """At its set-point, its arming lapsed."""
    bench = Bench().heated()
    bench.chamber_c = [54.0, 54.0]
    for number in range(180):
        bench.permit()
        bench.chamber_c[0] = 54.0 + 0.5 * (number % 2)
        bench.step(10.0)
    return bench


def test_a_lapsed_run_may_be_gone_on_with_as_a_new_cycle_without_another_press():
    """B-22: from the phone, within five minutes; the arming of then still counts."""
    bench = half_an_hour_on()
    bench.step(120.0)  # armed no longer, and the lease has lapsed
    assert bench.states[-1]["armed_s"] == 0
    assert bench.permit(cycle="c2") is None


@pytest.mark.parametrize("spoil", ["stop", "late", "door"])
def test_a_run_that_was_stopped_or_opened_or_left_is_gone_on_with_only_by_the_button(spoil):
    """B-17, B-22."""
    bench = half_an_hour_on()
    bench.step(40.0)
    if spoil == "stop":
        bench.order("stop", b"{}")
    elif spoil == "late":
        bench.step(310.0)
    else:
        bench.door_open = True
        bench.step(2.0)
        bench.door_open = False
    bench.step(12.0)
    assert "not armed" in bench.permit(cycle="c2")
