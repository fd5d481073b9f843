"""A chamber sensor: lag, offset, noise and steps, and the ways in which it fails."""

import math
import random

from monitor.simulator.oven_faults import SensorFault

_OPEN_C, _SHORT_C, _LOW_C = -242.0, 988.0, -10.0
_SAMPLE_S = 1.0


class ChamberSensor:
    """One of an oven's sensors, sampled by its driver at most once a second."""

    def __init__(
        self,
        dice: random.Random,
        start_c: float,
        *,
        lag_s: float = 15.0,
        offset_c: float = 0.0,
        noise_c: float = 0.02,
        step_c: float = 0.01,
    ) -> None:
        self.number = 0
        self.felt_c = start_c
        self._dice, self._lag_s = dice, lag_s
        self._offset_c, self._noise_c, self._step_c = offset_c, noise_c, step_c
        self._sample: tuple[int, float | None] = (0, None)
        self._since_s = _SAMPLE_S

    def pass_time(self, dt_s: float, air_c: float, room_c: float, fault: SensorFault | None) -> None:
        surround_c = room_c if fault is SensorFault.FALLEN_OUT else air_c
        self.felt_c += (surround_c - self.felt_c) * -math.expm1(-dt_s / self._lag_s)
        self._since_s += dt_s

    def sample(self, fault: SensorFault | None) -> tuple[int, float | None]:
        """The driver's newest sample with its number."""
        if fault is SensorFault.SILENT or self._since_s < _SAMPLE_S:
            return self._sample
        self._since_s = 0.0
        self.number += 1
        value_c = self._sample[1] if fault is SensorFault.STUCK else self._value_c(fault)
        self._sample = (self.number, value_c)
        return self._sample

    def _value_c(self, fault: SensorFault | None) -> float | None:
        if fault is SensorFault.DEAD:
            return None
        if fault is SensorFault.OPEN:
            return _OPEN_C
        if fault is SensorFault.SHORT:
            return _SHORT_C
        low_c = _LOW_C if fault is SensorFault.LOW else 0.0
        measured_c = self.felt_c + self._offset_c + low_c + self._dice.gauss(0.0, self._noise_c)
        return round(measured_c / self._step_c) * self._step_c
