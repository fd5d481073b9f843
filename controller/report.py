"""The state message: when it is due, and every member the contract asks for."""

from controller.limits import FAN_LEAST
from controller.permits import Living
from controller.sensors import Sensor
from controller.signals import Inputs, Outputs

_QUIET_MS, _HEATING_MS = 10_000, 2000
# A change is told at once, but a flood of refusals must not become a flood of states.
_CHANGE_MS = 500


class Reporter:
    """Numbers states and says when the next one is due."""

    def __init__(self, now_ms: int) -> None:
        self._seq = 0
        self._last_ms = now_ms - _QUIET_MS
        self._key: tuple[object, ...] | None = None

    def is_due(self, now_ms: int, key: tuple[object, ...], living: Living | None) -> bool:
        """Every 10 s, under a permit every 2 s or third of its lease, and soon after a change."""
        since_ms = now_ms - self._last_ms
        if since_ms < 0 or since_ms >= _every_ms(living):
            return True
        return key != self._key and since_ms >= _CHANGE_MS

    def published(self, now_ms: int, key: tuple[object, ...]) -> int:
        """The new state's number."""
        self._seq += 1
        self._last_ms, self._key = now_ms, key
        return self._seq


def _every_ms(living: Living | None) -> int:
    """Each renewal rests on a state of its own, so a short lease needs them faster."""
    if living is None:
        return _QUIET_MS
    return max(min(_HEATING_MS, living.lease_ms // 3), _CHANGE_MS)


def seen_said(sensors: list[Sensor], seen: Inputs, driven: Outputs) -> dict[str, object]:
    """The members that tell what is measured and driven."""
    turns = driven.fan if seen.fan_share is None else seen.fan_share >= FAN_LEAST
    return {
        "chamber_c": [_rounded(sensor.shown_c, 3) for sensor in sensors],
        "sample_seq": [sensor.seq for sensor in sensors],
        "humidity_pct": _bounded(seen.humidity_pct, 100.0),
        "heater": round(driven.duty, 3),
        "power_w": _bounded(seen.power_w, 20_000.0),
        "fan": turns,
        "door_open": seen.door_open,
        "cutout_ok": seen.cutout_ok,
    }


def permit_said(living: Living | None, now_ms: int) -> dict[str, object] | None:
    if living is None:
        return None
    left_s = max(living.ends_ms - now_ms, 0) / 1000.0
    return {"cycle": living.cycle, "seq": living.seq, "left_s": left_s}


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)


def _bounded(value: float | None, most: float) -> float | None:
    """What no sensor can mean is told as nothing: one bad member would cost the whole message."""
    if value is None or not -1.0 <= value <= most * 1.02:
        return None
    return round(min(max(value, 0.0), most), 2)
