"""How much heat, and when the switch is closed: a regulator that looks ahead, and switching in windows."""

from controller.limits import OvenLimits

_RATE_S = 30.0
# Close to the set-point the integral may move; far from it, it would only wind up.
_LONGEST_STEP_S = 10.0


class Regulator:
    """Proportional and integral on the temperature that the present rise leads to."""

    def __init__(self, limits: OvenLimits) -> None:
        self._limits = limits
        self._last_ms: int | None = None
        self._last_c = 0.0
        self._rate_c_s = 0.0
        self._integral = 0.0

    def forget(self) -> None:
        """Heat was off for some reason: begin from nothing."""
        self._last_ms = None
        self._integral = 0.0

    def duty(self, now_ms: int, measured_c: float, setpoint_c: float) -> float:
        """0 to 1."""
        limits, dt_s = self._limits, 0.0
        if self._last_ms is None:
            self._rate_c_s = 0.0
        else:
            dt_s = min((now_ms - self._last_ms) / 1000.0, _LONGEST_STEP_S)
        if dt_s > 0.0:
            share = dt_s / (_RATE_S + dt_s)
            self._rate_c_s += share * ((measured_c - self._last_c) / dt_s - self._rate_c_s)
        self._last_ms, self._last_c = now_ms, measured_c
        # What is still wanted where the present rise leads to: heat on its way counts as having arrived.
        error_c = setpoint_c - measured_c - limits.lead_s * self._rate_c_s
        wanted = error_c / limits.band_c + self._integral
        is_near = abs(setpoint_c - measured_c) < limits.band_c
        # Where the output cannot follow, the integral must not wind up.
        if is_near and not (wanted >= 1.0 and error_c > 0.0) and not (wanted <= 0.0 and error_c < 0.0):
            self._integral += error_c * dt_s / (limits.band_c * limits.integral_s)
            self._integral = min(max(self._integral, 0.0), 1.0)
        return min(max(wanted, 0.0), 1.0)


class Pulser:
    """Closes a switch for the duty's share of each window, never shorter than it bears (R17)."""

    def __init__(self, window_ms: int, least_ms: int) -> None:
        self._window_ms = window_ms
        self._least_ms = least_ms
        self._begun_ms: int | None = None
        self._on_ms = 0
        self._owed_ms = 0

    def forget(self) -> None:
        self._begun_ms = None
        self._owed_ms = 0

    def is_on(self, now_ms: int, duty: float) -> bool:
        """What was too short to be switched is owed to the next window."""
        if self._begun_ms is None or now_ms - self._begun_ms >= self._window_ms:
            self._begun_ms = now_ms
            wanted_ms = int(duty * self._window_ms) + self._owed_ms
            self._on_ms = wanted_ms
            if wanted_ms < self._least_ms:
                self._on_ms = 0
            elif wanted_ms > self._window_ms - self._least_ms:
                self._on_ms = self._window_ms
            owed_ms = wanted_ms - self._on_ms
            self._owed_ms = min(max(owed_ms, -self._least_ms), self._least_ms) if 0.0 < duty < 1.0 else 0
        elapsed_ms = now_ms - self._begun_ms
        if duty <= 0.0 and elapsed_ms >= self._least_ms:
            # No heat is asked for any more; what is told as no heat must be none.
            self._on_ms = min(self._on_ms, elapsed_ms)
        return elapsed_ms < self._on_ms
