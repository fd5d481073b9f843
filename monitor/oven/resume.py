"""B-22: after a lost link a cycle may be gone on with from the phone, as a new one, for five minutes."""

from monitor.model.cycle import Ending, Problem, StartOrder
from monitor.oven import hard
from monitor.oven.state import Supervised


def is_one(state: Supervised, order: StartOrder, mono_s: float) -> bool:
    """Whether an order goes on with what was lost, so that the arming of then still counts."""
    return order.resumes is not None and wrong(state, order, mono_s) is None


def wrong(state: Supervised, order: StartOrder, mono_s: float) -> Problem | None:
    """Why an order that calls itself a resumption is none; a plain start is never wrong here."""
    if order.resumes is None:
        return None
    detail = _difference(state, order, mono_s)
    if detail is None:
        return None
    return Problem(rule="B-22", title="This cycle cannot be gone on with", detail=f"{detail} Start it anew.")


def _difference(state: Supervised, order: StartOrder, mono_s: float) -> str | None:
    """What is not as it was; only a lost link, and nothing else changed, may be gone on after."""
    ended = state.ended
    if ended is None or ended.cycle != order.resumes or ended.ending is not Ending.LINK_LOST:
        return "It was not ended by a lost link."
    if ended.ended_mono_s is None or mono_s - ended.ended_mono_s > hard.RESUME_WITHIN_S:
        return "More than five minutes have passed."
    if ended.has_door_opened:
        return "The door has been open since."
    cycle = state.cycle
    newest = state.window.newest
    if cycle is None or cycle.id != ended.cycle or newest is None or newest.state.boot != cycle.boot:
        return "The oven's controller has restarted."
    if set(order.load) != set(ended.load) or order.setpoint_c > ended.setpoint_c:
        return "Load or temperature differ."
    if order.duration_s > ended.duration_s - (ended.ran_s or 0.0) + 1.0:
        return "It would take longer than was left."
    return None
