"""R11 to R13 and R15 to R17: does the cycle go as such a cycle goes?"""

import math
from itertools import pairwise

from monitor.model.oven import OvenPhase
from monitor.oven.verdict import Level, Scene, Verdict
from monitor.oven.window import Sample, duties

REACHED_WITHIN_C = 2.0  # a set-point counts as reached here: a proportional control may stay so far below
_SHORTEST_WARM_UP_S = 600.0  # R11: nobody is warned earlier
_NEAR_THE_TOP = 0.95  # R11: share of what the heater can hold; nearer to it the time has no meaning
_OVERSHOOT_SAMPLES = 2  # R13
_OVERTIME = 1.10  # R15
_SWITCHED = 0.5  # R17: a change of duty that is one from off to on or back


def not_reaching(scene: Scene) -> Verdict | None:
    """R11: three times the time that this oven needs have passed."""
    cycle = scene.cycle
    if cycle is None or scene.phase is not OvenPhase.HEATING:
        return None
    elapsed_s = scene.now_mono_s - cycle.warm_from_mono_s
    if elapsed_s <= scene.parameters.warm_up_factor * warm_up_s(scene):
        return None
    what = (
        f"It has not reached {cycle.setpoint_c:g} °C in {elapsed_s / 60.0:.0f} min. "
        "Is the door open, the room very cold, or the heater dead?"
    )
    return Verdict(rule="R11", level=Level.STOP, what=what)


def warm_up_s(scene: Scene) -> float:
    """Time from where the warming began to the set-point at full duty, by the learned model [s]."""
    cycle, figures = scene.cycle, scene.parameters
    assert cycle is not None
    top_c = figures.full_duty_rate_c_s * figures.time_constant_s
    ambient_c = scene.ambient_c()
    begun_c = min(cycle.warm_from_c - ambient_c, _NEAR_THE_TOP * top_c)
    asked_c = min(cycle.setpoint_c - ambient_c, _NEAR_THE_TOP * top_c)
    if asked_c <= begun_c:
        return _SHORTEST_WARM_UP_S
    time_s = figures.time_constant_s * math.log((top_c - begun_c) / (top_c - asked_c))
    return max(time_s + figures.thermal_lag_s, _SHORTEST_WARM_UP_S)


def sagging(scene: Scene) -> Verdict | None:
    """R12: it was at its set-point and has been too far below it for too long."""
    cycle, figures = scene.cycle, scene.parameters
    if cycle is None or scene.phase is not OvenPhase.DRYING:
        return None
    # At every step: most of the time nothing of the window lies below the band, and no sum is needed.
    if not scene.window.is_below(cycle.setpoint_c - figures.sag_c):
        return None
    held = [s for s in scene.window.samples if s.heard_mono_s >= cycle.phase_since_mono_s]
    missed_c_s = sum(
        _below_c(earlier, cycle.setpoint_c, figures.sag_c) * (later.at_s - earlier.at_s)
        for earlier, later in pairwise(held)
    )
    if missed_c_s <= figures.sag_allowance_c_s:
        return None
    what = f"It no longer holds {cycle.setpoint_c:g} °C: {missed_c_s / 60.0:.0f} °C·min are missing."
    return Verdict(rule="R12", level=Level.STOP, what=what)


def _below_c(sample: Sample, setpoint_c: float, band_c: float) -> float:
    """How far below the set-point, if it is below its band at all [°C]."""
    if sample.hottest_c is None or sample.hottest_c >= setpoint_c - band_c:
        return 0.0
    return setpoint_c - sample.hottest_c


def overshooting(scene: Scene) -> Verdict | None:
    """R13: too far above the set-point: a notice and a lower set-point, the second time a trip."""
    cycle = scene.cycle
    if cycle is None or cycle.tally.is_overshooting or not is_overshot(scene):
        return None
    allowed_c = overshoot_allowed_c(scene)
    what = f"The chamber went more than {allowed_c:g} °C over its set-point of {cycle.asked_setpoint_c:g} °C."
    level = Level.TRIP if cycle.tally.overshoots else Level.NOTICE
    return Verdict(rule="R13", level=level, what=what)


def is_overshot(scene: Scene) -> bool:
    """Whether the newest two samples lie too far above what was asked for."""
    if scene.cycle is None:
        return False
    limit_c = scene.cycle.asked_setpoint_c + overshoot_allowed_c(scene)
    heights = [s.hottest_c for s in scene.window.samples[-_OVERSHOOT_SAMPLES:]]
    return len(heights) == _OVERSHOOT_SAMPLES and all(h is not None and h > limit_c for h in heights)


def overshoot_allowed_c(scene: Scene) -> float:
    """R13: 5 °C, or the guard band where that is thinner [°C]."""
    return min(scene.parameters.overshoot_notice_c, scene.parameters.guard_c)


def too_long(scene: Scene) -> Verdict | None:
    """R15: heat has been permitted for longer than was confirmed; the cycle's own end should have come."""
    cycle = scene.cycle
    if cycle is None:
        return None
    ran_s = scene.now_mono_s - cycle.started_mono_s
    if ran_s <= min(_OVERTIME * cycle.duration_s, scene.parameters.longest_s):
        return None
    return Verdict(rule="R15", level=Level.STOP, what="It has run for longer than was confirmed.")


def too_much_energy(scene: Scene) -> Verdict | None:
    """R16: more than this recipe takes: a sensor that reads low, or a door ajar."""
    cycle, figures = scene.cycle, scene.parameters
    if cycle is None or cycle.learned_energy_wh is None or cycle.tally.energy_wh is None:
        return None
    share = cycle.tally.energy_wh / cycle.learned_energy_wh
    if share <= figures.energy_notice:
        return None
    level = Level.STOP if share > figures.energy_stop else Level.NOTICE
    what = f"It has taken {100.0 * share:.0f} % of the energy that this drying takes as a rule."
    return Verdict(rule="R16", level=level, what=what)


def chattering(scene: Scene) -> Verdict | None:
    """R17: its switch goes on and off too often: it will weld."""
    figures = scene.parameters
    recent = _switchings(scene.window.last(60.0))
    part = scene.window.samples
    span_h = (part[-1].at_s - part[0].at_s) / 3600.0 if len(part) > 1 else 0.0
    # Twenty minutes stand for the hour; less than a quarter of one must not be blown up.
    hourly = _switchings(part) / max(span_h, 0.25)
    if recent <= figures.switchings_per_min and hourly <= figures.switchings_per_h:
        return None
    what = f"The heater switches too often ({recent} times in the last minute): its relay would wear out."
    return Verdict(rule="R17", level=Level.STOP, what=what)


def _switchings(part: tuple[Sample, ...]) -> int:
    """Changes between off and on that the states show; what lies between two states cannot be seen.

    A controller that proportions tells its duty: one that goes between nothing and a twentieth, as near a low
    set-point in a warm room, switches no more often than its windows, which are the controller's own bound.
    """
    told = duties(part)
    if not told or max(told) - min(told) < _SWITCHED:
        return 0
    return sum([abs(after - before) >= _SWITCHED for before, after in pairwise(told)])
