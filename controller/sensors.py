"""What one chamber sensor has said: its newest good sample, bad ones in a row, its noise (R1 to R3)."""

from controller.limits import (
    SENSOR_LEAST_C,
    SENSOR_MOST_C,
    STALE_HOLD_MS,
    STUCK_BUCKET_MS,
    STUCK_C,
    STUCK_DUTY,
)

_TRAIL_EVERY_MS = 15_000
_TRAIL_KEPT = 44  # eleven minutes
_STUCK_SAMPLES = 20


class Sensor:
    """One sensor; `good_ms` begins at power-up, so that one that never answers becomes stale, too."""

    def __init__(self, now_ms: int, hard_c: float) -> None:
        self.seq = 0
        self.shown_c: float | None = None  # for the state message: as measured, or nothing
        self.good_c: float | None = None
        self.good_ms = now_ms
        self.bad_in_row = 0
        self.over_hard_in_row = 0
        self.is_stuck = False
        self._hard_c = hard_c
        self._given: int | None = None
        self._trail: list[tuple[int, float]] = []
        self._bucket = _Bucket(now_ms)
        self._earlier: _Bucket | None = None

    def take(self, now_ms: int, given: int, value_c: float | None) -> None:
        """A sample with the driver's own number; the same number again is no fresh sample."""
        if given == self._given:
            return
        self._given = given
        self.seq += 1
        self.shown_c = value_c if value_c is not None and -60.0 <= value_c <= 1000.0 else None
        if value_c is None or not SENSOR_LEAST_C <= value_c <= SENSOR_MOST_C:
            self.bad_in_row += 1
            return
        self.bad_in_row = 0
        self.good_c, self.good_ms = value_c, now_ms
        self.over_hard_in_row = self.over_hard_in_row + 1 if value_c > self._hard_c else 0
        self._bucket.take(value_c)
        if not self._trail or now_ms - self._trail[-1][0] >= _TRAIL_EVERY_MS:
            self._trail.append((now_ms, value_c))
            if len(self._trail) > _TRAIL_KEPT:
                self._trail.pop(0)

    def note_duty(self, now_ms: int, duty: float) -> None:
        """Which heat the last sample was taken under; closes a bucket of five minutes when it is full."""
        self._bucket.take_duty(duty)
        if now_ms - self._bucket.begun_ms < STUCK_BUCKET_MS:
            return
        self.is_stuck = self._earlier is not None and self._earlier.is_quiet_with(self._bucket)
        self._earlier, self._bucket = self._bucket, _Bucket(now_ms)

    def is_trusted(self, now_ms: int) -> bool:
        """Good enough to heat by: answered well last time, and not long ago (R2)."""
        return self.good_c is not None and self.bad_in_row == 0 and now_ms - self.good_ms <= STALE_HOLD_MS

    def rise_c(self, now_ms: int, span_ms: int) -> float | None:
        """How much warmer than `span_ms` ago; None before that much has been seen."""
        if self.good_c is None or now_ms - self.good_ms > STALE_HOLD_MS:
            return None
        for at_ms, value_c in reversed(self._trail):
            if now_ms - at_ms >= span_ms:
                # A gap in the samples must not be taken for a rise over the span.
                return self.good_c - value_c if now_ms - at_ms <= span_ms + 2 * _TRAIL_EVERY_MS else None
        return None


class _Bucket:
    """Spread of samples and of duty over some minutes."""

    def __init__(self, begun_ms: int) -> None:
        self.begun_ms = begun_ms
        self.samples = 0
        self.least_c, self.most_c = 1e9, -1e9
        self.most_duty = 0.0

    def take(self, value_c: float) -> None:
        self.samples += 1
        self.least_c, self.most_c = min(self.least_c, value_c), max(self.most_c, value_c)

    def take_duty(self, duty: float) -> None:
        self.most_duty = max(self.most_duty, duty)

    def is_quiet_with(self, other: "_Bucket") -> bool:
        """R3: no noise left over both, although heat came in pulses or changed."""
        spread_c = max(self.most_c, other.most_c) - min(self.least_c, other.least_c)
        duty = max(self.most_duty, other.most_duty)
        enough = min(self.samples, other.samples) >= _STUCK_SAMPLES
        return enough and spread_c < STUCK_C and duty >= STUCK_DUTY
