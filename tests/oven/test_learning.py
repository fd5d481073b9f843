"""What a commissioning run tells, against the truth of the simulated chamber (A-39, P07)."""

from dataclasses import replace

import pytest
from support.oven_learning import GOOD, HEAVY, KITCHEN, LIGHT, Proportional, Thermostat, commissioned, truth

from monitor.model.cycle import Ending
from monitor.model.oven_run import RunKind
from monitor.oven.learning import findings

# With the tolerance of rate and time constant: heavy walls are still cold while the air counts as warm, so
# their loss on the way up is taken for more than it is, and the chamber for lighter.
OVENS = {"good": (GOOD, 0.2), "light": (LIGHT, 0.2), "heavy": (HEAVY, 0.45)}


@pytest.mark.parametrize("name", OVENS)
def test_power_gain_and_lump_are_found(name):
    """Power and gain within 8 %, rate and time constant as stated, against what the settled chamber holds."""
    parameters, tolerance = OVENS[name]
    run = commissioned(parameters)
    found, true = findings(run), truth(parameters)
    assert found.problems == ()
    assert found.is_reached
    assert found.duty.value == pytest.approx(29.0 / true["gain_c"], rel=0.08)
    assert found.power_w.value == pytest.approx(parameters.heater_w * 29.0 / true["gain_c"], rel=0.08)
    assert found.rate_c_s.value * found.time_constant_s.value == pytest.approx(true["gain_c"], rel=0.08)
    assert found.rate_c_s.value == pytest.approx(true["rate_c_s"], rel=tolerance)
    assert found.time_constant_s.value == pytest.approx(true["time_constant_s"], rel=tolerance)
    assert all(e.is_sure for e in (found.rate_c_s, found.power_w, found.fastest_c_s, found.overshoot_c))


def test_overshoot_swing_and_speed_are_those_of_the_trace():
    """Peak over the set-point, peak to peak while held, the steepest minute, the sensors' difference."""
    run = commissioned(KITCHEN, control=Thermostat(50.0), noise_c=0.0, offset_c=1.5)
    found = findings(run)
    heats = [(p.at_s, p.chamber_c[0]) for p in run.trace]
    late = [heat for at_s, heat in heats if 2200.0 <= at_s <= 3600.0]
    assert found.overshoot_c.value == pytest.approx(max(heat for _, heat in heats) - 50.0, abs=0.01)
    assert found.swing_c.value == pytest.approx(max(late) - min(late), abs=1.0)
    assert found.disagree_c.value == pytest.approx(1.5, abs=1e-6)
    minutes = [(b - a) / 60.0 for (t, a), (u, b) in zip(heats, heats[15:], strict=False) if u - t <= 60.0]
    assert found.fastest_c_s.value == pytest.approx(max(minutes), rel=0.15)
    assert 4.0 <= found.lag_s.value <= 60.0  # its heavy element goes on giving


def test_a_loaded_run_is_slower_than_an_empty_one():
    """Two spools hold as much heat as the walls; where they have not settled, it is said."""
    empty, loaded = findings(commissioned()), findings(commissioned(spools=2, kind=RunKind.LOADED))
    assert loaded.reach_s.value > 1.15 * empty.reach_s.value
    assert loaded.rate_c_s.value < 0.85 * empty.rate_c_s.value


def test_noise_moves_little():
    """Sensors ten times noisier: the figures of the lump stay within a tenth, overshoot within the noise."""
    calm, noisy = findings(commissioned()), findings(commissioned(noise_c=0.2, seed=7))
    assert noisy.problems == ()
    assert noisy.rate_c_s.value == pytest.approx(calm.rate_c_s.value, rel=0.1)
    assert noisy.time_constant_s.value == pytest.approx(calm.time_constant_s.value, rel=0.1)
    assert noisy.overshoot_c.value == pytest.approx(calm.overshoot_c.value, abs=1.0)


@pytest.mark.parametrize(
    ("each", "said"),
    [
        (lambda t: "door" if 1500.0 <= t < 1560.0 else None, "door"),
        (lambda t: "silent" if 1500.0 <= t < 1800.0 else None, "not heard for 5"),
        (lambda t: "silent" if t > 300.0 and t % 60.0 < 30.0 else None, "not heard"),
    ],
)
def test_a_door_or_a_gap_in_mid_run_means_run_again(each, said):
    """Figures from such a run would be wrong without anybody seeing it."""
    problems = findings(commissioned(each=each)).problems
    assert any(said in line for line in problems), problems


def test_a_short_gap_does_not_spoil_it():
    """Half a minute without a state is nothing."""
    silent = commissioned(each=lambda t: "silent" if 1500.0 <= t < 1530.0 else None)
    assert findings(silent).problems == ()


@pytest.mark.parametrize(
    ("members", "said"),
    [
        ({"ending": Ending.STOPPED, "why": "Stopped by Ada"}, "Stopped by Ada"),
        ({"ending": Ending.TRIPPED, "rule": "R1", "why": "A sensor is open."}, "A sensor is open."),
        ({"ending": None}, "did not come to its end"),
        ({"room_c": 8.0}, "start it cold"),  # by the room's own sensor
    ],
)
def test_a_run_that_was_cut_short_or_began_warm_does_not_count(members, said):
    """A sensor that was unplugged for the proof test tells nothing of the oven."""
    assert any(said in line for line in findings(replace(commissioned(), **members)).problems)


def test_too_short_a_hold_is_said_and_no_heat_at_all():
    """Twenty minutes are needed; a run without heat tells nothing at all."""
    assert "20 min are needed" in " ".join(findings(commissioned(duration_s=1200.0)).problems)
    cold = replace(commissioned(), trace=tuple(replace(p, heater=0.0) for p in commissioned().trace))
    found = findings(cold)
    assert found.problems
    assert found.overshoot_c.value is None
    assert findings(replace(cold, trace=())).problems


def test_an_oven_that_never_gets_there_is_a_finding_not_a_fault_of_the_run():
    """R11 ends it, and that is what is told."""
    weak = replace(GOOD, heater_w=50.0)
    run = commissioned(weak, control=Proportional(50.0), ending=Ending.STOPPED_BY_RULE, rule="R11")
    found = findings(run)
    assert found.problems == ()
    assert not found.is_reached


def test_a_meter_is_not_needed_for_temperatures():
    """Without one the duty that the controller tells stands for the power."""
    run = commissioned()
    blind = replace(run, trace=tuple(replace(p, power_w=None) for p in run.trace))
    found = findings(blind)
    assert found.problems == ()
    assert found.power_w.value is None
    assert "not measured" in found.power_w.why
    assert found.rate_c_s.value == pytest.approx(findings(run).rate_c_s.value, rel=0.1)
