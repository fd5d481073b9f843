"""R5 to R9: does the chamber's heat follow the heater, and stay under every limit?"""

from monitor.oven.verdict import Level, Scene, Verdict
from monitor.oven.window import Sample, rate_c_s

_FULL_DUTY = 0.95
_COLD_C = 15.0  # R5: within this of the room a chamber loses next to nothing
_OFF_POWER_S, _OFF_RISE_S, _NOT_FALLING_S = 10.0, 180.0, 300.0  # R6
# R6: a chamber above its set-point that loses less than 0.15 °C in five minutes is being heated.
_FALLING_C_S = -0.0005
_FAST_S = 60.0  # R7
# A door that was open lets the air drop; the walls warm it again faster than any heater. That is
# over within five minutes, and where no switch tells of the door: below what it had been before.
_SETTLING_S, _NEW_HEIGHT_C, _LOOK_BACK_S = 300.0, 0.3, 900.0
_OVER_LIMIT_SAMPLES, _OVER_HARD_SAMPLES = 3, 2  # R8, R9
_WITHHELD_AT_MOST_S = 300.0  # R8: above the ceiling for longer, with the heat off, is no overshoot


def no_rise_from_cold(scene: Scene) -> Verdict | None:
    """R5: ten minutes of full duty from cold must warm the chamber."""
    figures = scene.parameters
    span_s = figures.cold_rise_after_s
    if scene.window.since(lambda s: s.state.heater >= _FULL_DUTY) < span_s:
        return None
    part = scene.window.covers(span_s)
    if not part:
        return None
    first_c, last_c = part[0].hottest_c, part[-1].hottest_c
    if first_c is None or last_c is None or first_c - scene.ambient_c() > _COLD_C:
        return None
    expected_c = figures.cold_rise_share * scene.expected_rate_c_s(1.0, last_c) * span_s
    # An oven that is known to be slower than 3 °C in that time is judged by its own rate.
    needed_c = max(expected_c, min(figures.cold_rise_c, figures.full_duty_rate_c_s * span_s / 2.0))
    if last_c - first_c >= needed_c or scene.least_rate_c_s(1.0, last_c) * span_s < needed_c:
        return None
    what = f"Ten minutes of full heat raised the chamber by {last_c - first_c:.1f} °C only."
    return Verdict(rule="R5", level=Level.TRIP, what=what)


def switch_stuck(scene: Scene) -> Verdict | None:
    """R6: heat that nobody commands: a welded switch. Holds in every state, also in an idle oven (H11)."""
    figures = scene.parameters
    off_s = scene.window.since(_is_off)
    drawn_s = scene.window.since(lambda s: _is_off(s) and (s.state.power_w or 0.0) > figures.off_power_w)
    if drawn_s >= _OFF_POWER_S:
        why = "The heater is off, yet it draws power."
    elif off_s >= figures.thermal_lag_s + _OFF_RISE_S and _rises_to_new_height(scene):
        why = "The heater is off, yet the chamber gets hotter."
    elif off_s >= _NOT_FALLING_S and _stays_above(scene):
        why = "The heater is off, yet the chamber stays above its set-point."
    else:
        return None
    return Verdict(rule="R6", level=Level.TRIP, what=f"{why} Its switch is stuck: pull the plug now.")


def _is_off(sample: Sample) -> bool:
    return sample.state.heater <= 0.0


def _rises_to_new_height(scene: Scene) -> bool:
    part = scene.window.covers(_OFF_RISE_S)
    rate = rate_c_s(part) if part else None
    if rate is None or rate * _OFF_RISE_S <= scene.parameters.off_rise_c:
        return False
    return not _is_settling(scene, part)


def _is_settling(scene: Scene, part: tuple[Sample, ...]) -> bool:
    """Whether a door explains the rise: one that was seen open, or a height that it had before."""
    if any(sample.state.door_open for sample in scene.window.last(_SETTLING_S)):
        return True
    earlier = [s.hottest_c for s in scene.window.last(_LOOK_BACK_S) if s.at_s < part[0].at_s]
    before = [height for height in earlier if height is not None]
    now_c = part[-1].hottest_c
    return bool(before) and now_c is not None and now_c <= max(before) + _NEW_HEIGHT_C


def _stays_above(scene: Scene) -> bool:
    newest, part = scene.newest, scene.window.covers(_NOT_FALLING_S)
    if scene.cycle is None or newest is None or newest.hottest_c is None or not part:
        return False
    if newest.hottest_c <= scene.cycle.asked_setpoint_c + scene.parameters.off_above_c:
        return False
    # An overshoot that has turned is falling now, though over five minutes it may not be lower yet.
    rates = [rate_c_s(part), rate_c_s(scene.window.last(_FAST_S))]
    return all(rate is not None and rate > _FALLING_C_S for rate in rates)


def too_fast(scene: Scene) -> Verdict | None:
    """R7: faster than its heater can be: the sensor lies on the element, or two switches are closed."""
    part = scene.window.covers(_FAST_S)
    rate = rate_c_s(part) if part else None
    if rate is None or rate <= scene.parameters.fast_factor * scene.parameters.fastest_rate_c_s:
        return None
    if _is_settling(scene, part):
        return None
    what = f"The chamber warms by {60.0 * rate:.1f} °C a minute, faster than its heater can."
    return Verdict(rule="R7", level=Level.TRIP, what=what)


def over_load_limit(scene: Scene) -> Verdict | None:
    """R8: above the ceiling no permit, at once; above what something inside stands, a trip."""
    cycle, newest = scene.cycle, scene.newest
    if cycle is None or newest is None or newest.hottest_c is None:
        return None
    if _above(scene, cycle.limit_c, _OVER_LIMIT_SAMPLES):
        what = f"The chamber is above the {cycle.limit_c:g} °C that {cycle.limited_by} stands."
        return Verdict(rule="R8", level=Level.TRIP, what=what)
    if newest.hottest_c <= cycle.ceiling_c or not scene.is_running:
        return None
    what = f"The chamber is above its ceiling of {cycle.ceiling_c:g} °C: no heat until it has fallen."
    since_s = cycle.withheld_since_mono_s
    if since_s is not None and scene.now_mono_s - since_s > _WITHHELD_AT_MOST_S:
        return Verdict(rule="R8", level=Level.STOP, what="The chamber stays above its ceiling without heat.")
    return Verdict(rule="R8", level=Level.WITHHOLD, what=what)


def over_hard_limit(scene: Scene) -> Verdict | None:
    """R9: above what this chamber may ever be."""
    limit_c = scene.parameters.hard_limit_c
    if not _above(scene, limit_c, _OVER_HARD_SAMPLES):
        return None
    what = f"The chamber is above its absolute limit of {limit_c:g} °C. Pull the plug if it does not cool."
    return Verdict(rule="R9", level=Level.TRIP, what=what)


def _above(scene: Scene, limit_c: float, samples: int) -> bool:
    """Whether the newest `samples` all lie above a limit; a gap in the readings does not start it anew."""
    count = 0
    for sample in reversed(scene.window.samples):
        if sample.hottest_c is None:
            continue
        if sample.hottest_c <= limit_c:
            return False
        count += 1
        if count == samples:
            return True
    return False
