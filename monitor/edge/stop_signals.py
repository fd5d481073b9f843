"""SIGTERM and Ctrl-C as an event, whichever thread the kernel hands them to."""

import os
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_SIGNALS = (signal.SIGTERM, signal.SIGINT)


@contextmanager
def stop_signals() -> Iterator[threading.Event]:
    """An event that SIGTERM and Ctrl-C set, so that the caller's parts end in order. Main thread only.

    Python runs its handlers on the main thread alone, once that comes back to bytecode. Where another thread
    got the signal, a main thread that waits for a lock sleeps on, and the signal with it. The byte to the
    wake-up descriptor is written in whichever thread it was, so a thread of ours reads it from there.
    """
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    stop = threading.Event()
    watch = threading.Thread(target=_set_once_written, args=(reading, stop), name="stop-signals", daemon=True)
    descriptor_before = signal.set_wakeup_fd(writing, warn_on_full_buffer=False)
    # Without a handler nothing is written. This one does nothing: it might meet the event's lock held.
    handlers_before = {number: signal.signal(number, lambda *_: None) for number in _SIGNALS}
    watch.start()
    try:
        yield stop
    finally:
        for number, handler in handlers_before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(descriptor_before)
        os.close(writing)  # the watch reads the end, and ends
        watch.join()
        os.close(reading)


def _set_once_written(reading: int, stop: threading.Event) -> None:
    while os.read(reading, 64):
        stop.set()
