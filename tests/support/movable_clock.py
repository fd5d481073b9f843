"""A wall clock that a test can set while real time goes on.

The scheduler's library reads the time by `datetime.now`: that is replaced by one with a movable offset, which is
what a step of the machine's clock is to it. Its waits, by the monotonic clock, stay real.
"""

import datetime as dt
import time

from monitor.edge import timer


class Clock:
    """The machine's own, with a wall clock that can be set."""

    def __init__(self):
        self.ahead_s = 0.0

    def wall_s(self):
        return time.time() + self.ahead_s

    def mono_s(self):
        return time.monotonic()


def movable(monkeypatch, clock):
    """The library and the timer read the same clock that the test sets."""
    import apscheduler.executors.base
    import apscheduler.schedulers.base

    class Moved(dt.datetime):
        @classmethod
        def now(cls, tz=None):
            return dt.datetime.fromtimestamp(clock.wall_s(), tz)

    for each in (apscheduler.executors.base, apscheduler.schedulers.base):
        monkeypatch.setattr(each, "datetime", Moved)
    monkeypatch.setattr(timer, "SystemClock", lambda: clock)
