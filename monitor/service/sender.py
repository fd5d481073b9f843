"""The thread that sends what waits in the outbox and has the worker write what came of it.

"Exactly once, as far as the channel allows" means: a row is marked as being sent, and that is committed,
before anything leaves; and it is marked as sent after the channel said so. If the service ends between the
two, nobody can know whether it arrived: no channel here can recognise a repeat. Such a row is marked as one
that may have been sent; of high and safety it is sent again, since hearing twice harms nobody; any other is
not. What was not yet marked as being sent is sent once. What cannot wait until the database can be written
again leaves without these marks (`unwritten.py`).
"""

import logging
import secrets
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

from monitor.alarms.delivery_due import Sending, after_failure, due, expired, letter, together
from monitor.errors import GoneError, LaterError, MonitorError
from monitor.model.audit import SYSTEM, AuditEntry, AuditKind
from monitor.model.delivery import (
    Channel,
    ChannelRemoved,
    Hastened,
    Letter,
    OutboxChange,
    Outcome,
    OutRow,
    Recipients,
    Settled,
    Taken,
)
from monitor.ports import OutboxStore
from monitor.service.engine import Engine
from monitor.service.unwritten import Unwritten, hand_over

log = logging.getLogger(__name__)

TURN_S = 1.0
DEADLINE_S = 30.0  # a receiver that says nothing for so long is taken for hung
STALLED_S = 120.0
DAY_MS = 86_400_000
FAILING_AFTER = 3  # so many tries in a row
UNKNOWN = "nothing was heard of it; it may have been sent"

Ask = Callable[[Callable[[Engine], Any]], Any]


@dataclass(slots=True, kw_only=True)
class _Attempt:
    """One message on its way."""

    name: str
    channel: Channel
    rows: tuple[OutRow, ...]
    begun_s: float
    done: "Future[bool]"
    is_hung: bool = False


