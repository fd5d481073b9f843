"""Is an order what its person wants now? (B-16, B-28)"""

from monitor.model.cycle import Answered, Order, Problem
from monitor.oven import hard
from monitor.oven.state import Supervised

_KEPT = 64
# Two programs of one board share its clock; a message may still overtake a clock step this small.
_FUTURE_S = 2.0


def answered(state: Supervised, order: Order) -> Answered | None:
    """The answer that this very order got before."""
    return next((known for known in state.answered if known.order == order.id), None)


def remember(state: Supervised, order: Order, problem: Problem | None) -> tuple[Answered, ...]:
    """The answers with this one; the oldest is forgotten, long after it has expired."""
    new = Answered(order=order.id, issuer=order.issuer, seq=order.seq, problem=problem)
    return (*state.answered, new)[-_KEPT:]


def unfit(state: Supervised, order: Order, wall_s: float) -> Problem | None:
    """Why an order of any kind is not taken, before its content is looked at."""
    age_s = wall_s - order.issued_wall_s
    allowed_s = min(order.expires_after_s, hard.MAX_ORDER_AGE_S)
    if order.is_retained:
        return _problem("The order was kept by the broker", "It may be of any age. Give it again.")
    if not -_FUTURE_S <= age_s <= allowed_s:
        detail = f"It is {age_s:.0f} s old; {allowed_s:g} s is the most. Look at the oven and give it again."
        return _problem("The order came too late", detail)
    last_seq = max((a.seq for a in state.answered if a.issuer == order.issuer), default=None)
    if last_seq is not None and order.seq <= last_seq:
        return _problem("The order was overtaken", "A later order from the same place has been answered.")
    if order.state_version != state.version:
        detail = "What you saw is no longer so. Look at the oven as it is now and decide again."
        return _problem("The oven has changed in the meantime", detail, rule="B-28")
    return None


def _problem(title: str, detail: str, rule: str = "B-16") -> Problem:
    return Problem(rule=rule, title=title, detail=detail)
