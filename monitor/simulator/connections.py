"""How the virtual devices reach the broker: each by a connection and an account of its own."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.mqtt_node import Listener, NodeLink
from monitor.model.arrival import Arrival
from monitor.simulator.history import NodePublish
from monitor.simulator.live import Connect, DeviceKind, Hear

# Gives a device's address at the broker, with its own account.
AddressOf = Callable[[str], Address]

_CONNECT_S = 10.0
_ORDERS = ("permit", "stop", "reset")
_OFFLINE = b'{"online": false}'


class DeviceConnection:
    """One device on the wire: publishes below its own name only."""

    def __init__(self, address: Address, site: str, kind: DeviceKind, key: str, presence: bytes) -> None:
        self._start = f"sorbwatch/{site}/{kind}/{key}"
        parting = Parting(topic=f"{self._start}/online", birth=presence, will=_OFFLINE)
        self._link = NodeLink(address, client_id=f"sorbwatch-{kind}-{key}", parting=parting)
        self._link.start()
        self._address, self._client_id = address, f"sorbwatch-{kind}-{key}"
        self._listener: Listener | None = None

    def publish(self, leaf: str, payload: bytes) -> bool:
        self._link.wait_connected(_CONNECT_S)
        return self._link.publish(f"{self._start}/{leaf}", payload)

    def listen(self, hear: Hear) -> None:
        """Orders come over a connection of their own, so that a slow answer never delays a stop."""

        def put(arrival: Arrival) -> None:
            hear(arrival.topic.rpartition("/")[2], arrival.payload, arrival.retain)

        self._listener = Listener(
            self._address,
            client_id=f"{self._client_id}-orders",
            filters=[f"{self._start}/{leaf}" for leaf in _ORDERS],
            put=put,
            clock=SystemClock(),
        )
        self._listener.start()

    def close(self) -> None:
        if self._listener is not None:
            self._listener.stop()
        self._link.close()


def live_connect(address_of: AddressOf, site: str) -> Connect:
    """Opens a device's connection when the site goes live."""

    def connect(kind: DeviceKind, key: str, presence: bytes) -> DeviceConnection:
        return DeviceConnection(address_of(key), site, kind, key, presence)

    return connect


@contextmanager
def history_publish(address_of: AddressOf, site: str, presences: dict[str, bytes]) -> Iterator[NodePublish]:
    """Sends each node's past over that node's own connection."""
    connections: dict[str, DeviceConnection] = {}

    def publish(node: str, payload: bytes) -> bool:
        if node not in connections:
            connections[node] = DeviceConnection(
                address_of(node), site, DeviceKind.NODE, node, presences[node]
            )
        return connections[node].publish("senml", payload)

    try:
        yield publish
    finally:
        for connection in connections.values():
            connection.close()
