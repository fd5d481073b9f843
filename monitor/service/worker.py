"""The one thread that owns the engine and writes the database: take, commit, then acknowledge and tell."""

import logging
import queue
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from monitor.errors import MonitorError, StoreBusyError, StoreError
from monitor.model.arrival import Arrival
from monitor.model.batch import Batch
from monitor.model.computed import Computed
from monitor.model.delivery import OutboxChange
from monitor.model.history import Progress
from monitor.ports import AlarmDuty, Clock, OvenDuty, WriteStore
from monitor.service.engine import Engine

log = logging.getLogger(__name__)

COMMIT_ITEMS = 500
QUIET_S = 0.02  # nothing came for this long while catching up: commit what there is
CATCHING_UP_ITEMS = 100
ROLL_UP_EVERY_S = 300.0
ROLL_UP_READINGS = 20_000
CAUGHT_UP_READINGS = 1_000  # so many, and no more wait: a past has come in, and charts want it now
PRUNE_EVERY_S = 3_600.0
PRUNE_PIECES_S = 5.0
RETRY_S = 1.0
# Before this date this program did not exist: a board that says so has not been told the time yet.
CLOCK_FLOOR_S = 1_767_225_600.0  # 2026-01-01
CLOCK_BEHIND_S = 3_600.0
CLOCK_BEHIND = "This board's clock is behind its newest record: set the time. Readings wait."