class Sender:
    """Sends on a thread of its own, and by each channel on another, so that none holds up the rest.

    Args:
        send: Sealed address and letter; True when the channel took it. May raise, and may hang; GoneError
            ends the channel, LaterError says for how long to wait.
        pace_s: Real seconds, monotonic.
    """

    def __init__(
        self,
        store: OutboxStore,
        ask: Ask,
        *,
        send: Callable[[bytes, Letter], bool],
        now_s: Callable[[], float],
        pace_s: Callable[[], float],
    ) -> None:
        self._store = store
        self._ask = ask
        self._send = send
        self._now_s = now_s
        self._pace_s = pace_s
        self._attempts: dict[int, _Attempt] = {}  # by channel: one at a time
        self._unsettled: list[OutboxChange] = []  # what came of sending and is not written yet
        self._unknown: list[str] = []  # taken under these names, if at all, without our hearing of it
        self._unwritten = Unwritten(store.recipients, send)
        self._failures: dict[int, int] = {}
        self._is_recovered = False
        self._turned_s = pace_s()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """What is on its way may still arrive; the next start finds it as one that may have been sent."""
        self._stop.set()
        self._thread.join(timeout=5.0)

    def hold(self, changes: Sequence[OutboxChange]) -> None:
        """What the worker cannot write just now; nothing once it has. On the worker's thread."""
        self._unwritten.hold(changes)

    @property
    def trouble(self) -> str | None:
        """A sentence while messages do not get out; else None."""
        if self._pace_s() - self._turned_s > STALLED_S:
            return "The sending of messages has stopped: restart the service."
        failing = sorted(number for number, count in self._failures.items() if count >= FAILING_AFTER)
        if not failing:
            return None
        shown = {channel.number: channel for channel in self._store.recipients().channels}
        names = [f"{shown[n].name} ({shown[n].shown})" for n in failing if n in shown]
        return f"Messages do not get out by {', '.join(names)}: look at the address." if names else None

    def turn(self) -> None:
        """One look at what is due, what came back, and what hangs. Never waits for a channel."""
        now_ms = round(self._now_s() * 1000)
        self._unwritten.turn(now_ms)  # before anything that needs the worker
        if not self._is_recovered:
            self._recover(now_ms)
        for attempt in list(self._attempts.values()):
            self._look_at(attempt, now_ms)
        self._write()
        self._give_back()
        self._start_due(now_ms)
        self._turned_s = self._pace_s()

    def _run(self) -> None:
        while not self._stop.wait(TURN_S):
            try:
                self.turn()
            except (MonitorError, TimeoutError) as error:
                log.warning("sending waits reason=%s", error)
                self._turned_s = self._pace_s()
            except Exception:  # whatever is wrong with one message, others must get out
                log.exception("sending failed")

    def _recover(self, now_ms: int) -> None:
        """What was on its way when the service ended."""
        for row in self._store.outbox_open(Outcome.SENDING):
            self._unsettled += _failed(row, "", now_ms, UNKNOWN, is_unsure=True)
        self._is_recovered = True

    def _look_at(self, attempt: _Attempt, now_ms: int) -> None:
        if attempt.done.done():
            del self._attempts[attempt.channel.number]
            self._came_back(attempt, now_ms)
        elif not attempt.is_hung and self._pace_s() - attempt.begun_s > DEADLINE_S:
            attempt.is_hung = True
            self._count(attempt.channel, is_good=False)
            for row in attempt.rows:
                self._unsettled += _failed(row, attempt.name, now_ms, UNKNOWN, is_unsure=True)

    def _came_back(self, attempt: _Attempt, now_ms: int) -> None:
        trouble, is_gone, wait_s = "", False, None
        try:
            is_good = attempt.done.result()
        except MonitorError as error:
            is_good, trouble, is_gone = False, str(error), isinstance(error, GoneError)
            wait_s = error.after_s if isinstance(error, LaterError) else None
        except Exception as error:  # a fault of the library or of the network; its text may hold the address
            is_good, trouble = False, f"failed ({type(error).__name__})"
        self._count(attempt.channel, is_good=is_good)
        if is_gone:
            self._unsettled.append(ChannelRemoved(number=attempt.channel.number, at_ms=now_ms))
        for row in attempt.rows:
            if is_good:  # also after it was taken for hung: then it need not be repeated
                name = "" if attempt.is_hung else attempt.name
                self._unsettled.append(Settled(name=name, key=row.key, state=Outcome.SENT, at_ms=now_ms))
            elif not attempt.is_hung:
                said = trouble or "the receiver did not take it"
                self._unsettled += _failed(
                    row, attempt.name, now_ms, said, is_unsure=False, is_final=is_gone, wait_s=wait_s
                )

    def _count(self, channel: Channel, *, is_good: bool) -> None:
        self._failures[channel.number] = 0 if is_good else self._failures.get(channel.number, 0) + 1
        if not is_good:
            log.warning("message not sent channel=%d to=%s", channel.number, channel.shown)

    def _write(self) -> None:
        """Kept until it is written: it is not known otherwise what was sent."""
        if not self._unsettled:
            return
        changes = tuple(self._unsettled)

        def act(engine: Engine) -> None:
            engine.change_outbox(*changes)
            engine.audit(*_given_up(changes))

        self._ask(act)
        for change in changes:
            if isinstance(change, Settled):
                self._unwritten.forget(change.key)
        del self._unsettled[: len(changes)]

    def _give_back(self) -> None:
        """Rows that were taken without our hearing of it were never sent."""
        if not self._unknown:
            return
        names = tuple(self._unknown)
        self._ask(
            lambda _: None
        )  # asked in turn: once this is answered, whatever was asked before is written
        for name in names:
            if self._store.outbox_taken(name):
                at_ms = round(self._now_s() * 1000)
                back = Settled(name=name, state=Outcome.QUEUED, at_ms=at_ms)
                self._ask(_changing(back))
        del self._unknown[: len(names)]

    def _start_due(self, now_ms: int) -> None:
        queued = self._store.outbox_open(Outcome.QUEUED, now_ms)
        self._unsettled += [
            Settled(key=row.key, state=Outcome.SENT, at_ms=now_ms)
            for row in queued
            if self._unwritten.has_left(row)
        ]
        waiting = [row for row in queued if not self._unwritten.has_it(row, now_ms)]
        if not waiting:
            return
        self._unsettled += [
            Settled(key=row.key, state=Outcome.GIVEN_UP, at_ms=now_ms, trouble="too old to be of use")
            for row in expired(waiting, now_ms)
        ]
        recipients = self._store.recipients()
        sent = self._store.outbox_left(now_ms - DAY_MS)
        for sending in due(waiting, sent, recipients, now_ms):
            if self._stop.is_set():
                return
            if sending.channel in self._attempts:
                self._hasten_past(sending, now_ms)
            else:
                self._take(sending, recipients, now_ms)

    def _hasten_past(self, sending: Sending, now_ms: int) -> None:
        """What cannot wait for a channel that hangs goes by the next one at once."""
        if self._attempts[sending.channel].is_hung:
            for row in sending.rows:
                if row.is_pressing and row.tries == 0:
                    self._unsettled.append(_hastened(row, now_ms))

    def _take(self, sending: Sending, recipients: Recipients, now_ms: int) -> None:
        name = secrets.token_hex(8)
        channel = next((each for each in recipients.channels if each.number == sending.channel), None)
        if channel is None:
            self._unsettled += [
                Settled(key=row.key, state=Outcome.CANCELLED, at_ms=now_ms, trouble="the channel was removed")
                for row in sending.rows
            ]
            return
        taken = Taken(keys=tuple(row.key for row in sending.rows), name=name, at_ms=now_ms)
        self._unknown.append(name)
        self._ask(_changing(taken))
        rows = self._store.outbox_taken(name)
        self._unknown.remove(name)
        if rows:
            self._begin(_still(sending, rows), channel, name, rows)

    def _begin(self, sending: Sending, channel: Channel, name: str, rows: tuple[OutRow, ...]) -> None:
        begun_s, done = self._pace_s(), hand_over(self._send, channel, letter(sending))
        self._attempts[channel.number] = _Attempt(
            name=name, channel=channel, rows=rows, begun_s=begun_s, done=done
        )


