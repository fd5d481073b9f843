"""Messages that cannot wait until the database can be written: they leave from memory, each once.

A card that is full or has failed stops every write, and the outbox with them. What is urgent, and that
nothing can be written, is then sent without the outbox. Once it can be written again the outbox is told what
has left. If the service ends before, nothing is known of it, and it may be heard twice.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from monitor.alarms.delivery_due import letter, together
from monitor.errors import MonitorError
from monitor.model.delivery import Added, Cancelled, Channel, Letter, OutboxChange, OutRow, Recipients
from monitor.model.message import WRITE_TROUBLE

log = logging.getLogger(__name__)

HELD_MS = 30_000  # a write that waits for less is an ordinary one
AGAIN_MS = 60_000
HUNG_MS = 120_000

Send = Callable[[bytes, Letter], bool]


def hand_over(send: Send, channel: Channel, what: Letter) -> "Future[bool]":
    """Sends on a thread of its own, so that a channel which hangs holds up nothing; what came of it."""
    done: Future[bool] = Future()

    def run() -> None:
        try:
            done.set_result(send(channel.sealed, what))
        except BaseException as error:
            done.set_exception(error)

    threading.Thread(target=run, name=f"channel-{channel.number}", daemon=True).start()
    return done


@dataclass(slots=True, kw_only=True)
class _Try:
    row: OutRow
    begun_ms: int
    done: "Future[bool]"

    def has_left(self) -> bool:
        return self.done.done() and self.done.exception() is None and self.done.result()

    def may_go(self, now_ms: int) -> bool:
        """Whether it is still on its way, as far as one can know."""
        return not self.done.done() and now_ms - self.begun_ms < HUNG_MS


class Unwritten:
    """Holds and sends them. `hold` is called on the worker's thread, all else on the sender's.

    Args:
        recipients: Who is told by which way; may raise, then whoever was known last is told.
        send: As the sender's.
    """

    def __init__(self, recipients: Callable[[], Recipients], send: Send) -> None:
        self._recipients = recipients
        self._send = send
        self._known = Recipients(wishes=(), channels=())
        self._rows: tuple[OutRow, ...] = ()
        self._tries: dict[str, _Try] = {}

    def hold(self, changes: Sequence[OutboxChange]) -> None:
        """All that waits to be written; nothing once it is written."""
        over = {(c.subject, c.occurrence) for c in changes if isinstance(c, Cancelled)}
        left = {(t.row.subject, t.row.occurrence) for t in tuple(self._tries.values()) if t.has_left()}
        added = [change for change in changes if isinstance(change, Added)]
        self._rows = tuple(
            each.row
            for each in added
            # An end is told to whoever was told of the beginning; a beginning that is over is not told.
            if _cannot_wait(each.row)
            and (_about(each.row) in left if each.only_if_told else _about(each.row) not in over)
        )

    def turn(self, now_ms: int) -> None:
        """Sends what is due and not on its way. Never waits for a channel."""
        rows = [row for row in self._rows if self._is_due(row, now_ms)]
        if not rows:
            return
        try:
            self._known = self._recipients()
        except MonitorError as error:
            log.warning("recipients as known last reason=%s", error)
        for row in rows:
            self._begin(row, now_ms)

    def has_left(self, row: OutRow) -> bool:
        """Whether it was sent while it could not be written."""
        attempt = self._tries.get(row.key)
        return attempt is not None and attempt.has_left()

    def has_it(self, row: OutRow, now_ms: int) -> bool:
        """Whether it was sent, or may be on its way just now."""
        attempt = self._tries.get(row.key)
        return attempt is not None and (attempt.has_left() or attempt.may_go(now_ms))

    def forget(self, key: str) -> None:
        """What came of it is written."""
        self._tries.pop(key, None)

    def _is_due(self, row: OutRow, now_ms: int) -> bool:
        attempt = self._tries.get(row.key)
        if attempt is not None:
            return not attempt.has_left() and now_ms - attempt.begun_ms >= (
                AGAIN_MS if attempt.done.done() else HUNG_MS
            )
        return now_ms >= max(row.not_before_ms, row.made_ms + HELD_MS)

    def _begin(self, row: OutRow, now_ms: int) -> None:
        channel = next((each for each in self._known.channels if each.number == row.channel), None)
        if channel is None:
            return
        log.warning("message leaves unwritten channel=%d about=%s", row.channel, row.subject)
        done = hand_over(self._send, channel, letter(together([row])))
        self._tries[row.key] = _Try(row=row, begun_ms=now_ms, done=done)


def _about(row: OutRow) -> tuple[str, str]:
    return row.subject, row.occurrence


def _cannot_wait(row: OutRow) -> bool:
    return row.is_pressing or row.subject == WRITE_TROUBLE
