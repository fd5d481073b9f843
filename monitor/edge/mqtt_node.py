"""The plain MQTT connections: of a node or oven, and of the recorder."""

import logging
import threading
from collections.abc import Callable, Sequence

import paho.mqtt.client as paho
from paho.mqtt.reasoncodes import ReasonCode

from monitor.edge.mqtt_client import (
    KEEPALIVE_S,
    RETRY_LEAST_S,
    Address,
    Parting,
    end,
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
        self._parting = parting
        protocol = "3.1.1" if address.protocol == "3.1.1" else "5"
        self._client = new_client(client_id, protocol, address, manual_ack=False)
        self._client.reconnect_delay_set(RETRY_LEAST_S, RETRY_MOST_S)
        self._client.max_queued_messages_set(100)
        self._client.will_set(parting.topic, parting.will, qos=1, retain=True)
        self._client.on_connect = self._on_connect
        self._client.suppress_exceptions = True
        self._connected = threading.Event()
        self._client.on_disconnect = lambda *_: self._connected.clear()

    def start(self) -> None:
        self._client.connect_async(self._address.host, self._address.port, KEEPALIVE_S)
        self._client.loop_start()

    def wait_connected(self, timeout_s: float) -> bool:
        return self._connected.wait(timeout_s)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False, timeout_s: float = 5.0) -> bool:
        """Send at QoS 1 and wait until the broker has it; False when it has not within the time."""
        if not self._connected.is_set():
            return False
        info = self._client.publish(topic, payload, qos=1, retain=retain)
        try:
            info.wait_for_publish(timeout_s)
            return bool(info.is_published())
        except (RuntimeError, ValueError):  # the connection went away meanwhile
            return False

    def close(self) -> None:
        if self._connected.is_set():
            self.publish(self._parting.topic, self._parting.will, retain=True, timeout_s=2.0)
        end(self._client)

    def _on_connect(
        self, client: paho.Client, _: object, __: object, reason: ReasonCode, ___: object
    ) -> None:
        if not reason.is_failure:
            client.publish(self._parting.topic, self._parting.birth, qos=1, retain=True)
            self._connected.set()
        else:
            log.warning("the broker refuses the connection: %s", reason)


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
        protocol = "3.1.1" if address.protocol == "3.1.1" else "5"
        self._client = new_client(client_id, protocol, address, manual_ack=False)
        self._client.reconnect_delay_set(RETRY_LEAST_S, RETRY_MOST_S)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._client.suppress_exceptions = True
        self.refusal: str | None = None
        self.subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: self.subscribed.set()

    def start(self) -> None:
        self._client.connect_async(self._address.host, self._address.port, KEEPALIVE_S)
        self._client.loop_start()

    def stop(self) -> None:
        end(self._client)

    def _on_connect(
        self, client: paho.Client, _: object, __: object, reason: ReasonCode, ___: object
    ) -> None:
        if reason.is_failure:
            self.refusal = f"the broker refuses the connection: {reason}"
        else:
            client.subscribe([(topic, 1) for topic in self._filters])

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
