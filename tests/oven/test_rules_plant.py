"""R14, R19, R20 and the facts around an oven: nominal, boundary, noise, gap and the fault (B-01)."""

from dataclasses import replace

import pytest
from support.oven_pair import NYLON, PARAMETERS, RELAY_PARAMETERS, site
from support.oven_scene import PERMIT, course, heated, noise, said

from monitor.model.cycle import LoadItem
from monitor.model.oven import LivingPermit, OvenPhase
from monitor.oven import rules_plant as rules
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Detector, Relay
from monitor.oven.verdict import Level

STEADY = heated(120, lambda _: 55.0)


@pytest.mark.parametrize(("still_s", "level"), [(0, 0), (8, 0), (10, 5), (60, 5)])
def test_r14_trips_when_heat_goes_without_moving_air(still_s, level):
    """H21: boundary at ten seconds."""
    window = heated(120, lambda _: 55.0, fan=lambda t: t < 120 - still_s)
    assert said(rules.fan_lost, window) == level


def test_r14_forgives_a_flicker_and_a_fan_that_rests_without_heat():
    """Noise: one sample without fan; and no heat needs no fan."""
    assert said(rules.fan_lost, heated(120, lambda _: 55.0, fan=lambda t: t != 100)) is Level.FINE
    assert said(rules.fan_lost, heated(120, lambda _: 55.0, fan=False, heater=0.0)) is Level.FINE
    assert (
        said(
            rules.fan_lost,
            heated(120, lambda _: 55.0, fan=False),
            parameters=OvenParameters(max_c=75.0, has_fan=False),
        )
        is Level.FINE
    )


def test_r14_sees_layers_that_form():
    """H21: the fan says that it turns, but one sensor rises and the other does not."""
    split = heated(400, lambda _: 0, chamber_c=lambda t: (30 + 0.035 * t + noise(), 30.0 + noise()))
    assert said(rules.fan_lost, split) is Level.TRIP
    alike = heated(400, lambda t: 30 + 0.035 * t)
    assert said(rules.fan_lost, alike) is Level.FINE


def sinking(c_per_s):
    """From 58 °C, beginning 200 s before the last sample."""
    return lambda t: 58.0 - c_per_s * max(t - 200.0, 0.0)


@pytest.mark.parametrize(
    ("high", "low", "level"),
    [
        (sinking(0.0), sinking(0.04), Level.TRIP),
        (sinking(0.0), sinking(0.01), Level.FINE),  # a load that is still cold
        (lambda t: 30.0 + 0.10 * t, lambda t: 30.0 + 0.05 * t, Level.FINE),  # warming, unevenly
        (sinking(0.0), lambda t: 58.0 - 10.0 * (t > 340.0), Level.FINE),  # R10: a sensor that jumps
        (
            sinking(0.0),
            lambda t: 21.0 + 37.0 * 0.5 ** (max(t - 300.0, 0.0) / 20.0),
            Level.FINE,
        ),  # R4: fell out
        (sinking(0.05), sinking(0.10), Level.FINE),  # both cool
    ],
)
def test_r14_tells_layers_from_what_other_rules_find(high, low, level):
    """H21: the hot sensor keeps the set-point while the air round the load cools."""
    course = heated(400, lambda _: 0, chamber_c=lambda t: (high(t) + noise(), low(t) + noise()))
    assert said(rules.fan_lost, course) is level


def test_r14_sees_no_layers_after_a_look_inside():
    """Two sensors of unlike pace cross while they cool and warm again: found in a nominal cycle."""
    opened = heated(
        400, lambda _: 0, door_open=lambda t: 290.0 < t < 310.0,
        chamber_c=lambda t: (58.0 - 25.0 * (290.0 < t < 330.0), sinking(0.04)(t)),
    )  # fmt: skip
    assert said(rules.fan_lost, opened) is Level.FINE


def test_r14_sees_no_layers_without_heat():
    cold = heated(400, lambda _: 0, heater=0.0, chamber_c=lambda t: (58.0, sinking(0.04)(t)))
    assert said(rules.fan_lost, cold) is Level.FINE


def test_r14_does_not_judge_layers_across_a_gap_but_counts_a_dead_fan():
    """A rate needs readings; a fan that stood before and after a silence stood."""
    split = heated(400, lambda _: 0, chamber_c=lambda t: (30 + 0.035 * t, 30.0), gap=(230, 390))
    assert said(rules.fan_lost, split) is Level.FINE
    assert said(rules.fan_lost, heated(60, lambda _: 55.0, fan=False, gap=(2, 58))) is Level.TRIP


@pytest.mark.parametrize(("late_s", "level"), [(0, 0), (5, 0), (15.0, 0), (15.1, 3), (50.0, 3), (50.1, 5)])
def test_r19_holds_after_three_periods_and_trips_after_ten(late_s, level):
    """H06: a program that did not look for so long does not know what it has missed."""
    assert said(rules.late, STEADY, late_s=late_s) == level


def test_r19_lets_an_idle_program_be_late_and_only_marks_a_clock_step():
    """B-25: nothing heats, or the cycle goes by its own time."""
    assert said(rules.late, STEADY, OvenPhase.IDLE, cycle=None, late_s=600.0) is Level.FINE
    assert said(rules.late, STEADY, clock_step_s=-3600.0) is Level.NOTICE


def lease(*, heater, permit, gap=None):
    return course(60, lambda t: {"heater": heater(t), "permit": permit(t)}, gap=gap)


def test_r20_is_quiet_under_a_permit_and_without_heat():
    """Nominal."""
    assert said(rules.heats_without_permit, STEADY) is Level.FINE
    assert said(rules.heats_without_permit, course(60, lambda _: {})) is Level.FINE


