"""What a run means for the rules and for materials (H19, R13, B-52)."""

import math
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.oven_joint import LEARNED, NYLON, Joint
from support.oven_learning import GOOD, KITCHEN, Thermostat, commissioned

from monitor.model.cycle import LoadItem
from monitor.model.oven import OvenPhase
from monitor.oven import hard
from monitor.oven.fitness import (
    DISAGREE_MOST_C,
    OVERSHOOT_MOST_C,
    Learned,
    energy_wh,
    fit,
    learned,
    unfit_for_all,
    why_unfit,
    with_learned,
)
from monitor.oven.learning import findings
from monitor.oven.parameters import BOUNDS, OvenParameters

OVEN = OvenParameters(max_c=80.0, hard_limit_c=90.0)
TIMES = st.none() | st.floats(-1e9, 1e9)


def known_of(run, *, spools_max=2):
    return learned(run.run, findings(run), setpoint_c=50.0, room_c=21.0, spools_max=spools_max, oven="x")


@given(overshoot_c=st.floats(0.0, 1e6), lag=TIMES, rate=TIMES, fastest=TIMES, constant=TIMES, spread=TIMES)
def test_nothing_that_is_learned_leaves_its_bounds_or_touches_a_limit(
    overshoot_c, lag, rate, fastest, constant, spread
):
    """B-52: whatever a run says, limits of temperature, time and lease are what they were."""
    known = Learned(
        run="c1", overshoot_c=overshoot_c, thermal_lag_s=lag, full_duty_rate_c_s=rate,
        fastest_rate_c_s=fastest, time_constant_s=constant, spread_c=spread,
    )  # fmt: skip
    after = with_learned(OVEN, known)
    for name, (lowest, highest) in BOUNDS.items():
        assert lowest <= getattr(after, name) <= highest
    moved = {spec.name for spec in fields(OVEN) if getattr(OVEN, spec.name) != getattr(after, spec.name)}
    assert moved <= {
        "overshoot_c", "thermal_lag_s", "full_duty_rate_c_s", "fastest_rate_c_s", "time_constant_s", "spread_c",
    }  # fmt: skip
    assert after.guard_c >= hard.MIN_GUARD_C


def test_p07_h19_a_kitchen_oven_with_a_swing_is_refused_for_pla_and_pva_and_may_dry_abs():
    """P07, H19: hot end within the limit, cool end still warm enough; by the weakest thing inside."""
    known = known_of(commissioned(KITCHEN, control=Thermostat(50.0)))
    assert known.overshoot_c >= 14.0
    assert known.swing_c == pytest.approx(18.4, abs=3.0)
    after = with_learned(OVEN, known)
    assert not fit("PLA", 50.0, after, known.swing_c).is_fit
    assert not fit("PVA", 55.0, after, known.swing_c).is_fit
    assert fit("ABS", 80.0, after, known.swing_c).is_fit
    abs_ = LoadItem(key="a", name="Black ABS", material_limit_c=80.0, body_limit_c=90.0)
    pla = LoadItem(key="b", name="Grey PLA", material_limit_c=50.0, body_limit_c=90.0)
    assert why_unfit((abs_,), after, known) == ""
    assert "Grey PLA" in why_unfit((abs_, pla), after, known)
    assert why_unfit((pla,), OVEN, None) == ""


def test_a_good_oven_is_fit_for_pla_and_its_overshoot_has_a_margin():
    """Half a degree of overshoot is learned as two at most, never as none."""
    run = commissioned(GOOD)
    known = known_of(run)
    assert findings(run).overshoot_c.value + 1.0 <= known.overshoot_c <= 2.0
    assert fit("PLA", 50.0, with_learned(OVEN, known), known.swing_c).is_fit
    assert known.thermal_lag_s is None or 60.0 <= known.thermal_lag_s <= 300.0
    assert known.spread_c == 3.0


def test_beyond_the_hard_bounds_it_is_unfit_for_all():
    """Overshoot, sensors that disagree, a set-point that is never reached."""
    wild = findings(commissioned(KITCHEN, control=Thermostat(50.0, band_c=12.0, lag_s=240.0)))
    assert wild.overshoot_c.value > OVERSHOOT_MOST_C
    assert "over its set-point" in unfit_for_all(wild)
    apart = findings(commissioned(GOOD, offset_c=DISAGREE_MOST_C + 1.0))
    assert "apart" in unfit_for_all(apart)
    assert unfit_for_all(findings(commissioned(GOOD))) == ""
    weak = findings(commissioned(GOOD, setpoint_c=95.0, duration_s=900.0))
    assert "did not reach" in unfit_for_all(weak)


def test_a_cycle_with_a_full_load_goes_through_under_what_an_empty_run_taught():
    """Tighter rules must not trip a sound oven: four spools, a cold room, two hours."""
    figures = with_learned(LEARNED, known_of(commissioned(GOOD), spools_max=4))
    assert figures.spread_c < LEARNED.spread_c
    joint = Joint(parameters=figures, load=(NYLON,), spools=4, room_c=12.0).started(duration_s=7200.0)
    joint.run(7200.0 + 1800.0)
    assert joint.state.trip is None, joint.state.trip
    assert joint.phase is OvenPhase.DONE or joint.phase is OvenPhase.COOLING
    assert joint.state.ended.ending == "time_up"


def test_energy_of_a_drying_is_what_the_chamber_takes_and_none_without_a_meter():
    """R16: four hours at the very height of the run, with two spools."""
    known = known_of(commissioned(GOOD))
    told = energy_wh(known, above_c=29.0, duration_s=4 * 3600.0, spools=2)
    assert told == pytest.approx(4.0 * known.steady_w, rel=0.4)
    assert told > 4.0 * known.steady_w
    assert energy_wh(None, above_c=29.0, duration_s=60.0, spools=0) is None
    assert energy_wh(Learned(run="c", overshoot_c=1.0), above_c=29.0, duration_s=60.0, spools=0) is None
    assert math.isfinite(told)