def _changing(change: OutboxChange) -> Callable[[Engine], None]:
    return lambda engine: engine.change_outbox(change)


def _still(sending: Sending, rows: Sequence[OutRow]) -> Sending:
    """Without what was cancelled between the look and the taking."""
    if len(rows) == len(sending.rows):
        return sending
    return together(rows)


def _failed(
    row: OutRow,
    name: str,
    now_ms: int,
    trouble: str,
    *,
    is_unsure: bool,
    is_final: bool = False,
    wait_s: float | None = None,
) -> list[OutboxChange]:
    following = after_failure(row, now_ms, is_unsure=is_unsure, is_final=is_final, retry_after_s=wait_s)
    settled = Settled(
        name=name,
        key=row.key,
        state=following.state,
        at_ms=now_ms,
        not_before_ms=following.not_before_ms,
        is_unsure=following.is_unsure,
        trouble=trouble,
    )
    return [settled, _hastened(row, now_ms)] if row.is_pressing else [settled]


def _hastened(row: OutRow, now_ms: int) -> Hastened:
    return Hastened(
        person=row.person, subject=row.subject, occurrence=row.occurrence, rung=row.rung, at_ms=now_ms
    )


def _given_up(changes: Sequence[OutboxChange]) -> list[AuditEntry]:
    """What nobody asked for, for the log."""
    entries = []
    for change in changes:
        if isinstance(change, Settled) and change.state is Outcome.GIVEN_UP:
            detail = {"message": change.key, "why": change.trouble}
            entries.append(_entry(change.at_ms, "gave a message up", detail))
        elif isinstance(change, ChannelRemoved):
            entries.append(_entry(change.at_ms, "removed a way that had ended", {"way": str(change.number)}))
    return entries


def _entry(at_ms: int, what: str, detail: dict[str, str]) -> AuditEntry:
    return AuditEntry(at_ms=at_ms, who=SYSTEM, kind=AuditKind.DELIVERY, about="", what=what, detail=detail)
