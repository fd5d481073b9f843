"""Was the wall clock set? Told by the monotonic one, which no one can set (B-25)."""

import threading

from monitor.oven.planned import ClockStep
from monitor.ports import Clock

STEP_S = 2.0
_STEPS_KEPT = 64
_TRIES = 3


class ClockWatch:
    """Remembers each step of this run that may still matter; from any thread."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._steps: list[ClockStep] = []
        self._count = 0
        self.since_mono_s = clock.mono_s()
        self._wall_less_mono_s = self._compared()[0]

    def look(self) -> int:
        """How often it was set so far."""
        with self._lock:
            wall_less_mono_s, mono_s = self._compared()
            moved_s = wall_less_mono_s - self._wall_less_mono_s
            before_s = mono_s + self._wall_less_mono_s
            # Slow tuning is no step, so the new difference is what the next look compares with.
            self._wall_less_mono_s = wall_less_mono_s
            if abs(moved_s) <= STEP_S:
                return self._count
            step = ClockStep(at_mono_s=mono_s, before_s=before_s, after_s=before_s + moved_s)
            self._steps = [*self._steps, step][-_STEPS_KEPT:]
            self._count += 1
            return self._count

    def steps(self) -> tuple[ClockStep, ...]:
        """Those of this run, the oldest first."""
        return tuple(self._steps)

    def _compared(self) -> tuple[float, float]:
        """(wall less monotonic, monotonic); the closest readings, as a thread may be held between two."""
        pairs = []
        for _ in range(_TRIES):
            before_s = self._clock.mono_s()
            wall_s = self._clock.wall_s()
            after_s = self._clock.mono_s()
            pairs.append((after_s - before_s, wall_s - after_s, after_s))
        _, wall_less_mono_s, mono_s = min(pairs)
        return wall_less_mono_s, mono_s
