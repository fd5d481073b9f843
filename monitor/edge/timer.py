"""Calls back at given times: a scheduler in memory alone, with somebody who minds that it goes on.

What the scheduler keeps is nothing that could be lost: its jobs are built anew from `times()` at the start,
after each edit, whenever the clock was set, and whenever it stopped making progress. Its thread can die while
it says that it is running, so only its heartbeat counts. What fires is an event; whether anything happens is
decided elsewhere, from the time as it is then.
"""

import contextlib
import datetime as dt
import logging
import threading
from collections.abc import Callable, Iterable
from typing import Any

from monitor.edge.clock import SystemClock
from monitor.ports import Clock

log = logging.getLogger(__name__)

BEAT_S = 5.0
LOOK_S = 30.0  # what was not decided at its moment is looked at again
LATE_S = 45.0  # no beat for so long: its pool may wait for a busy database, but not for longer than this
MIND_S = 1.0
AFTER_S = 0.05  # a moment after its time: a clock read twice must not find it a moment before
_WORKERS = 3
_TROUBLE = "The timer of planned starts does not go on: nothing begins by itself. See the log."


class Timer:
    """`look` is called at each of `times` (Unix s of `clock`), and twice a minute; never twice at once."""

    def __init__(
        self,
        times: Callable[[], Iterable[tuple[int, float]]],
        look: Callable[[], None],
        *,
        clock: Clock,
        pace_s: Callable[[], float],
        clock_steps: Callable[[], int],
        speed: float = 1.0,
    ) -> None:
        """`pace_s` counts real seconds; a demonstration's `clock` runs `speed` times as fast.
        `clock_steps` counts how often the clock was set so far.
        """
        self._times = times
        self._look = look
        self._clock = clock
        self._pace_s = pace_s
        self._clock_steps = clock_steps
        self._steps_seen = 0
        self._speed = speed
        self._scheduler: Any = None
        self._beat_s = pace_s()
        self._is_stale = True
        self._wake, self._closing = threading.Event(), threading.Event()
        self._thread = threading.Thread(target=self._mind, name="timer-minder", daemon=True)
        self.built = 0  # schedulers so far

    @property
    def trouble(self) -> str | None:
        """A sentence while it makes no progress."""
        return _TROUBLE if self._thread.is_alive() and self.beat_age_s() > 2 * LATE_S else None

    def beat_age_s(self) -> float:
        """Real seconds since its scheduler last proved that it goes on."""
        return self._pace_s() - self._beat_s

    def start(self) -> None:
        self._beat_s = self._pace_s()
        self._thread.start()

    def stop(self) -> None:
        self._closing.set()
        self._wake.set()
        self._thread.join(timeout=5.0)
        self._let_go()

    def rebuild(self) -> None:
        """The times have changed; from any thread, and never waits."""
        self._is_stale = True
        self._wake.set()

    def next_due_s(self) -> tuple[float, ...]:
        """Seconds until each job's next run by its own clock; for whoever asks how it is."""
        scheduler, now = self._scheduler, _now()
        jobs = [] if scheduler is None else scheduler.get_jobs()
        return tuple((job.next_run_time - now).total_seconds() for job in jobs)

    def _mind(self) -> None:
        while not self._closing.is_set():
            try:
                self._turn()
            except Exception:  # whatever fails, the next turn tries again
                log.exception("minding the timer failed")
                self._is_stale = True
            self._wake.wait(MIND_S)
            self._wake.clear()

    def _turn(self) -> None:
        """A new scheduler rather than a mended one: cheap, and free of whatever befell the old one."""
        steps = self._clock_steps()
        if steps != self._steps_seen:
            self._steps_seen = steps
            log.warning("the clock was set: the timer's jobs are built anew")
            self._is_stale = True
        if self.beat_age_s() > LATE_S:
            log.error("the timer has stood still for %.0f s: a new one is built", self.beat_age_s())
            self._is_stale = True
        if self._is_stale:
            self._is_stale = False
            self._build()

    def _build(self) -> None:
        times = tuple(self._times())
        self._let_go()
        scheduler = _new_scheduler()
        _add_repeated(scheduler, self._beat, BEAT_S, "beat")
        _add_repeated(scheduler, self._look, LOOK_S, "look")
        for number, at_s in times:
            after_s = max(at_s - self._clock.wall_s(), 0.0) / self._speed + AFTER_S
            scheduler.add_job(
                self._look,
                "date",
                run_date=_now() + dt.timedelta(seconds=after_s),
                id=f"start-{number}",
            )
        self._scheduler = scheduler
        scheduler.start()
        self._beat_s = self._pace_s()
        self.built += 1

    def _beat(self) -> None:
        self._beat_s = self._pace_s()

    def _let_go(self) -> None:
        """Not waited for: it may be the very thing that hangs."""
        old, self._scheduler = self._scheduler, None
        if old is not None:
            shut = threading.Thread(target=_shut, args=(old,), name="timer-end", daemon=True)
            shut.start()
            shut.join(timeout=1.0)


def _shut(scheduler: Any) -> None:
    with contextlib.suppress(Exception):
        scheduler.shutdown(wait=False)


def _new_scheduler() -> Any:
    """Imported here: it takes 0.1 s that no page and no reading should wait for."""
    from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
    from apscheduler.executors.pool import ThreadPoolExecutor
    from apscheduler.schedulers.background import BackgroundScheduler

    scheduler = BackgroundScheduler(
        timezone=dt.UTC,
        executors={"default": ThreadPoolExecutor(_WORKERS)},
        # The library's own second of grace would drop a job that waited for a thread.
        job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
    )
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    scheduler.add_listener(_heard, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
    return scheduler


def _heard(event: Any) -> None:
    """Nothing of a job is raised anywhere: it is told here, and the next look makes good for it."""
    reason = getattr(event, "exception", None)
    log.warning(
        "a job of the timer did not run through job=%s code=%s why=%r", event.job_id, event.code, reason
    )


def _add_repeated(scheduler: Any, act: Callable[[], None], every_s: float, name: str) -> None:
    """The library's own interval lists every run that a forward step of the clock skipped: months of it fill
    the memory. This trigger counts from the present, so it never has more than one run due."""
    from apscheduler.triggers.base import BaseTrigger

    class FromNow(BaseTrigger):  # type: ignore[misc]  # unannotated in apscheduler
        def get_next_fire_time(self, previous: dt.datetime | None, now: dt.datetime) -> dt.datetime:  # noqa: ARG002
            return now + dt.timedelta(seconds=every_s)

    first = _now() + dt.timedelta(seconds=AFTER_S)
    scheduler.add_job(act, FromNow(), id=name, next_run_time=first)


def _now() -> dt.datetime:
    return dt.datetime.fromtimestamp(SystemClock().wall_s(), dt.UTC)
