"""Smoke detectors, as the store has them and as their packs arrive: an alarm does not wait for it (B-44)."""

from collections.abc import Iterable

from monitor.errors import BadMessageError
from monitor.model.arrival import Arrival
from monitor.model.history import Newest
from monitor.model.reading import Pack, Quantity, WireReading
from monitor.oven.site import Detector
from monitor.service.air import DEFAULT_DUE_S
from monitor.wire import topics
from monitor.wire.messages import parse_pack

# Most packs tell of no smoke and are not read twice; a name with the word in an escape is found in the store.
_WORD = b"smoke"
# An alarm out of a node's buffer that is older than this is history; the store shows it.
_OLDEST_S = 600.0
# By then the reading is committed, and what the store says counts.
_KEPT_S = 120.0
# A detector that was silent for so many of its periods is not heard.
_PERIODS = 2.0
_ALARMS_ABOVE = 0.5


def detectors(newest: Iterable[Newest], now_s: float) -> dict[str, Detector]:
    """By channel, `<node>/<channel>`, each detector by its newest stored reading; `now_s` in Unix s."""
    return {
        f"{item.series.node}/{item.series.channel}": Detector(
            is_heard=1000.0 * now_s - item.time_ms
            <= 1000.0 * _PERIODS * (item.series.due_s or DEFAULT_DUE_S),
            is_alarming=item.value > _ALARMS_ABOVE,
        )
        for item in newest
        if item.series.quantity is Quantity.SMOKE
    }


def may_tell(payload: bytes) -> bool:
    """Whether it is worth looking for smoke in it."""
    return _WORD in payload


def pack_with_smoke(site: str, arrival: Arrival) -> Pack | None:
    """The pack of a node of this site that may tell of smoke; None for everything else."""
    if arrival.retain or not may_tell(arrival.payload):
        return None
    try:
        topic = topics.parse(arrival.topic)
        if not isinstance(topic, topics.NodeSenml) or topic.site != site:
            return None
        return parse_pack(topic.node, arrival.payload, arrival.content_type)
    except BadMessageError:
        return None  # in the quarantine already


class Detectors:
    """Which channels have told of smoke a moment ago."""

    def __init__(self) -> None:
        self._alarmed_mono_s: dict[str, float] = {}

    def heard(self, pack: Pack, arrival: Arrival) -> frozenset[str]:
        """The channels, `<node>/<channel>`, of which this pack says that their detector alarms now."""
        newest: dict[str, WireReading] = {}
        for reading in pack.readings:
            known = newest.get(reading.channel)
            if reading.quantity is Quantity.SMOKE and (
                known is None or _age_s(reading, arrival) <= _age_s(known, arrival)
            ):
                newest[reading.channel] = reading
        alarming = set()
        for channel, reading in newest.items():
            key = f"{pack.node}/{channel}"
            is_alarm = reading.value > _ALARMS_ABOVE
            if is_alarm and _age_s(reading, arrival) <= _OLDEST_S:
                self._alarmed_mono_s[key] = arrival.mono_s
                alarming.add(key)
            elif not is_alarm:
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
