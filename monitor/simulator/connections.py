"""How the virtual devices reach the broker: each by a connection and an account of its own."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.mqtt_node import NodeLink
from monitor.simulator.history import NodePublish
from monitor.simulator.live import Connect, DeviceKind

# Gives a device's address at the broker, with its own account.
AddressOf = Callable[[str], Address]

_CONNECT_S = 10.0
_OFFLINE = b'{"online": false}'


class DeviceConnection:
    """One device on the wire: publishes below its own name only."""

    def __init__(self, address: Address, site: str, kind: DeviceKind, key: str, presence: bytes) -> None:
        self._start = f"sorbwatch/{site}/{kind}/{key}"
        parting = Parting(topic=f"{self._start}/online", birth=presence, will=_OFFLINE)
        self._link = NodeLink(address, client_id=f"sorbwatch-{kind}-{key}", parting=parting)
        self._link.start()

    def publish(self, leaf: str, payload: bytes) -> bool:
        self._link.wait_connected(_CONNECT_S)
        return self._link.publish(f"{self._start}/{leaf}", payload)

    def close(self) -> None:
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
