"""Which of an oven's many states are kept as the air of its chamber: bounded writing, whatever it sends."""

from monitor.model.oven import OvenState
from monitor.model.oven_air import OvenAir

_WARM_C = 35.0
_COLD_EVERY_MIN = 5
# What a sensor can say and be believed; a state with nothing else is no air.
_BELIEVED_C = (-40.0, 130.0)
_BELIEVED_PCT = (0.0, 100.0)


class Chambers:
    """One row a minute while warm, one in five minutes while cold: some 20 kB a day and oven at the most."""

    def __init__(self) -> None:
        self._kept: dict[str, int] = {}  # oven -> newest span that was kept

    def air(self, oven: str, state: OvenState, wall_s: float) -> OvenAir | None:
        """The air to be kept, or None where this minute has one already or no sensor tells anything."""
        lowest_c, highest_c = _BELIEVED_C
        told = [value for value in state.chamber_c if value is not None and lowest_c <= value <= highest_c]
        if not told:
            return None
        warmth_c = sum(told) / len(told)
        is_warm = warmth_c >= _WARM_C or state.heater > 0.0 or state.permit is not None
        every_min = 1 if is_warm else _COLD_EVERY_MIN
        # The beginning of its span numbers it, so that a restart within one writes nothing twice.
        minute = int(wall_s // 60.0) // every_min * every_min
        if minute == self._kept.get(oven):
            return None
        self._kept[oven] = minute
        return OvenAir(
            oven=oven,
            minute=minute,
            temperature_c=warmth_c,
            humidity_pct=_humidity_pct(state.humidity_pct),
            heater=state.heater,
        )


def _humidity_pct(value: float | None) -> float | None:
    """A driver may go a little beyond its ends; further off it is no humidity."""
    if value is None or not -1.0 <= value <= 101.0:
        return None
    lowest, highest = _BELIEVED_PCT
    return min(max(value, lowest), highest)