def clock_floor_s(newest_s: float) -> float:
    """The earliest time that this board's clock may tell and be believed, by its newest record [Unix s]."""
    return max(CLOCK_FLOOR_S, newest_s - CLOCK_BEHIND_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Something to do on the worker's thread, with the engine, answered after it is committed."""

    act: Callable[[Engine], Any]
    answer: "Future[Any]"


class Worker:
    """Runs `engine` on its own thread. `put` and `ask` may be called from any thread."""

    def __init__(
        self,
        engine: Engine,
        store: WriteStore,
        clock: Clock,
        *,
        pace_s: Callable[[], float],
        commit_every_s: float,
        acknowledge: Callable[[list[Any]], None],
        committed: Callable[[Batch], None],
        ovens: OvenDuty | None = None,
        alarms: AlarmDuty | None = None,
        follow: Callable[[int], tuple[Computed, bool]] | None = None,
        hold: Callable[[Sequence[OutboxChange]], None] | None = None,
    ) -> None:
        self._engine = engine
        self._store = store
        self._clock = clock
        self._pace_s = pace_s  # real seconds, also where a demonstration runs its clock faster
        self._commit_every_s = commit_every_s
        self._acknowledge = acknowledge
        self._committed = committed
        self._ovens = ovens
        self._alarms = alarms
        self._follow = follow  # moves computed states on to a time, a bounded piece of it
        self._hold = hold  # hears of messages that cannot be written, and of none once they are
        self._has_more_to_follow = False
        self._follow_trouble: str | None = None
        self._oven_trouble: str | None = None
        self._alarm_trouble: str | None = None
        self._inbox: queue.SimpleQueue[Arrival | Ask | None] = queue.SimpleQueue()
        self._tokens: list[Any] = []
        self._answers: list[tuple[Future[Any], Any]] = []
        self._items = 0
        self._first_item_s = 0.0
        self._readings_since_roll_up = 0
        self._rolled_up_s = self._pruned_s = pace_s()
        self._held: list[Arrival] = []
        self._trouble: str | None = None
        self._write_trouble: str | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="worker", daemon=True)

    @property
    def trouble(self) -> str | None:
        """A sentence while something keeps it from committing, else None."""
        return self._trouble or self._oven_trouble or self._alarm_trouble or self._follow_trouble

    @property
    def oven_trouble(self) -> str | None:
        """A sentence while the ovens cannot be supervised."""
        return self._oven_trouble

    @property
    def can_write(self) -> bool:
        """Whether the last commit went through."""
        return self._trouble is None

    @property
    def write_trouble(self) -> str | None:
        """A sentence while the database cannot be written; whatever else keeps readings waiting is none."""
        return self._write_trouble

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Commit and acknowledge what was taken, then end."""
        self._stop.set()
        self._inbox.put(None)
        self._thread.join(timeout=15.0)

    def put(self, arrival: Arrival) -> None:
        self._inbox.put(arrival)

    def ask(self, act: Callable[[Engine], Any], timeout_s: float = 10.0) -> Any:
        """Run `act(engine)` on the worker's thread; returns its answer once it is committed."""
        answer: Future[Any] = Future()
        self._inbox.put(Ask(act=act, answer=answer))
        return answer.result(timeout=timeout_s)

    def waiting(self) -> int:
        return self._inbox.qsize() + len(self._held)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._turn()
            except Exception:  # the thread that owns the state must outlive any one fault
                log.exception("worker turn failed")
                self._trouble = "An unexpected fault in the service; see its log."
                self._stop.wait(RETRY_S)
        self._drain()

    def _turn(self) -> None:
        try:
            item = self._inbox.get(timeout=self._patience_s())
        except queue.Empty:
            item = None
        if item is not None:
            self._take(item)
        self._look_after_ovens()
        if self._alarms is not None:
            self._guard_alarms(self._alarms.tick)
        if self._commit_is_due(idle=item is None):
            self._commit()
        self._upkeep()
        if self._follow is not None and self._inbox.empty():
            self._move_on(self._follow)

    def _patience_s(self) -> float:
        if self._items >= CATCHING_UP_ITEMS or self._has_more_to_follow:
            return QUIET_S
        if self._items:
            return min(max(0.0, self._first_item_s + self._commit_every_s - self._pace_s()), 1.0)
        return 1.0

    def _commit_is_due(self, *, idle: bool) -> bool:
        if self._ovens is not None and self._ovens.is_urgent():
            return True
        if self._alarms is not None and self._alarms.is_urgent():
            return True
        if not self._items:
            return False
        if self._answers or self._items >= COMMIT_ITEMS:
            return True
        if idle and self._items >= CATCHING_UP_ITEMS:
            return True
        return self._pace_s() - self._first_item_s >= self._commit_every_s

    def _take(self, item: Arrival | Ask) -> None:
        if not self._items:
            self._first_item_s = self._pace_s()
        if isinstance(item, Ask):
            self._items += 1
            self._take_ask(item)
        elif self._clock_is_set():
            for held in self._released():
                self._take_arrival(held)
            self._take_arrival(item)
        else:
            self._held.append(item)

    def _take_arrival(self, arrival: Arrival) -> None:
        self._items += 1
        try:
            self._engine.handle(arrival)
        except Exception:  # a poison message must not come again for ever
            log.exception("message could not be handled topic=%s", arrival.topic)
        if self._ovens is not None:
            self._guard_ovens(partial(self._ovens.arrived, arrival))
        if self._alarms is not None:
            self._guard_alarms(partial(self._alarms.arrived, arrival))
        if arrival.token is not None:
            self._tokens.append(arrival.token)

    def _take_ask(self, item: Ask) -> None:
        try:
            self._answers.append((item.answer, item.act(self._engine)))
        except MonitorError as error:
            item.answer.set_exception(error)

    def _look_after_ovens(self) -> None:
        if self._ovens is not None:
            self._guard_ovens(self._ovens.tick)

    def _guard_ovens(self, act: Callable[[], None]) -> None:
        """A fault in supervising gives no permit: within one lease the ovens are off by themselves."""
        try:
            act()
            self._oven_trouble = None
        except Exception:
            log.exception("supervision of the ovens failed")
            self._oven_trouble = "A fault in supervising the ovens; see the log. Nothing is heated."

    def _guard_alarms(self, act: Callable[[], None]) -> None:
        """Readings and ovens go on whatever is wrong with alarms; that they do not is said."""
        try:
            act()
            self._alarm_trouble = None
        except Exception:
            log.exception("alarms failed")
            self._alarm_trouble = "A fault in the alarms; see the log. Look at the boxes yourself."

    def _clock_is_set(self) -> bool:
        """A board without a battery clock starts in the past; its arrivals wait until it knows better."""
        now_s = self._clock.wall_s()
        if now_s >= clock_floor_s(self._engine.newest_s):
            if self._held:
                self._trouble = None
            return True
        self._trouble = CLOCK_BEHIND
        return False

    def _released(self) -> list[Arrival]:
        """Held arrivals, their arrival placed on the clock as it is now set (C.3, 6)."""
        held, self._held = self._held, []
        wall_less_mono_s = self._clock.wall_s() - self._clock.mono_s()
        return [replace(arrival, wall_s=arrival.mono_s + wall_less_mono_s) for arrival in held]

    def _commit(self) -> None:
        batch = self._engine.take_batch()
        if not batch.is_empty() and not self._apply_until_done(batch):
            return
        # While a write waited alarms went on: what they say is told below, so it has to be written, too.
        since = self._engine.take_batch()
        if not since.is_empty() and not self._apply_until_done(since):
            return
        tokens, self._tokens = self._tokens, []
        answers, self._answers = self._answers, []
        self._items = 0
        if tokens:
            self._acknowledge(tokens)
        if self._ovens is not None:  # whoever asked looks at the oven next: as it is after this
            self._guard_ovens(partial(self._ovens.committed, batch))
        if self._alarms is not None:
            self._guard_alarms(partial(self._alarms.committed, batch))
        for answer, value in answers:
            answer.set_result(value)
        self._readings_since_roll_up += len(batch.readings)
        if not batch.is_empty():
            self._committed(batch)

    def _apply_until_done(self, batch: Batch) -> bool:
        """Nothing is acknowledged before it is written, so a busy or failing database is waited for."""
        while True:
            try:
                self._store.apply(batch)
            except StoreBusyError:
                self._trouble = "The database is busy: another program holds it. Readings wait."
            except StoreError as error:
                self._trouble = f"The database cannot be written: {error}. Readings wait at the broker."
            except Exception:  # a fault of ours: never acknowledge what was not written
                log.exception("commit failed")
                self._trouble = "An unexpected fault while writing; see the log. Readings wait at the broker."
            else:
                if self._hold is not None and self._write_trouble is not None:
                    self._hold(())
                self._trouble = self._write_trouble = None
                return True
            self._write_trouble = self._trouble
            log.warning("commit waits reason=%s", self._trouble)
            if self._stop.wait(RETRY_S):
                return False
            if self._alarms is not None:  # also that nothing can be written is to be told
                self._guard_alarms(self._alarms.tick)
            if self._hold is not None:
                self._hold((*batch.outbox, *self._engine.messages_waiting()))

    def _upkeep(self) -> None:
        now_s = self._pace_s()
        due = now_s - self._rolled_up_s >= ROLL_UP_EVERY_S
        caught_up = self._readings_since_roll_up >= CAUGHT_UP_READINGS and self._inbox.empty()
        if due or caught_up or self._readings_since_roll_up >= ROLL_UP_READINGS:
            more = self._guarded(self._store.roll_up)
            self._readings_since_roll_up = 0
            # Work is done in bounded pieces, so that readings and people need not wait for it.
            self._rolled_up_s = now_s if not more else now_s - ROLL_UP_EVERY_S
        if now_s - self._pruned_s >= PRUNE_EVERY_S:
            more = self._guarded(self._store.prune)
            self._pruned_s = now_s if not more else now_s - PRUNE_EVERY_S + PRUNE_PIECES_S

    def _move_on(self, follow: Callable[[int], tuple[Computed, bool]]) -> None:
        """Computed states, in pieces between the readings; what cannot be kept is computed again later."""
        try:
            computed, self._has_more_to_follow = follow(round(self._clock.wall_s() * 1000))
            if computed:
                self._store.keep(computed)
        except StoreError as error:
            self._has_more_to_follow = False
            log.warning("computed states wait reason=%s", error)
        except Exception:  # readings must go on being kept whatever is wrong with what is computed of them
            log.exception("following stopped")
            self._follow, self._has_more_to_follow = None, False
            self._follow_trouble = (
                "A fault in following spools and boxes; see the log. Readings go on being kept."
            )

    def _guarded(self, act: Callable[[int], Progress]) -> bool:
        """Upkeep that fails is tried again at its next turn; returns whether more of it waits."""
        try:
            return act(round(self._clock.wall_s() * 1000)).more
        except StoreError as error:
            log.warning("upkeep waits reason=%s", error)
            return False

    def _drain(self) -> None:
        """On the way out: take and commit once what came in; what cannot be stays unacknowledged."""
        while not self._inbox.empty():
            item = self._inbox.get()
            if isinstance(item, Arrival):
                self._take(item)
            elif isinstance(item, Ask):
                item.answer.set_exception(MonitorError("the service is stopping"))
        self._commit()
        while self._guarded(self._store.roll_up):
            pass
