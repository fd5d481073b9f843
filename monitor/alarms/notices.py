"""What people are told though nothing is wrong yet: a check, a test or new desiccant comes due; pure."""

from collections.abc import Iterator

from monitor.alarms.box_conditions import SOON_DAYS, desiccant_soon
from monitor.alarms.way_test import due_notice
from monitor.model.answers import StatusAnswer
from monitor.model.around import Around
from monitor.model.message import Message, MessageKind, Priority

AHEAD_S = 30 * 86_400.0
_WANDER_DAYS = 3.0  # by which a forecast of a week moves without anything new


def notices(
    previous: frozenset[str], status: StatusAnswer, around: Around, now_s: float
) -> tuple[tuple[Message, ...], frozenset[str]]:
    """What is to be told now, and what to hand in as `previous` the next time: each due date is told once.

    Args:
        previous: As returned before; empty at first. What is not due at all any more is forgotten.
        status: The site as answered for now.
        around: What the answer lacks.
        now_s: Unix seconds.
    """
    listed = [*_due(status, around, now_s), *_desiccant(previous, status, now_s)]
    due = {_key(item): item for item in listed}
    return tuple(item for key, item in due.items() if key not in previous), frozenset(due)


def _due(status: StatusAnswer, around: Around, now_s: float) -> Iterator[Message]:
    names = {box.key: box.name for box in status.boxes}
    names |= {room.key: room.name for room in status.rooms}
    names |= {oven.key: oven.name for oven in status.ovens}
    for place, due_s in around.check_due_s.items():
        if due_s is not None and 0.0 <= due_s - now_s <= AHEAD_S:
            what = f"The sensor of {names.get(place, place)}"
            yield _coming("check_due", place, f"{what} is due for its check", due_s, now_s)
    for oven, watch in around.ovens.items():
        if watch.proof_due_s is not None and 0.0 <= watch.proof_due_s - now_s <= AHEAD_S:
            what = f"{names.get(oven, oven)} is due for its yearly test"
            yield _coming("proof_due", oven, what, watch.proof_due_s, now_s)
    if around.test_owed_s:
        yield due_notice(around.test_owed_s, now_s)


def _desiccant(previous: frozenset[str], status: StatusAnswer, now_s: float) -> Iterator[Message]:
    """A week ahead, once for each charge: its days left wander a little from day to day."""
    for box in status.boxes:
        soon = desiccant_soon(box, now_s)
        if not soon.holds and (soon.value is None or soon.value > SOON_DAYS + _WANDER_DAYS):
            continue
        charge = None if box.desiccant is None else box.desiccant.filled
        message = Message(
            kind=MessageKind.NOTICE,
            subject=f"desiccant-{box.key}"[:63],
            occurrence=charge or "undated",
            type=soon.type,
            place=box.key,
            priority=Priority.NOTICE,
            at_s=now_s,
            what=soon.what,
            why=soon.why,
            act=soon.act,
            deadline_s=soon.deadline_s,
        )
        if soon.holds or _key(message) in previous:
            yield message


def _key(message: Message) -> str:
    return f"{message.subject} {message.occurrence}"


def _coming(kind: str, place: str, what: str, due_s: float, now_s: float) -> Message:
    return Message(
        kind=MessageKind.NOTICE,
        subject=f"{kind}-{place}",
        occurrence=f"{due_s:.0f}",
        type=kind,
        place=place,
        priority=Priority.NOTICE,
        at_s=now_s,
        what=f"{what} in {(due_s - now_s) / 86_400.0:.0f} days.",
        act="Plan it in before that day.",
        deadline_s=due_s,
    )
