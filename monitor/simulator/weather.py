"""The air of the demonstration's rooms: a pure function of time and seed, so that it never ends."""

import math
import random
from dataclasses import dataclass

_DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """What a room's air does on average."""

    temperature_c: float
    daily_swing_c: float  # half the span between night and afternoon
    weather_swing_c: float
    dew_point_c: float
    weather_swing_dew_c: float
    heated_by_day_c: float  # added in working hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """One slow swing of the weather."""

    amplitude: float
    period_s: float
    phase: float

    def at(self, time_s: float) -> float:
        return self.amplitude * math.sin(math.tau * time_s / self.period_s + self.phase)


class RoomAir:
    """Temperature and dew point of one room at any time."""

    def __init__(self, climate: Climate, seed: str) -> None:
        dice = random.Random(seed)
        self._climate = climate
        self._warmth = _waves(dice, climate.weather_swing_c)
        self._damp = _waves(dice, climate.weather_swing_dew_c)
        self._flutter = [
            Wave(amplitude=0.15, period_s=dice.uniform(1500.0, 7200.0), phase=dice.uniform(0.0, math.tau))
            for _ in range(4)
        ]

    def temperature_c(self, time_s: float) -> float:
        climate = self._climate
        # Coolest towards five in the morning, warmest towards five in the afternoon.
        daily = -climate.daily_swing_c * math.cos(math.tau * (time_s / _DAY_S - 5.0 / 24.0))
        heating = climate.heated_by_day_c * _working(time_s)
        return (
            climate.temperature_c + daily + heating + _sum(self._warmth, time_s) + _sum(self._flutter, time_s)
        )

    def dew_point_c(self, time_s: float) -> float:
        """People bring moisture in working hours; never closer than 2 K to the room's own temperature."""
        climate = self._climate
        dew_c = climate.dew_point_c + _sum(self._damp, time_s) + 0.8 * _working(time_s)
        return min(dew_c, self.temperature_c(time_s) - 2.0)


def weekday(time_s: float) -> int:
    """0 = Monday; Unix time began on a Thursday."""
    return int(time_s // _DAY_S + 3) % 7


def _working(time_s: float) -> float:
    """0 to 1: how much the workshop is in use; it opens Tuesday to Saturday."""
    if weekday(time_s) in (0, 6):
        return 0.0
    hour = time_s % _DAY_S / 3600.0
    return _smooth((hour - 8.0) / 2.0) * _smooth((21.0 - hour) / 2.0)


def _smooth(share: float) -> float:
    inside = min(max(share, 0.0), 1.0)
    return inside * inside * (3.0 - 2.0 * inside)


def _waves(dice: random.Random, swing: float) -> list[Wave]:
    periods_d = (1.7, 2.6, 3.9, 6.3, 11.0, 29.0)
    return [
        Wave(
            amplitude=swing * dice.uniform(0.4, 0.8) / math.sqrt(len(periods_d) / 2.0),
            period_s=period_d * dice.uniform(0.85, 1.15) * _DAY_S,
            phase=dice.uniform(0.0, math.tau),
        )
        for period_d in periods_d
    ]


def _sum(waves: list[Wave], time_s: float) -> float:
    return sum(wave.at(time_s) for wave in waves)
