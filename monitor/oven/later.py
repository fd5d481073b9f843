"""May a running cycle be made longer, and may a trip be reset? If not, why?"""

import math

from monitor.model.cycle import ExtendOrder, Problem, ResetOrder
from monitor.model.oven import OvenPhase
from monitor.oven import hard, start_limits
from monitor.oven.orders import unfit
from monitor.oven.rules import judge
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING, Level, Scene


def why_not_extend(state: Supervised, order: ExtendOrder, wall_s: float) -> Problem | None:
    """B-15, B-11: within the same bounds as a start."""
    problem = unfit(state, order, wall_s)
    if problem is not None:
        return problem
    cycle = state.cycle
    if cycle is None or state.phase not in RUNNING or cycle.id != order.cycle:
        return Problem(rule="B-15", title="This cycle is not running", detail="Start a new one.")
    total_s = cycle.duration_s + order.extra_s
    longest_s = state.parameters.longest_s
    if not cycle.is_armed_locally:
        longest_s = min(longest_s, state.parameters.attended_max_s)
    if math.isfinite(order.extra_s) and order.extra_s > 0.0 and total_s <= longest_s:
        return None
    detail = f"With it the cycle would be {total_s / 3600.0:.1f} h; {longest_s / 3600.0:g} h is the most."
    return Problem(rule="B-15", title="Not so long", detail=detail)


def why_not_reset(state: Supervised, order: ResetOrder, mono_s: float, wall_s: float) -> Problem | None:
    """B-30: the cause read, the oven looked at, cool, the cause gone; a safety trip from there only."""
    problem = unfit(state, order, wall_s)
    if problem is not None:
        return problem
    latched = state.trip
    if latched is None or latched.id != order.trip:
        return _problem("There is no such trip", "Read the one that is latched now.")
    if state.is_out_of_service:
        return _problem(
            "The oven is out of service", "Three safety trips in 30 days: do the proof test first."
        )
    if not order.checked or not order.text.strip() or not order.who.strip():
        return _problem("Say what you checked", "Tick what you looked at, and write what you found.")
    return _not_safe_yet(state, mono_s) or _not_there(state)


def _not_safe_yet(state: Supervised, mono_s: float) -> Problem | None:
    newest = state.window.newest
    if newest is None or mono_s - newest.heard_mono_s > hard.MAX_STATE_AGE_S:
        return _problem("The oven is not heard", "What cannot be seen cannot be declared safe.")
    if newest.hottest_c is None or newest.hottest_c >= hard.COOL_C:
        return _problem("Not before it is cool", f"Wait until it is below {hard.COOL_C:g} °C.")
    scene = Scene(
        window=state.window,
        parameters=state.parameters,
        phase=OvenPhase.HOLD,  # all that is judged without heat
        cycle=None,
        site=state.site,
        now_mono_s=mono_s,
    )
    cause = next((v for v in judge(scene) if v.level >= Level.TRIP), None)
    return None if cause is None else _problem("What tripped it is still so", cause.what)


def _not_there(state: Supervised) -> Problem | None:
    """R3 to R7, R9, R14, R20 with heat: not from afar."""
    assert state.trip is not None
    if not state.trip.is_safety or start_limits.is_armed(state) or state.is_proof_tested_since_trip:
        return None
    if start_limits.has_arming(state):
        return _problem("Not from afar", "Go to the oven, look at it, and press its button; then reset.")
    detail = "This oven has no button to show that somebody stands there. Do the proof test, then reset."
    return _problem("Not from afar", detail)


def _problem(title: str, detail: str) -> Problem:
    return Problem(rule="B-30", title=title, detail=detail)
