"""The look before heat: fan proven, sensors alive, and each of the two switches shown to open by itself.

With a meter, each switch is closed alone for some seconds. Power then means that the other one has welded,
and the node learns of it before the second one goes. The rule that trips is R6's (`rules.py`); this only
waits long enough for it.
"""

# Long enough for R6 to see ten seconds of power, and two steps more.
_ALONE_MS = 14_000
_STILL_MS = 3_000
# The relay is open again before the other switch closes.
_GAP_MS = 2_000


class PreheatCheck:
    """Begun afresh for each time heat comes back."""

    def __init__(self, *, has_meter: bool) -> None:
        self._has_meter = has_meter
        self._ready_ms: int | None = None
        self.is_passed = False

    def step(self, now_ms: int, is_ready: bool) -> tuple[bool, bool]:
        """Which of the switches to close; `is_ready`: fan and sensors give no reason to hold."""
        if not is_ready:
            self._ready_ms = None
            return False, False
        if self._ready_ms is None:
            self._ready_ms = now_ms
        elapsed_ms = now_ms - self._ready_ms - _STILL_MS
        if elapsed_ms < 0:
            return False, False
        if not self._has_meter or elapsed_ms >= 2 * _ALONE_MS + _GAP_MS:
            self.is_passed = True
            return False, False
        return elapsed_ms < _ALONE_MS, elapsed_ms >= _ALONE_MS + _GAP_MS
