"""The site as it goes on: each node sampled on its own time and heard through its own connection."""

import heapq
import itertools
import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from typing import Protocol

from monitor.edge.node import send_next
from monitor.ports import Clock
from monitor.simulator.devices import LIVE_SAMPLE_S, VirtualNode
from monitor.simulator.oven_site import FIRMWARE, VirtualOven
from monitor.simulator.world import World

log = logging.getLogger(__name__)

# How often an oven's controller hears its orders and runs on.
_OVEN_S = 2.0
# Simulated time between two looks at packs that are not confirmed yet.
_RESEND_S = 5.0
_RETRY_S = 30.0


class DeviceKind(StrEnum):
    NODE = "node"
    OVEN = "oven"


Hear = Callable[[str, bytes, bool], None]


class Connection(Protocol):
    """One device's own connection to the broker."""

    def publish(self, leaf: str, payload: bytes) -> bool:
        """Send below the device's own name (`senml`, `state`); True when the broker has confirmed it."""
        ...

    def listen(self, hear: Hear) -> None:
        """From now on hand over what is sent to the device: leaf, payload, whether it was retained."""
        ...

    def close(self) -> None: ...


# Opens a device's connection: its kind, its key and what it says of itself while it is connected.
Connect = Callable[[DeviceKind, str, bytes], Connection]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class _Due:
    time_s: float
    number: int  # settles ties, so that actions are never compared


class LiveSite:
    """Runs all virtual devices in one thread, on the clock that the service uses, too."""

    def __init__(
        self,
        world: World,
        nodes: Sequence[VirtualNode],
        ovens: Sequence[VirtualOven],
        clock: Clock,
        speed: float,
    ) -> None:
        self._world = world
        self._nodes = nodes
        self._ovens = ovens
        self._clock = clock
        self._speed = speed
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._connections: list[Connection] = []
        self._agenda: list[tuple[_Due, Callable[[float], float]]] = []
        self._numbers = itertools.count()

    def start(self, connect: Connect) -> None:
        """Connect every device and let time run."""
        begin_s = max(self._clock.wall_s(), self._world.time_s)
        for place, node in enumerate(self._nodes):
            node.core.sample_s = LIVE_SAMPLE_S
            connection = self._connected(connect, DeviceKind.NODE, node.key, node.core.presence(FIRMWARE))
            # Nodes of a real site are not in step; these start a little apart.
            self._at(begin_s + 0.4 * place, partial(self._sample, node))
            self._at(begin_s + 0.4 * place + 0.2, partial(self._send, node, connection))
        for oven in self._ovens:
            oven.begin(begin_s)
            connection = self._connected(connect, DeviceKind.OVEN, oven.key, oven.presence())
            connection.listen(oven.receive)
            self._at(begin_s + 1.0, partial(self._report, oven, connection))
        self._thread = threading.Thread(target=self._run, name="simulator", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop the thread and close every connection; what was not confirmed is dropped."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=10.0)
        for connection in self._connections:
            connection.close()
        self._connections.clear()

    def is_running(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def _connected(self, connect: Connect, kind: DeviceKind, key: str, presence: bytes) -> Connection:
        connection = connect(kind, key, presence)
        self._connections.append(connection)
        return connection

    def _at(self, time_s: float, action: Callable[[float], float]) -> None:
        heapq.heappush(self._agenda, (_Due(time_s=time_s, number=next(self._numbers)), action))

    def _run(self) -> None:
        while not self._stop.is_set():
            due, action = self._agenda[0]
            left_s = (due.time_s - self._clock.wall_s()) / self._speed
            if left_s > 0.0:
                self._stop.wait(left_s)
                continue
            heapq.heappop(self._agenda)
            self._world.advance_to(due.time_s)
            self._at(due.time_s + self._done(action, due.time_s), action)

    def _done(self, action: Callable[[float], float], time_s: float) -> float:
        """Seconds until the action is due again; one that fails must not silence the whole site."""
        try:
            return action(time_s)
        except Exception:
            log.exception("virtual device failed time_s=%.0f", time_s)
            return _RETRY_S

    def _sample(self, node: VirtualNode, time_s: float) -> float:
        node.pass_time(LIVE_SAMPLE_S)
        node.core.keep(node.sample_by_driver(time_s))
        return LIVE_SAMPLE_S

    def _send(self, node: VirtualNode, connection: Connection, time_s: float) -> float:
        send_next(
            node.core, partial(connection.publish, "senml"), uptime_s=time_s - node.boot_s, wall_s=time_s
        )
        return _RESEND_S

    def _report(self, oven: VirtualOven, connection: Connection, time_s: float) -> float:
        for payload in oven.report(time_s):
            connection.publish("state", payload)
        return _OVEN_S