@pytest.mark.parametrize(("samples", "level"), [(1, 0), (2, 5), (9, 5)])
def test_r20_trips_on_heat_without_a_permit(samples, level):
    """The lease is the controller's own; one state may have been taken between two things."""
    ends = lambda t: PERMIT if t <= 60 - 2 * samples else None  # noqa: E731
    assert said(rules.heats_without_permit, lease(heater=lambda _: 0.5, permit=ends), OvenPhase.IDLE) == level


def test_r20_acts_across_a_gap_and_on_a_lease_that_nobody_gave():
    """Heat before and after a silence without a permit; and more left than 60 s is a broken clock."""
    silent = lease(heater=lambda _: 1.0, permit=lambda _: None, gap=(2, 60))
    assert said(rules.heats_without_permit, silent, OvenPhase.IDLE) is Level.TRIP
    for left_s, level in ((60.0, Level.FINE), (60.1, Level.TRIP)):
        long = LivingPermit(cycle="c1", seq=1, left_s=left_s)
        assert (
            said(rules.heats_without_permit, lease(heater=lambda _: 0.0, permit=lambda _, p=long: p)) is level
        )


def test_an_open_door_holds():
    """B-04: told by the controller, by a switch of another node, or by a controller that holds itself."""
    assert said(rules.door_open, STEADY) is Level.FINE
    assert said(rules.door_open, heated(20, lambda _: 50.0, door_open=True)) is Level.HOLD
    assert said(rules.door_open, STEADY, site=site(door_open=True)) is Level.HOLD
    assert said(rules.door_open, heated(20, lambda _: 50.0, state=OvenPhase.HOLD)) is Level.HOLD


@pytest.mark.parametrize(
    ("phase", "permit", "level"),
    [
        (OvenPhase.DRYING, None, Level.HOLD),
        (OvenPhase.HOLD, None, Level.FINE),
        (OvenPhase.PREHEAT_CHECK, None, Level.FINE),
        (OvenPhase.HOLD, PERMIT, Level.HOLD),
    ],
)
def test_a_controller_that_waits_for_a_permit_after_its_door_is_given_one(phase, permit, level):
    """B-04: it says hold until then; held by that, it would wait for five minutes and trip."""
    window = heated(20, lambda _: 50.0, state=OvenPhase.HOLD, permit=permit, heater=0.0)
    assert said(rules.door_open, window, phase) is level


def test_an_open_cutout_trips():
    """Hardware has found what software did not."""
    assert said(rules.cutout_open, STEADY) is Level.FINE
    assert said(rules.cutout_open, heated(20, lambda _: 50.0, cutout_ok=False)) is Level.TRIP


def test_a_detector_that_alarms_trips_and_one_that_is_silent_does_not():
    """B-44: a lost heartbeat only bars a new unattended start."""
    silent = site(detector=Detector(is_heard=False, is_alarming=False))
    assert said(rules.detector_alarm, STEADY, site=silent) is Level.FINE
    alarming = site(detector=Detector(is_heard=True, is_alarming=True))
    assert said(rules.detector_alarm, STEADY, site=alarming) is Level.TRIP


def test_no_store_no_heat():
    """B-26."""
    assert said(rules.store_gone, STEADY) is Level.FINE
    assert said(rules.store_gone, STEADY, site=site(is_storage_writable=False)) is Level.STOP


def test_a_permit_of_another_program_ends_the_cycle():
    """H39."""
    assert said(rules.second_owner, STEADY) is Level.FINE
    foreign = heated(20, lambda _: 50.0, permit=replace(PERMIT, cycle="other"))
    assert said(rules.second_owner, foreign) is Level.STOP
    assert said(rules.second_owner, STEADY, site=site(is_sole_owner=False)) is Level.STOP


def test_a_weaker_spool_put_in_ends_the_cycle():
    """B-14: 55 °C are fine for PETG and nylon, and for nothing that stands 50 °C."""
    weak = LoadItem(key="s3", name="PLA", material_limit_c=50.0, body_limit_c=65.0)
    assert said(rules.load_too_weak, STEADY, site=site(load=(NYLON,))) is Level.FINE
    assert said(rules.load_too_weak, STEADY, site=site(load=(NYLON, weak))) is Level.STOP


def test_a_cooling_oven_without_its_fan_is_told_of():
    """B-19."""
    still = course(60, lambda _: {"chamber_c": (50.0,), "fan": False})
    assert said(rules.cooling_without_fan, still, OvenPhase.COOLING) is Level.NOTICE
    cool = course(60, lambda _: {"chamber_c": (40.0,), "fan": False})
    assert said(rules.cooling_without_fan, cool, OvenPhase.COOLING) is Level.FINE


@pytest.mark.parametrize(
    ("relay", "level"),
    [
        (Relay(counts_down=True, stays_off_after_power_loss=True), 0),
        (Relay(counts_down=None, stays_off_after_power_loss=True), 4),
        (Relay(counts_down=True, stays_off_after_power_loss=False), 4),
        (Relay(counts_down=True, stays_off_after_power_loss=None), 0),  # an attended cycle
        (None, 4),
    ],
)
def test_a_relay_that_lost_its_countdown_is_not_kept_on(relay, level):
    """B-20, B-24: what cannot be verified counts as no."""
    assert said(rules.relay_unfit, STEADY, parameters=RELAY_PARAMETERS, site=site(relay=relay)) == level
    assert said(rules.relay_unfit, STEADY, parameters=PARAMETERS, site=site(relay=relay)) is Level.FINE
