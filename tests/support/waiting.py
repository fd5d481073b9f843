"""Waiting on a condition, with an end."""

import threading
import time

_PAUSE = threading.Event()


def wait_for(condition, timeout_s=10.0, what="the condition"):
    """Poll until true; the value, or AssertionError after the time-out."""
    ends = time.monotonic() + timeout_s
    while time.monotonic() < ends:
        value = condition()
        if value:
            return value
        _PAUSE.wait(0.02)
    raise AssertionError(f"{what} did not come true within {timeout_s} s")
