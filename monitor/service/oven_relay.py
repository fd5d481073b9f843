"""A network relay and a placed sensor in the place of a controller: their state, and its orders (B-24)."""

import uuid

from monitor.model.arrival import Arrival
from monitor.model.inventory import Oven, RelayWire
from monitor.model.oven import LivingPermit, OvenPhase, OvenState
from monitor.model.reading import Pack, Quantity, WireReading

# What a node kept in its buffer for longer says nothing of the chamber now (as contract 3 has it for states).
_OLDEST_S = 10.0


class RelayOven:
    """What can be known of an oven behind a relay.

    The relay itself says nothing. An ON counts until its own countdown has run out. After an OFF its heat is
    taken to have ended, but not its leave to heat: that an OFF arrived cannot be told, so a stop is
    confirmed only when the countdown is over.
    """

    def __init__(self, entry: Oven, wire: RelayWire, mono_s: float) -> None:
        self.entry, self.wire = entry, wire
        self._boot = (
            f"relay-{uuid.uuid4().hex[:8]}"  # of this run of the program: nothing of an earlier one holds
        )
        self._began_mono_s = mono_s
        self._seq = self._sample_seq = 0
        self._chamber_c: float | None = None
        self._sampled_s = float("-inf")  # by the node's clock where it has one
        self._permit: tuple[str, int] | None = None  # cycle and number of the last ON
        self._ends_mono_s = float("-inf")
        self._is_on = False

    def is_told_by(self, node: str) -> bool:
        """Whether this node's packs hold the temperature of its chamber."""
        return self.entry.channel is not None and self.entry.channel.startswith(f"{node}/")

    def heard(self, pack: Pack, arrival: Arrival) -> bool:
        """A pack; whether it holds a fresh temperature of this oven's chamber."""
        ours = [
            (_time_s(reading, arrival), reading.value)
            for reading in pack.readings
            if reading.quantity is Quantity.TEMPERATURE
            and f"{pack.node}/{reading.channel}" == self.entry.channel
        ]
        if not ours:
            return False
        at_s, value_c = max(ours)
        if at_s <= self._sampled_s or abs(arrival.wall_s - at_s) > _OLDEST_S:
            return False
        self._sampled_s, self._chamber_c = at_s, value_c
        self._sample_seq += 1
        return True

    def state(self, mono_s: float) -> OvenState:
        """The state that a controller would publish now."""
        self._seq += 1
        left_s = self._ends_mono_s - mono_s
        is_live, is_on = left_s > 0.0, self._is_on and left_s > 0.0
        permit = None
        if is_live and self._permit is not None:
            permit = LivingPermit(cycle=self._permit[0], seq=self._permit[1], left_s=left_s)
        return OvenState(
            boot=self._boot,
            uptime_s=mono_s - self._began_mono_s,
            seq=self._seq,
            state=OvenPhase.HEATING if is_on else OvenPhase.IDLE,
            chamber_c=(self._chamber_c,),
            sample_seq=(self._sample_seq,),
            humidity_pct=None,
            heater=1.0 if is_on else 0.0,
            power_w=None,
            fan=False,
            door_open=None,
            cutout_ok=True,  # it opens the mains itself; nothing here would be told
            armed_s=None,
            permit=permit,
            refused=None,
            trip=None,
        )

    def on(self, on_s: float, cycle: str, seq: int, mono_s: float) -> tuple[str, bytes]:
        """Topic and payload of an ON that ends by itself after at most `on_s` [s]."""
        seconds = max(int(on_s), 1)
        self._is_on, self._permit, self._ends_mono_s = True, (cycle, seq), mono_s + seconds
        return self.wire.on_topic, self.wire.on_payload.replace("{seconds}", str(seconds)).encode()

    def off(self) -> tuple[str, bytes]:
        """Topic and payload of an OFF."""
        self._is_on = False
        return self.wire.off_topic, self.wire.off_payload.encode()


def _time_s(reading: WireReading, arrival: Arrival) -> float:
    return arrival.wall_s - reading.ago_s if reading.time_s is None else reading.time_s
