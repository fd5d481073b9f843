"""May a start be planned like this? What is wrong is said in one sentence, and nothing is written."""

import math
from collections.abc import Iterable

from monitor.errors import BadInputError, BadSettingsError, FieldError, RefusedError
from monitor.model.inventory import Oven
from monitor.model.planned_start import PlannedStart, PlannedState, StartLater
from monitor.oven import hard
from monitor.oven.load_limit import Bound, allowed
from monitor.oven.parameters import OvenParameters, parameters_of
from monitor.oven.planned import Needs, Seen
from monitor.oven.verdict import RUNNING
from monitor.service.planned_facts import would_hold
from monitor.service.queries import Queries

SOONEST_S = 60.0
FURTHEST_S = 60 * 86_400.0
MOST_OPEN = 50
MOST_LOAD = 40
_LOWEST_C = 30.0
_TEXT_MAX = 200


def check_wish(queries: Queries, oven: str, wish: StartLater, needs: Needs | None, now_s: float) -> None:
    """Figures within their bounds, and what was shown is so: BadInputError or RefusedError else."""
    inventory = queries.inventory()
    if oven not in inventory.ovens:
        raise BadInputError(f"oven {oven[:63]!r} is not in the inventory")
    desiccants = queries.library().desiccants
    known = [
        key for key in wish.load if key in inventory.spools or (key in desiccants and len(wish.load) == 1)
    ]
    if not 1 <= len(wish.load) <= MOST_LOAD or len(set(known)) != len(wish.load):
        raise FieldError(
            "load", f"must name 1 to {MOST_LOAD} spools of the inventory, each once, or one desiccant"
        )
    _within("start_at", wish.start_s, now_s + SOONEST_S, now_s + FURTHEST_S, "must lie ahead, within 60 days")
    if wish.due_s is not None:
        ends_s = wish.start_s + wish.duration_s
        _within("ready_by", wish.due_s, ends_s, now_s + 2 * FURTHEST_S, "lies before the drying is over")
    parameters = _parameters(queries.ovens_as_learned()[oven])  # as plan and supervision have it
    longest_s = min(parameters.longest_s, hard.MAX_DURATION_S)
    _within("duration_s", wish.duration_s, 60.0, longest_s, f"must be 60 s to {longest_s / 3600.0:g} h")
    if wish.target_pct is not None:
        _within("target_pct", wish.target_pct, 0.0, 20.0, "must be 0 to 20 %")
    if wish.dry_g is not None:
        _within("dry_g", wish.dry_g, 1.0, 20_000.0, "must be 1 to 20 000 g")
    if wish.loading_pct is not None:
        _within("loading_pct", wish.loading_pct, 0.0, 60.0, "must be 0 to 60 %")
    if not 1 <= len(wish.limited_by) <= _TEXT_MAX:
        raise FieldError("limited_by", f"must be 1 to {_TEXT_MAX} characters")
    if needs is not None and needs.run_s is None:
        raise RefusedError(f"There is no plan for it: {needs.why}")
    if needs is not None:
        _check_limit(wish, allowed(would_hold(queries, oven, wish.load), parameters))


def in_its_way(start: PlannedStart, waiting: Iterable[PlannedStart], seen: Seen) -> tuple[PlannedStart, ...]:
    """Those that it takes the place of; RefusedError where another one keeps it from its time."""
    rows, replaced = tuple(waiting), []
    cycle = seen.oven.cycle if seen.oven is not None and seen.oven.phase in RUNNING else None
    if cycle is not None and seen.wall_s + cycle.ends_mono_s - seen.mono_s > start.start_s:
        raise RefusedError("What runs in this oven ends later than that: plan it for after its end.")
    for other in rows:
        is_same = other.oven == start.oven and sorted(other.load) == sorted(start.load)
        if is_same and (other.state is not PlannedState.PLANNED or _overlap(start, other)):
            replaced.append(other)
        elif other.state is not PlannedState.MISSED and _overlap(start, other):
            if other.oven == start.oven:
                raise RefusedError(
                    "Another start is planned for this oven then: withdraw that, or take another time."
                )
            both = sorted(set(other.load) & set(start.load))
            if both and not start.is_tray:
                raise RefusedError(f"{both[0]} is planned for another oven then: withdraw that first.")
    if len(rows) - len(replaced) >= MOST_OPEN:
        raise RefusedError(f"{MOST_OPEN} starts wait already: withdraw some first.")
    return tuple(replaced)


def _overlap(one: PlannedStart, other: PlannedStart) -> bool:
    return one.start_s < other.start_s + other.duration_s and other.start_s < one.start_s + one.duration_s


def _parameters(oven: Oven) -> OvenParameters:
    try:
        return parameters_of(oven)
    except BadSettingsError as error:
        raise RefusedError(str(error)) from None


def _check_limit(wish: StartLater, bound: Bound) -> None:
    """B-14: at its time the supervision asks the same again."""
    limit = f"{bound.setpoint_c:g} °C is the most: {bound.limited_by} limits it"
    _within("setpoint_c", wish.setpoint_c, _LOWEST_C, bound.setpoint_c, f"is {wish.setpoint_c:g} °C; {limit}")
    if wish.limited_by != bound.limited_by:
        shown = wish.limited_by[:80]
        raise RefusedError(f"What limits it is {bound.limited_by} now; {shown} was sent. Open the plan anew.")


def _within(name: str, value: float, lowest: float, highest: float, otherwise: str) -> None:
    if not (math.isfinite(value) and lowest <= value <= highest):
        raise FieldError(name, otherwise)
