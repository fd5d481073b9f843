"""Smoke detectors as their packs arrive: an alarm does not wait until it is in the store (B-44)."""

from monitor.errors import BadMessageError
from monitor.model.arrival import Arrival
from monitor.model.reading import Quantity, WireReading
from monitor.wire.messages import parse_pack

# Most packs tell of no smoke and are not read twice; a name with the word in an escape is found in the store.
_WORD = b"smoke"
# An alarm out of a node's buffer that is older than this is history; the store shows it.
_OLDEST_S = 600.0
# By then the reading is committed, and what the store says counts.
_KEPT_S = 120.0


class Detectors:
    """Which channels have told of smoke a moment ago."""

    def __init__(self) -> None:
        self._alarmed_mono_s: dict[str, float] = {}

    def heard(self, node: str, arrival: Arrival) -> frozenset[str]:
        """The channels, `<node>/<channel>`, of which this pack says that their detector alarms now."""
        if arrival.retain or _WORD not in arrival.payload:
            return frozenset()
        try:
            pack = parse_pack(node, arrival.payload, arrival.content_type)
        except BadMessageError:
            return frozenset()  # in the quarantine already
        newest: dict[str, WireReading] = {}
        for reading in pack.readings:
            known = newest.get(reading.channel)
            if reading.quantity is Quantity.SMOKE and (
                known is None or _age_s(reading, arrival) <= _age_s(known, arrival)
            ):
                newest[reading.channel] = reading
        alarming = set()
        for channel, reading in newest.items():
            key = f"{node}/{channel}"
            if reading.value > 0.5 and _age_s(reading, arrival) <= _OLDEST_S:
                self._alarmed_mono_s[key] = arrival.mono_s
                alarming.add(key)
            elif reading.value <= 0.5:
                self._alarmed_mono_s.pop(key, None)
        return frozenset(alarming)

    def is_alarming(self, channel: str | None, mono_s: float) -> bool:
        """Whether it said so within the last two minutes, and nothing else since."""
        if channel is None or channel not in self._alarmed_mono_s:
            return False
        return mono_s - self._alarmed_mono_s[channel] <= _KEPT_S


def _age_s(reading: WireReading, arrival: Arrival) -> float:
    """How old it was when it came [s]; below 0 where the node's clock is ahead."""
    return reading.ago_s if reading.time_s is None else arrival.wall_s - reading.time_s
