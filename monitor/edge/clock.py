"""The clocks: the only place that reads the time."""

import time


class SystemClock:
    """This machine's own time [s]."""

    def wall_s(self) -> float:
        return time.time()

    def mono_s(self) -> float:
        return time.monotonic()


class ScaledClock:
    """Time that begins now and passes `speed` times as fast, for demonstrations [s]."""

    def __init__(self, speed: float) -> None:
        self._speed = speed
        self._wall_s = time.time()
        self._mono_s = time.monotonic()

    def wall_s(self) -> float:
        return self._wall_s + (time.monotonic() - self._mono_s) * self._speed

    def mono_s(self) -> float:
        return self._mono_s + (time.monotonic() - self._mono_s) * self._speed
