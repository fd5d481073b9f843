"""B-11, B-14, B-15: how hot and how long a start may be; a wish too far is refused, never turned down."""

import math

from monitor.model.cycle import Actuator, Problem, StartOrder
from monitor.oven import hard
from monitor.oven.load_limit import allowed
from monitor.oven.state import Supervised

_END_SLACK_S = 60.0  # B-10: the end that was shown, to the minute
_LOWEST_C = 30.0  # below it nothing dries that the room's air would not dry


def load(state: Supervised, order: StartOrder) -> Problem | None:
    """B-10: what was confirmed is what is inside."""
    inside = state.site.load if state.site else ()
    if not inside:
        return Problem(
            rule="B-14",
            title="Nothing is placed in this oven",
            detail="Put in what is to be dried and say so: its limits decide how hot it may get.",
        )
    if sorted(order.load) == sorted(item.key for item in inside):
        return None
    names = ", ".join(item.name for item in inside)
    detail = f"Inside is now: {names}. Look at it and confirm again."
    return Problem(rule="B-10", title="The load is not what you confirmed", detail=detail)


def setpoint(state: Supervised, order: StartOrder) -> Problem | None:
    """B-14: not above what the weakest thing inside stands, less the guard band; says which it is."""
    bound = allowed(state.site.load if state.site else (), state.parameters)
    if not math.isfinite(order.setpoint_c) or order.setpoint_c < _LOWEST_C:
        detail = f"Temperatures are in °C, from {_LOWEST_C:g} °C up."
        return Problem(rule="B-14", title="This is no drying temperature", detail=detail)
    if order.setpoint_c <= bound.setpoint_c:
        if order.limited_by == bound.limited_by:
            return None
        detail = f"What limits it is {bound.limited_by}, not {order.limited_by}. Look and confirm again."
        return Problem(rule="B-10", title="The limit is not what you confirmed", detail=detail)
    detail = (
        f"{bound.limited_by} stands {bound.limit_c:g} °C; with {state.parameters.guard_c:g} °C for overshoot "
        f"and the sensors' error {bound.setpoint_c:g} °C is the most. Asked for: {order.setpoint_c:g} °C."
    )
    return Problem(
        rule="B-14",
        title="Too hot for what is inside",
        detail=detail,
        limiting_item=bound.limited_by,
        limit_c=bound.setpoint_c,
    )


def duration(state: Supervised, order: StartOrder, wall_s: float) -> Problem | None:
    """B-15: an end is named before it starts, and it is the end that was shown."""
    longest_s = state.parameters.longest_s
    if not (math.isfinite(order.duration_s) and 60.0 <= order.duration_s <= longest_s):
        detail = f"One minute to {longest_s / 3600.0:g} h is allowed."
        return Problem(rule="B-15", title="How long must be said, within bounds", detail=detail)
    if abs(order.ends_wall_s - wall_s - order.duration_s) > _END_SLACK_S:
        detail = "The end that you were shown does not fit the duration. Look and confirm again."
        return Problem(rule="B-10", title="The end is not what you confirmed", detail=detail)
    return None


def attended(state: Supervised, order: StartOrder) -> Problem | None:
    """B-11: where nobody can arm at the oven, somebody stays with it: cooler, shorter, never unattended."""
    if has_arming(state):
        return None
    figures = state.parameters
    hottest_c = min(figures.attended_max_c, hard.MAX_UNARMED_C)
    longest_s = min(figures.attended_max_s, hard.MAX_UNARMED_S)
    if order.unattended:
        detail = "This oven has no button to arm it at. It may run only while somebody is there."
        return Problem(rule="B-11", title="Not without somebody there", detail=detail)
    if order.setpoint_c > hottest_c or order.duration_s > longest_s:
        detail = (
            f"Without a button at the oven {hottest_c:g} °C and {longest_s / 3600.0:g} h are the most; "
            "somebody stays with it."
        )
        return Problem(
            rule="B-11",
            title="Too hot or too long without arming at the oven",
            detail=detail,
            limiting_item="no arming input",
            limit_c=hottest_c,
        )
    return None


def has_arming(state: Supervised) -> bool:
    """Whether the oven has an input that only somebody who stands there can press."""
    newest = state.window.newest
    is_controller = state.parameters.actuator is Actuator.CONTROLLER
    return is_controller and newest is not None and newest.state.armed_s is not None


def is_armed(state: Supervised) -> bool:
    """Whether somebody armed the oven lately, and nothing has voided it since (B-10)."""
    newest = state.window.newest
    armed_s = newest.state.armed_s if newest else None
    return armed_s is not None and armed_s > 0.0 and not state.is_arming_void
