"""What people are told of one look at the alarms: each for itself, or many as one."""

from collections.abc import Mapping

from monitor.alarms.events import Tell
from monitor.alarms.round import Change
from monitor.alarms.state import AlarmState, Shown, is_safety
from monitor.alarms.storms import Gathered, Raised, Signs, gather, probable_cause, seen_by
from monitor.model.alarm_row import AlarmRow
from monitor.model.message import WRITE_TROUBLE, Message, MessageKind
from monitor.service.alarm_words import message_of, storm_message, storm_seen


def messages_of(
    states: Mapping[str, AlarmState],
    changes: list[Change],
    rows: Mapping[str, AlarmRow],
    before: Gathered,
    signs: Signs,
    wall_s: float,
) -> tuple[list[Message], Gathered]:
    """Messages, and what is kept of storms. Matters of safety are told each for itself, at once (A-21).

    So is that nothing can be written: as part of a storm it would itself wait to be written.

    Args:
        states: As they are after the changes.
        changes: Of this look, in order.
        rows: The table as it holds here.
        before: What was kept of storms.
        signs: Of a common cause.
        wall_s: Unix s.
    """
    singly: list[Message] = []
    raised: dict[str, Message] = {}
    for change in changes:
        row = rows[change.after.type]
        for effect in change.effects:
            if not isinstance(effect, Tell):
                continue
            message = message_of(change.after, row, effect, wall_s)
            is_new = effect.kind in (MessageKind.ACTIVE, MessageKind.WORSE)
            if is_new and not is_safety(change.after, row) and row.type != WRITE_TROUBLE:
                raised[message.subject] = message
            else:
                singly.append(message)
    items = tuple(_raised(message, rows, wall_s) for message in raised.values())
    gathered, alone, storm = gather(before, items, wall_s)
    singly += [raised[item.key] for item in alone]
    if storm is not None:
        singly.append(storm_message(storm, states, rows, probable_cause(signs), wall_s))
    if gathered.unseen:
        unseen = frozenset(key for key, state in states.items() if state.shown is Shown.UNACK)
        gathered, seen = seen_by(gathered, unseen)
        singly += [message for item in seen for message in storm_seen(item, wall_s)]
    return singly, gathered


def _raised(message: Message, rows: Mapping[str, AlarmRow], wall_s: float) -> Raised:
    return Raised(
        key=message.subject,
        place=message.place,
        name=rows[message.type].name,
        priority=message.priority,
        at_s=wall_s,
    )
