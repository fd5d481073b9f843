"""What is sent now: what is due, within the limits, many in one message; and what follows a failed try.

Limits hold for one channel of one recipient (A-20). What is above them waits its turn and then goes out as
one message together with all else that is due. Safety and tests know no limit and are never put together with
others.
"""

import base64
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from urllib.parse import quote

from monitor.model.delivery import TEST_CODE, Letter, Outcome, OutRow, Recipients
from monitor.model.message import STORM, MessageKind, Priority

HOUR_S, STORM_S, DAY_S = 3_600.0, 6 * 3_600.0, 86_400.0
AN_HOUR, A_STORM = 3, 5
# Kept free for what is urgent, so that three notices cannot hold it up for an hour.
RESERVE = 1
TOGETHER_MAX = 40  # lines of one message; more go into the next
BACK_OFF_S = {
    Priority.SAFETY: (10.0, 20.0, 40.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1_800.0, 3_600.0),
    Priority.HIGH: (30.0, 60.0, 120.0, 300.0, 900.0, 1_800.0, 3_600.0),
}
BACK_OFF_OTHERS_S = (60.0, 300.0, 900.0, 3_600.0, 3_600.0)
RETRY_AFTER_MAX_S = 3_600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sending:
    """One message as it leaves: one row, or several put together."""

    channel: int
    rows: tuple[OutRow, ...]
    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """What becomes of a row after a failed try."""

    state: Outcome
    not_before_ms: int
    is_unsure: bool


def due(
    waiting: Sequence[OutRow], sent: Sequence[tuple[int, int]], recipients: Recipients, now_ms: int
) -> tuple[Sending, ...]:
    """What to send now, the most urgent first. Pure.

    Args:
        waiting: Queued rows.
        sent: Channel and time of each message that left in the last day [ms]; safety and tests left out.
    """
    ripe = [row for row in waiting if _is_ripe(row, now_ms)]
    free = [row for row in ripe if _is_free(row)]
    free.sort(key=lambda row: (row.priority is not Priority.SAFETY, row.made_ms, row.key))
    out = [_single(row) for row in free]
    for channel in sorted({row.channel for row in ripe}):
        bound = [row for row in ripe if row.channel == channel and not _is_free(row)]
        if bound and _may(bound, [at for number, at in sent if number == channel], recipients, now_ms):
            out.append(together(bound))
    return tuple(out)


def expired(waiting: Iterable[OutRow], now_ms: int) -> tuple[OutRow, ...]:
    """What is too old to be of use.

    Never what is urgent and was not tried yet: a board without a battery clock may have made it in the past.
    """
    return tuple(row for row in waiting if now_ms >= row.expires_ms and not _is_owed(row))


def together(bound: Sequence[OutRow]) -> Sending:
    """These rows as one message, the most urgent first."""
    ranks = tuple(Priority)
    rows = sorted(bound, key=lambda row: (-ranks.index(row.priority), row.made_ms, row.key))[:TOGETHER_MAX]
    if len(rows) == 1:
        return _single(rows[0])
    lines = [f"- {row.text if row.priority is Priority.HIGH else row.title}" for row in rows]
    title = f"{len(rows)} messages: {rows[0].title}"
    return Sending(channel=rows[0].channel, rows=tuple(rows), title=title[:120], text="\n".join(lines))


def letter(sending: Sending) -> Letter:
    """As the ways to people take it. An alarm's end bears the topic of its beginning and takes its place."""
    most = max(sending.rows, key=lambda row: tuple(Priority).index(row.priority))
    made = Letter(title=sending.title, text=sending.text, priority=most.priority)
    if len(sending.rows) > 1:
        return made
    (row,) = sending.rows
    digest = hashlib.sha256(f"{row.subject}\0{row.occurrence}".encode()).digest()[:24]
    topic = base64.urlsafe_b64encode(digest).decode()  # 32 characters, all that RFC 8030 allows
    if row.kind is MessageKind.TEST:
        path = f"/me/messages/test/{TEST_CODE}"
        return replace(made, topic=topic, priority=Priority.HIGH, path=path, test_key=row.key)
    return replace(made, topic=topic, path=_page(row))


def after_failure(
    row: OutRow, now_ms: int, *, is_unsure: bool, is_final: bool = False, retry_after_s: float | None = None
) -> Next:
    """Tried again later, or given up.

    Args:
        is_unsure: It may have arrived. Only high and safety are worth being heard twice.
        is_final: The receiver said that this will never do.
        retry_after_s: What the receiver asked for [s]; it is waited for no longer than an hour.
    """
    steps = BACK_OFF_S.get(row.priority, BACK_OFF_OTHERS_S)
    unsure = row.is_unsure or is_unsure
    is_repeated = not is_unsure or row.is_pressing
    wait_s = steps[min(row.tries, len(steps)) - 1] if row.tries else steps[0]
    wait_s = max(wait_s, min(retry_after_s or 0.0, RETRY_AFTER_MAX_S))
    at_ms = now_ms + round(wait_s * 1000)
    if is_final or not is_repeated or row.tries >= len(steps) or at_ms >= row.expires_ms:
        return Next(state=Outcome.GIVEN_UP, not_before_ms=row.not_before_ms, is_unsure=unsure)
    return Next(state=Outcome.QUEUED, not_before_ms=at_ms, is_unsure=unsure)


def _page(row: OutRow) -> str:
    """What tells more: the alarm's own page; of a storm, the list of all; a notice is of no alarm."""
    if row.kind is MessageKind.NOTICE:
        return "/"
    return "/alarms" if row.subject == STORM else f"/alarms/{quote(row.subject, safe='')}"


def _is_ripe(row: OutRow, now_ms: int) -> bool:
    """Also when the clock was put back since: then what was due when it was made is due."""
    is_due = row.not_before_ms <= max(now_ms, row.made_ms)
    return is_due and (now_ms < row.expires_ms or _is_owed(row))


def _is_owed(row: OutRow) -> bool:
    return row.is_pressing and row.tries == 0


def _is_free(row: OutRow) -> bool:
    return row.priority is Priority.SAFETY or row.kind is MessageKind.TEST


def _may(bound: Sequence[OutRow], sent_ms: Sequence[int], recipients: Recipients, now_ms: int) -> bool:
    is_urgent = any(row.priority is Priority.HIGH and row.kind is not MessageKind.CLEARS for row in bound)
    reserve = 0 if is_urgent else RESERVE
    a_day = recipients.of(bound[0].person).a_day
    for span_s, most in ((HOUR_S, AN_HOUR), (STORM_S, A_STORM), (DAY_S, a_day)):
        begun_ms = now_ms - span_s * 1000
        kept_free = reserve if most > RESERVE else 0
        # What left after now left before the clock was set back: it would count until that hour comes again.
        if sum(1 for at_ms in sent_ms if begun_ms < at_ms <= now_ms) >= most - kept_free:
            return False
    return True


def _single(row: OutRow) -> Sending:
    return Sending(channel=row.channel, rows=(row,), title=row.title, text=row.text)
