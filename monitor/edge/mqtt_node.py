"""The plain MQTT connections: of a node or oven, and of the recorder."""

import logging
import threading
import zlib
from collections.abc import Callable, Sequence

import paho.mqtt.client as paho
from paho.mqtt.reasoncodes import ReasonCode

from monitor.edge.mqtt_client import (
    KEEPALIVE_S,
    RETRY_LEAST_S,
    Address,
    Parting,
    abandon,
    end,
    falls_back,
    is_thread_dead,
    new_client,
    topic_of,
)
from monitor.model.arrival import Arrival
from monitor.ports import Clock

log = logging.getLogger(__name__)

RETRY_MOST_S = 60


class NodeLink:
    """A node's or oven's own connection: says that it is there, and confirms what the broker has taken."""

    def __init__(self, address: Address, *, client_id: str, parting: Parting) -> None:
        self._address = address
        self._client_id = client_id
        self._parting = parting
        self._connected = threading.Event()
        self._denied: set[int] = set()  # packets that the broker has taken and thrown away
        self._client = self._build()

    def start(self) -> None:
        _start(self._client, self._address)

    def wait_connected(self, timeout_s: float) -> bool:
        return self._connected.wait(timeout_s)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, timeout_s: float = 5.0) -> bool:
        """Send at QoS 1 and wait until the broker has it; False when it has not within the time.

        Also False where the broker's access list forbids it, as far as the broker tells: 3.1.1 cannot.
        """
        if not self._connected.is_set():
            return False
        if is_thread_dead(self._client):
            self._start_anew()
            return False
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        try:
            info.wait_for_publish(timeout_s)
            return bool(info.is_published()) and info.mid not in self._denied
        except (RuntimeError, ValueError):  # the connection went away meanwhile
            return False
        finally:
            self._denied.discard(info.mid)

    def close(self) -> None:
        if self._connected.is_set():
            self.publish(self._parting.topic, self._parting.will, retain=True, timeout_s=2.0)
        end(self._client)

    def _build(self) -> paho.Client:
        client = _plain_client(self._client_id, self._address)
        client.reconnect_delay_set(retry_least_s(self._client_id), RETRY_MOST_S)
        client.max_queued_messages_set(100)
        client.will_set(self._parting.topic, self._parting.will, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = lambda *_: self._connected.clear()
        client.on_publish = self._on_publish
        return client

    def _start_anew(self) -> None:
        """A client whose thread has died stays as it is; only a new one connects again."""
        log.warning("the connection's thread has died; building a new one")
        abandon(self._client)
        self._connected.clear()
        self._client = self._build()
        self.start()

    def _on_connect(
        self, client: paho.Client, _: object, __: object, reason: ReasonCode, ___: object
    ) -> None:
        if not reason.is_failure:
            client.publish(self._parting.topic, self._parting.birth, qos=1, retain=True)
            self._connected.set()
        elif not falls_back(client, self._address, reason, keeps_session=False):
            log.warning("the broker refuses the connection: %s", reason)

    def _on_publish(self, _: paho.Client, __: object, mid: int, reason: ReasonCode, ___: object) -> None:
        if reason.is_failure:
            self._denied.add(mid)
            log.warning("the broker refuses what is published: %s; check its access list", reason)


class Listener:
    """Hears everything below a filter, for a capture; leaves nothing behind at the broker."""

    def __init__(
        self,
        address: Address,
        *,
        client_id: str,
        filters: Sequence[str],
        put: Callable[[Arrival], None],
        clock: Clock,
    ) -> None:
        self._address, self._filters, self._put, self._clock = address, filters, put, clock
        self._client = _plain_client(client_id, address)
        self._client.reconnect_delay_set(RETRY_LEAST_S, RETRY_MOST_S)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self.refusal: str | None = None
        self.subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: self.subscribed.set()

    def start(self) -> None:
        _start(self._client, self._address)

    def stop(self) -> None:
        end(self._client)

    def _on_connect(
        self, client: paho.Client, _: object, __: object, reason: ReasonCode, ___: object
    ) -> None:
        if not reason.is_failure:
            client.subscribe([(topic, 1) for topic in self._filters])
        elif not falls_back(client, self._address, reason, keeps_session=False):
            self.refusal = f"the broker refuses the connection: {reason}"

    def _on_message(self, _: paho.Client, __: object, message: paho.MQTTMessage) -> None:
        self._put(
            Arrival(
                topic=topic_of(message),
                payload=bytes(message.payload),
                retain=message.retain,
                content_type=getattr(message.properties, "ContentType", None),
                wall_s=self._clock.wall_s(),
                mono_s=self._clock.mono_s(),
            )
        )


def retry_least_s(client_id: str) -> int:
    """1 to 3 s by client: after an outage a whole site must not come back in step (C-04)."""
    return RETRY_LEAST_S + zlib.crc32(client_id.encode()) % 3


def _plain_client(client_id: str, address: Address) -> paho.Client:
    return new_client(client_id, "3.1.1" if address.protocol == "3.1.1" else "5", address, manual_ack=False)


def _start(client: paho.Client, address: Address) -> None:
    client.connect_async(address.host, address.port, KEEPALIVE_S)
    client.loop_start()
