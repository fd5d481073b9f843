"""A trip locks, first-out, through a power cut; arming lapses; a reset starts nothing (B-03, B-10, B-30, B-31)."""

import pytest
from support.oven_bench import Bench


def tripped(bench, rule="CUTOUT"):
    """Lock by the cut-out (safety, local) or by a sensor (may be reset from afar)."""
    if rule == "CUTOUT":
        bench.cutout_ok = False
        bench.step()
        bench.cutout_ok = True
    else:
        bench.chamber_c[0] = None
        bench.step(8.0)
        bench.chamber_c[0] = 24.0
    bench.step(4.0)
    assert bench.trip["rule"] == rule
    return bench


def test_a_trip_takes_all_heat_and_stays():
    bench = tripped(Bench().heated())
    bench.step(3600.0)
    assert not bench.out.switch_1
    assert bench.out.local_alarm
    assert bench.states[-1]["state"] == "tripped"
    assert bench.states[-1]["trip"]["rule"] == "CUTOUT"


def test_the_first_out_stays_when_others_follow():
    """A-25: the first one is what happened, the others are what came of it."""
    bench = tripped(Bench().heated())
    first = bench.trip["id"]
    bench.chamber_c[0] = None
    bench.step(120.0)
    assert bench.trip["id"] == first
    assert bench.trip["rule"] == "CUTOUT"


@pytest.mark.parametrize(("rule", "remote"), [("CUTOUT", False), ("R1", True)])
def test_a_trip_outlives_a_power_cut(rule, remote):
    """B-30: switching off and on is no reset."""
    kept = tripped(Bench().heated(), rule).controller.to_keep()
    bench = Bench(kept=kept, boot="b222")
    assert bench.states[-1]["state"] == "tripped"
    assert bench.trip["rule"] == rule
    assert bench.trip["remote_reset"] is remote


@pytest.mark.parametrize("kept", [b"nonsense", b"{}", b"[1]", b"\xff" * 5000])
def test_a_memory_that_cannot_be_read_locks(kept):
    assert Bench(kept=kept).trip["rule"] == "R19"


def test_nothing_kept_is_no_trip():
    bench = Bench(kept=Bench().controller.to_keep())
    assert bench.trip is None


def test_a_remote_reset_opens_what_may_be_opened_from_afar_and_starts_nothing():
    """B-31: neither the old cycle nor anything else heats afterwards."""
    bench = tripped(Bench().heated(), "R1")
    assert bench.reset() is None
    assert bench.trip is None
    bench.step(60.0)
    assert not bench.out.switch_1
    assert not bench.out.local_alarm
    assert "has ended" in bench.permit()
    assert "not armed" in bench.permit(cycle="c2")


def test_a_safety_trip_needs_somebody_at_the_oven():
    """B-30: R3 to R7, R9, R14 and the cut-out cannot be reset from afar alone."""
    bench = tripped(Bench().heated())
    assert bench.trip["remote_reset"] is False
    assert "button" in bench.reset()
    bench.arm()
    assert bench.reset() is None
    assert bench.trip is None


def test_the_button_pressed_three_minutes_ago_is_nobody_there():
    bench = tripped(Bench().heated())
    bench.arm()
    bench.step(180.0)
    assert "button" in bench.reset()


def test_the_button_pressed_while_tripped_does_not_arm():
    bench = tripped(Bench().heated())
    bench.arm()
    assert bench.reset() is None
    bench.step()
    assert bench.states[-1]["armed_s"] == 0


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"boot": "b000"}, "another boot"),
        ({"trip": "x-1"}, "no such trip"),
        ({"retained": True}, "retained"),
        ({"who": ""}, "who"),
        ({"trip": None}, "trip"),
    ],
)
def test_a_reset_that_may_not_is_refused(changes, why):
    bench = tripped(Bench().heated(), "R1")
    assert why in bench.reset(**changes)
    assert bench.trip is not None


def test_a_reset_without_a_trip_is_refused():
    assert "no such trip" in Bench().reset()


def test_a_reset_needs_a_cool_chamber():
    """B-30: T < 45 degC."""
    bench = tripped(Bench().heated(), "R1")
    bench.chamber_c = [45.5, 44.0]
    bench.step()
    assert "45" in bench.reset()
    bench.chamber_c = [44.5, 44.0]
    bench.step()
    assert bench.reset() is None


def test_a_reset_needs_the_cause_gone():
    bench = tripped(Bench().heated(), "R1")
    bench.chamber_c[0] = None
    bench.step(10.0)
    assert "still there" in bench.reset()


def test_arming_lapses_after_half_an_hour():
    """B-10."""
    bench = Bench()
    bench.arm()
    bench.step(1700.0)
    assert bench.controller.arming.is_armed(bench.now_ms)
    bench.step(110.0)
    assert "not armed" in bench.permit()


def test_arming_lapses_when_the_door_opens():
    """B-10: what lies inside may no longer be what was looked at."""
    bench = Bench()
    bench.arm()
    bench.door_open = True
    bench.step()
    bench.door_open = False
    bench.step()
    assert "not armed" in bench.permit()


def test_a_button_with_the_door_open_does_not_arm():
    bench = Bench()
    bench.door_open = True
    bench.arm()
    bench.door_open = False
    bench.step()
    assert bench.states[-1]["armed_s"] == 0


def test_a_stuck_button_does_not_arm():
    """Neither at power-up nor again and again."""
    bench = Bench(arm_pressed=True)
    bench.step(10.0)
    assert bench.states[-1]["armed_s"] == 0
    bench.arm_pressed = False
    bench.arm()
    bench.arm_pressed = True
    bench.step(1900.0)
    assert bench.states[-1]["armed_s"] == 0


def test_armed_is_shown_with_its_time_left():
    """B-12."""
    bench = Bench()
    bench.arm()
    assert bench.states[-1]["state"] == "armed"
    assert 1790 <= bench.states[-1]["armed_s"] <= 1800


def test_a_press_while_tripped_is_shown_as_long_as_it_counts_for_the_reset():
    """B-30: the monitor has no other way to know that somebody stands there."""
    bench = tripped(Bench().heated())
    assert bench.states[-1]["armed_s"] == 0
    bench.arm()
    bench.step(10.0)
    assert 100 <= bench.states[-1]["armed_s"] <= 120
    bench.step(120.0)
    assert bench.states[-1]["armed_s"] == 0
