"""What a node does on the wire: samples, keeps them through an outage, sends them oldest first.

`NodeCore` has no sockets and no clock, so that the node on this board and every virtual node of the
demonstration run the same code; `run_node` is the loop round it.
"""

import hashlib
import json
import logging
import math
import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from monitor.edge.sht4x import AirSample
from monitor.model.reading import QUANTITIES, Quantity
from monitor.ports import Clock
from monitor.wire.senml import Record, encode_json

log = logging.getLogger(__name__)

# C-04 asks for 24 h at one sample a minute; twice that costs little.
KEEP_S = 48 * 3600.0
# About 32 KiB of JSON; the wire's bound is 64 KiB.
_PACK_RECORDS = 600
# A clock before this date was never set: no node of this program ran earlier.
_CLOCK_SET_S = 1_767_225_600.0  # 2026-01-01T00:00:00Z
_BACKLOG_PAUSE_S = 0.25
_RETRY_S = 2.0

# Sends one payload and says whether the broker has confirmed it.
Publish = Callable[[bytes], bool]


class Sampler(Protocol):
    def read(self) -> AirSample | None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One value of one channel; booleans as 0.0 and 1.0."""

    channel: str
    quantity: Quantity
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """All that was measured at one moment of the node's uptime."""

    uptime_s: float
    measured: tuple[Measured, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outgoing:
    """A pack on its way; it keeps its number until it is confirmed, so that a second copy is known."""

    seq: int
    rounds: tuple[Round, ...]


class NodeCore:
    """Buffer and numbering of one node."""

    def __init__(self, *, node: str, boot: str, sample_s: float, keep_s: float = KEEP_S) -> None:
        self.node = node
        self.boot = boot
        self.sample_s = sample_s
        self.lost_rounds = 0  # pushed out of a full buffer
        self._waiting: deque[Round] = deque(maxlen=math.ceil(keep_s / sample_s))
        self._outgoing: Outgoing | None = None
        self._next_seq = 0

    @property
    def waiting(self) -> int:
        """Rounds not yet confirmed."""
        return len(self._waiting) + (len(self._outgoing.rounds) if self._outgoing else 0)

    def keep(self, taken: Round) -> None:
        """Put a round behind the others; the oldest gives way when the buffer is full."""
        if not taken.measured:
            return
        if len(self._waiting) == self._waiting.maxlen:
            self.lost_rounds += 1
        self._waiting.append(taken)

    def outgoing(self) -> Outgoing | None:
        """The pack to send now, oldest rounds first; the same one again until it is confirmed."""
        if self._outgoing is None and self._waiting:
            rounds = tuple(islice(self._waiting, self._rounds_in_pack()))
            for _ in rounds:
                self._waiting.popleft()
            self._outgoing = Outgoing(seq=self._next_seq, rounds=rounds)
            self._next_seq += 1
        return self._outgoing

    def confirmed(self, seq: int) -> None:
        """The broker has the pack."""
        if self._outgoing is not None and self._outgoing.seq == seq:
            self._outgoing = None

    def payload(self, pack: Outgoing, *, uptime_s: float, wall_s: float) -> bytes:
        """The pack as SenML; absolute times where the clock has been set, ages otherwise."""
        return encode_json(self._records(pack, uptime_s, wall_s))

    def presence(self, firmware: str) -> bytes:
        """What the node says of itself, retained, while it is connected."""
        said = {"online": True, "boot": self.boot, "firmware": firmware, "sample_s": self.sample_s}
        return json.dumps(said, separators=(",", ":")).encode()

    def _rounds_in_pack(self) -> int:
        records = 0
        for number, taken in enumerate(self._waiting):
            records += len(taken.measured)
            if records > _PACK_RECORDS:
                return max(number, 1)
        return len(self._waiting)

    def _records(self, pack: Outgoing, uptime_s: float, wall_s: float) -> list[Record]:
        # With a set clock each round gets its date, else its age at this very moment. A clock that was
        # set during an outage thereby dates the rounds taken before it, too.
        now_s = wall_s if wall_s >= _CLOCK_SET_S else 0.0
        newest_s = {one: taken.uptime_s for taken in pack.rounds for one in _series(taken)}
        device = device_name(self.node)
        records = [
            Record(
                name=f"{device}{measured.channel}/{measured.quantity}",
                unit=QUANTITIES[measured.quantity].unit,
                value=_value(measured),
                time_s=round(now_s - (uptime_s - taken.uptime_s), 3),
                update_s=2.0 * self.sample_s if newest_s[one] == taken.uptime_s else None,
            )
            for taken in pack.rounds
            for one, measured in zip(_series(taken), taken.measured, strict=True)
        ]
        records.sort(key=_channel)  # each channel's name is then written once
        now = round(now_s, 3)
        return records + [
            Record(name=f"{device}seq", value=pack.seq, time_s=now),
            Record(name=f"{device}boot", value=self.boot, time_s=now),
            Record(name=f"{device}uptime", unit="s", value=round(uptime_s, 3), time_s=now),
        ]


def device_name(node: str) -> str:
    """A locally administered address made from the node's name, as SenML wants a device named."""
    return f"urn:dev:mac:02{hashlib.sha256(node.encode()).hexdigest()[:14]}:"


def _series(taken: Round) -> list[tuple[str, Quantity]]:
    return [(measured.channel, measured.quantity) for measured in taken.measured]


def _channel(record: Record) -> str:
    return record.name[: record.name.rfind("/")]


def _value(measured: Measured) -> float | bool:
    if QUANTITIES[measured.quantity].unit is None:
        return measured.value != 0.0
    return round(measured.value, 3)


def sample_all(samplers: Mapping[str, Sampler], uptime_s: Callable[[], float]) -> Round:
    """Read every sensor once; one that gives nothing leaves a gap, never a guess."""
    measured: list[Measured] = []
    taken_s = uptime_s()
    for channel, sampler in samplers.items():
        sample = sampler.read()
        if sample is None:
            continue
        measured.append(Measured(channel=channel, quantity=Quantity.TEMPERATURE, value=sample.temperature_c))
        if sample.humidity_pct is not None:
            measured.append(Measured(channel=channel, quantity=Quantity.HUMIDITY, value=sample.humidity_pct))
    return Round(uptime_s=taken_s, measured=tuple(measured))


def send_next(core: NodeCore, publish: Publish, *, uptime_s: float, wall_s: float) -> bool:
    """Try to send the oldest pack; True when one was confirmed."""
    pack = core.outgoing()
    if pack is None or not publish(core.payload(pack, uptime_s=uptime_s, wall_s=wall_s)):
        return False
    core.confirmed(pack.seq)
    return True


def run_node(
    core: NodeCore, samplers: Mapping[str, Sampler], publish: Publish, clock: Clock, stop: threading.Event
) -> None:
    """Sample on time and send what waits, at a bounded rate, until told to stop."""
    started_s = clock.mono_s()

    def uptime_s() -> float:
        return clock.mono_s() - started_s

    due_s = 0.0
    while not stop.is_set():
        core.keep(sample_all(samplers, uptime_s))
        due_s = max(due_s + core.sample_s, uptime_s())
        while not stop.is_set() and (left_s := due_s - uptime_s()) > 0:
            sent = send_next(core, publish, uptime_s=uptime_s(), wall_s=clock.wall_s())
            more = sent and core.waiting > 0
            stop.wait(min(_BACKLOG_PAUSE_S, left_s) if more else _until_retry_s(core, left_s))


def _until_retry_s(core: NodeCore, left_s: float) -> float:
    """With nothing to send, sleep to the next sample; with a broker away, ask again soon."""
    return left_s if core.waiting == 0 else min(_RETRY_S, left_s)
