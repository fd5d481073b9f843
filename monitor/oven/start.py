"""May this start be confirmed, and if not, why? The one place that says so."""

from collections.abc import Callable
from dataclasses import dataclass

from monitor.model.cycle import Origin, Problem, StartOrder
from monitor.model.oven import OvenPhase
from monitor.model.oven_run import COMMISSIONING
from monitor.oven import hard, resume, start_limits, unattended
from monitor.oven.moves import Seen, can
from monitor.oven.orders import unfit
from monitor.oven.rules import judge
from monitor.oven.site import SITE_FRESH_S
from monitor.oven.state import Supervised
from monitor.oven.verdict import Level, Scene

_SANE_ROOM_C = (5.0, 40.0)  # B-10: colder, it would not warm up; hotter, the room itself is the problem
_OFF_W = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A start order beside what it is asked of."""

    state: Supervised
    order: StartOrder
    mono_s: float
    wall_s: float


def why_not(state: Supervised, order: StartOrder, mono_s: float, wall_s: float) -> tuple[Problem, ...]:
    """All that speaks against a start, the weightiest first; empty = it may be confirmed."""
    asked = Asked(state=state, order=order, mono_s=mono_s, wall_s=wall_s)
    found = [check(asked) for check in _CHECKS]
    return tuple(problem for problem in found if problem is not None)


def _problem(rule: str, title: str, detail: str) -> Problem:
    return Problem(rule=rule, title=title, detail=detail)


def _order(asked: Asked) -> Problem | None:
    return unfit(asked.state, asked.order, asked.wall_s)


def _lockout(asked: Asked) -> Problem | None:
    """B-10, B-30: nothing is latched, and the oven is in service."""
    state = asked.state
    if state.is_out_of_service:
        detail = "Three safety trips within 30 days, or a proof test that failed. Do the proof test first."
        return _problem("B-30", "The oven is out of service", detail)
    if state.trip is not None:
        return _problem("B-10", "The oven has tripped", f"{state.trip.what} Look at it, then reset it.")
    return None


def _one_cycle(asked: Asked) -> Problem | None:
    """B-18: only one cycle per oven."""
    phase = asked.state.phase
    if can(phase, Seen.STARTED) or phase is OvenPhase.TRIPPED:
        return None
    return _problem("B-18", "A cycle is already running", f"The oven is in {phase}. Stop it first.")


def _controller(asked: Asked) -> Problem | None:
    """The controller answers, is not tripped, heats nothing and obeys nobody else."""
    newest = asked.state.window.newest
    if newest is None or asked.mono_s - newest.heard_mono_s > hard.MAX_STATE_AGE_S:
        return _problem("B-10", "The oven's controller is not heard", "Check its power and its network.")
    if asked.state.window.delay_s() > hard.MAX_STATE_AGE_S:
        return _problem("B-10", "The oven's messages come late", "The network holds them back.")
    said = newest.state
    if said.trip is not None or said.state is OvenPhase.TRIPPED:
        return _problem("B-10", "The oven's controller has tripped", "Look at the oven, then reset it.")
    if said.permit is not None:
        return _problem("H39", "The oven still holds a permit", "Wait a minute; then find what gave it.")
    if said.heater > 0.0 or (said.power_w or 0.0) > _OFF_W:
        return _problem("B-20", "The heater is on already", "Pull the plug and have its switch checked.")
    return None


def _rules(asked: Asked) -> Problem | None:
    """B-10: sensors fresh and sane, door shut, cut-out closed: no rule of a running cycle speaks."""
    state = asked.state
    scene = Scene(
        window=state.window,
        parameters=state.parameters,
        phase=OvenPhase.PREHEAT_CHECK,
        cycle=None,
        site=state.site,
        now_mono_s=asked.mono_s,
    )
    # A reading that is missing just now (WITHHOLD) is no ground to begin on either.
    worst = next((v for v in judge(scene) if v.level >= Level.WITHHOLD), None)
    return None if worst is None else _problem(worst.rule, "The oven is not fit to start", worst.what)


def _site(asked: Asked) -> Problem | None:
    """B-26, H38, H39: the book writes, this version has tested itself, nobody else owns the oven."""
    site = asked.state.site
    if site is None or asked.mono_s - asked.state.site_mono_s > SITE_FRESH_S:
        return _problem("B-10", "What is around the oven is not known", "Wait until the service has settled.")
    if not site.is_storage_writable:
        return _problem("B-26", "Nothing can be recorded", "The disk is full or failing. No record, no heat.")
    if not site.is_self_tested:
        return _problem("H38", "The self-test has not passed", "Run the self-test since the last update.")
    if not site.is_sole_owner:
        return _problem("H39", "Another program owns this oven", "Stop the other one; two must not fight.")
    return None


def _unfit(asked: Asked) -> Problem | None:
    """H19: what its commissioning run showed, unless this start is another such run."""
    site = asked.state.site
    if site is None or not site.unfit or COMMISSIONING in {item.key for item in site.load}:
        return None
    detail = f"{site.unfit} Mend it, and do the commissioning run again."
    return _problem("H19", "This oven is unfit for that", detail)


def _ambient(asked: Asked) -> Problem | None:
    """B-10: the room is one in which its figures hold."""
    room_c = asked.state.site.room_c if asked.state.site else None
    lowest, highest = _SANE_ROOM_C
    if room_c is None:
        if not asked.order.unattended:
            return None
        return _problem("B-10", "The room's temperature is not known", "Unattended use needs a room sensor.")
    if lowest <= room_c <= highest:
        return None
    detail = f"The room is at {room_c:.0f} °C; {lowest:g} to {highest:g} °C is what the oven is made for."
    return _problem("B-10", "The room is too cold or too hot", detail)


def _arming(asked: Asked) -> Problem | None:
    """B-10, B-11, B-13: somebody stood at the oven within the last half hour."""
    if not start_limits.has_arming(asked.state) or start_limits.is_armed(asked.state):
        return None  # without an input the attended limits hold
    if resume.is_one(asked.state, asked.order, asked.mono_s):
        return None
    rule = "B-10" if asked.order.origin is Origin.PERSON else "B-13"
    return _problem(rule, "The oven is not armed", "Go to the oven, look inside, and press its button.")


# The weightiest first: a person reads the first one and stops there.
_CHECKS: tuple[Callable[[Asked], Problem | None], ...] = (
    _order,
    _lockout,
    _one_cycle,
    _controller,
    _site,
    _rules,
    _ambient,
    _arming,
    lambda asked: resume.wrong(asked.state, asked.order, asked.mono_s),
    lambda asked: start_limits.load(asked.state, asked.order),
    _unfit,
    lambda asked: start_limits.setpoint(asked.state, asked.order),
    lambda asked: start_limits.duration(asked.state, asked.order, asked.wall_s),
    lambda asked: start_limits.attended(asked.state, asked.order),
    lambda asked: unattended.why_not(asked.state, asked.order, asked.wall_s),
    lambda asked: unattended.relay(asked.state),
)
