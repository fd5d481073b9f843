"""Whom a message goes to, by which channels and not before when: rows of the outbox, and what they cancel.

Escalation needs no timer: the rows for the next channel and the next person are written with the first one,
each to be sent later, and are cancelled when somebody has seen it or it is over (C-24). So a restart forgets
none of them.
"""

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from monitor.model.delivery import Added, Cancelled, OutboxChange, OutRow, Recipients, Wishes
from monitor.model.message import Message, MessageKind, Priority

NEXT_AFTER_S = {Priority.HIGH: 600.0, Priority.SAFETY: 120.0}  # C-24
# Counted from when it may be sent. Long against the limits of a day, so that waiting its turn loses nothing.
USEFUL_S = {
    Priority.NOTICE: 48 * 3600.0,
    Priority.LOW: 48 * 3600.0,
    Priority.MEDIUM: 48 * 3600.0,
    Priority.HIGH: 48 * 3600.0,
    Priority.SAFETY: 72 * 3600.0,
}
TITLE_MAX, TEXT_MAX = 120, 1_200
PEOPLE_IN_A_ROW = 8  # whom to tell next, and next: a ring must end
BEGINNINGS = (MessageKind.ACTIVE, MessageKind.WORSE)
_WORDS = {
    MessageKind.CLEARS: "Over: ",
    MessageKind.WORSE: "Still: ",
    MessageKind.TEST: "Test: ",
}


def plan(
    messages: Sequence[Message], recipients: Recipients, now_s: float, zone: str
) -> tuple[OutboxChange, ...]:
    """What becomes of these messages, in their order. Pure; told again it gives the same keys.

    Args:
        now_s: Unix time [s].
        zone: IANA name of the zone in which quiet hours are meant.
    """
    return tuple(change for message in messages for change in _planned(message, recipients, now_s, zone))


def hearers(recipients: Recipients) -> tuple[str, ...]:
    """Everybody whom a safety alarm would reach; empty: nobody would hear of it."""
    return tuple(dict.fromkeys(each.person for each in recipients.channels if each.is_on))


def quiet_end_s(wishes: Wishes, now_s: float, zone: str) -> float | None:
    """End of the quiet hours that hold at this time [Unix s]; None: they do not."""
    start, end = wishes.quiet_from, wishes.quiet_to
    if start == end:
        return None
    local = datetime.fromtimestamp(now_s, ZoneInfo(zone))
    minute = local.hour * 60 + local.minute
    is_quiet = start <= minute < end if start < end else minute >= start or minute < end
    if not is_quiet:
        return None
    day = local.date() + timedelta(days=1 if minute >= end else 0)
    ends_s = datetime.combine(day, time(end // 60, end % 60), ZoneInfo(zone)).timestamp()
    # In the hour that a zone goes back the wall shows a time twice, so the end may seem to lie behind.
    return ends_s if ends_s > now_s else None


def row_key(message: Message, person: str, channel: int) -> str:
    """The same message for the same recipient on the same channel has the same key for ever."""
    parts = (message.kind, message.subject, message.occurrence, person, str(channel))
    return hashlib.sha256("\x00".join(parts).encode()).hexdigest()[:32]


def _planned(message: Message, recipients: Recipients, now_s: float, zone: str) -> Iterator[OutboxChange]:
    if message.kind in (MessageKind.SEEN, MessageKind.CLEARS):
        yield Cancelled(subject=message.subject, occurrence=message.occurrence, at_ms=_ms(now_s))
    if message.kind is MessageKind.SEEN:
        return
    if message.kind is MessageKind.CLEARS:
        yield from _cleared(message, recipients, now_s, zone)
        return
    rows: dict[str, OutRow] = {}
    for person in hearers(recipients):
        if _wants(recipients.of(person), message):
            for row in _told(message, person, recipients, now_s, zone):
                # Told for oneself and as the next of somebody else: whichever comes first.
                if row.key not in rows or row.not_before_ms < rows[row.key].not_before_ms:
                    rows[row.key] = row
    yield from (Added(row=row) for row in rows.values())


def _cleared(message: Message, recipients: Recipients, now_s: float, zone: str) -> Iterator[Added]:
    """By every channel by which its beginning went, to whoever wants to know."""
    for channel in recipients.channels:
        wishes = recipients.of(channel.person)
        if channel.is_on and wishes.wants_clears:
            start_s = _start_s(message, wishes, now_s, zone)
            yield Added(
                row=_row(message, channel.person, channel.number, now_s, start_s, 0), only_if_told=True
            )


def _told(message: Message, person: str, recipients: Recipients, now_s: float, zone: str) -> Iterator[OutRow]:
    """The first channel, and for what must be answered the others after it, then the next person's."""
    after_s = NEXT_AFTER_S.get(message.priority) if message.kind in BEGINNINGS else None
    ways = [(person, channel.number) for channel in recipients.ways(person)]
    if after_s is not None:
        for other in _then(person, recipients):
            ways += [(other, channel.number) for channel in recipients.ways(other)]
    elif message.kind is not MessageKind.TEST:
        ways = ways[:1]
    first_s = _start_s(message, recipients.of(person), now_s, zone)
    for rung, (who, number) in enumerate(ways):
        later_s = first_s + (after_s or 0.0) * rung
        start_s = _start_s(message, recipients.of(who), later_s, zone)
        yield _row(message, who, number, now_s, start_s, rung)


def _then(person: str, recipients: Recipients) -> tuple[str, ...]:
    found: list[str] = []
    following = recipients.of(person).then
    while following is not None and following not in (person, *found) and len(found) < PEOPLE_IN_A_ROW:
        found.append(following)
        following = recipients.of(following).then
    return tuple(found)


def _wants(wishes: Wishes, message: Message) -> bool:
    if message.priority is Priority.SAFETY or message.kind is MessageKind.TEST:
        return True
    return message.priority.covers(wishes.least) and message.type not in wishes.muted


def _start_s(message: Message, wishes: Wishes, now_s: float, zone: str) -> float:
    """Not before the end of quiet hours, unless it cannot wait for it (A-20)."""
    if message.priority is Priority.SAFETY or message.kind is MessageKind.TEST:
        return now_s
    end_s = quiet_end_s(wishes, now_s, zone)
    if end_s is None:
        return now_s
    deadline_s = message.deadline_s
    is_pressing = message.priority is Priority.HIGH and deadline_s is not None and deadline_s < end_s
    return now_s if is_pressing and message.kind in BEGINNINGS else end_s


def _row(message: Message, person: str, channel: int, now_s: float, start_s: float, rung: int) -> OutRow:
    return OutRow(
        key=row_key(message, person, channel),
        person=person,
        channel=channel,
        kind=message.kind,
        subject=message.subject,
        occurrence=message.occurrence,
        priority=message.priority,
        made_ms=_ms(now_s),
        not_before_ms=_ms(start_s),
        expires_ms=_ms(start_s + USEFUL_S[message.priority]),
        title=(_WORDS.get(message.kind, "") + message.what)[:TITLE_MAX],
        text=_text(message),
        rung=rung,
    )


def _text(message: Message) -> str:
    """What is so, what it means, what to do."""
    parts = [message.what] if message.kind is MessageKind.CLEARS else [message.what, message.why, message.act]
    told = " ".join(part.strip() for part in parts if part.strip())
    return told[:TEXT_MAX]


def _ms(at_s: float) -> int:
    return round(at_s * 1000)
