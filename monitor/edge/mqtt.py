"""The service's own MQTT connection: persistent, acknowledged by hand, its progress watched.

The link never trusts a library's own "running" flag: it sends itself a small message every few seconds
and counts only what really comes back. paho's network thread can die or hang while it still reports
itself as connected; a client whose progress has stopped is dropped and a new one built.
"""

import contextlib
import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import paho.mqtt.client as paho
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.edge.mqtt_client import (
    END_S,
    KEEPALIVE_S,
    RETRY_LEAST_S,
    Address,
    Parting,
    abandon,
    drain_outgoing,
    end,
    falls_back,
    is_thread_dead,
    new_client,
    topic_of,
)
from monitor.model.arrival import AckToken, Arrival
from monitor.ports import Clock

log = logging.getLogger(__name__)

SESSION_S = 7 * 86_400  # the broker keeps what we have not acknowledged for this long
RECEIVE_MAXIMUM = 1_000  # unacknowledged messages in flight; above the size of one commit
MAX_PACKET_BYTES = 70_000  # a payload of 64 KiB, its topic and its header
RETRY_MOST_S = 15
OUTGOING_MAX = 10_000
HEARTBEAT_S = 10.0
SILENT_HEARTBEATS = 3
SHORT_LIFE_S = 20.0
TAKEOVERS_A_MINUTE = 3

Put = Callable[[Arrival], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkState:
    """How the link is doing."""

    connected: bool  # messages have really passed lately
    protocol: str
    last_progress_s: float | None  # monotonic time of the last thing that really came in
    last_error: str | None
    clients_built: int
    taken_over: bool  # another program uses our client id and both kick each other out


@dataclass(slots=True)
class _Life:
    """What is known of the present client."""

    client: paho.Client
    connection: int = 0  # the number of its present connection; acknowledgements bear it
    connected_s: float | None = None
    progress_s: float | None = None
    short_lives: deque[float] = field(default_factory=lambda: deque(maxlen=TAKEOVERS_A_MINUTE + 1))


class Link:
    """The service's own connection: persistent session, acknowledgement by hand, watched progress."""

    def __init__(
        self,
        address: Address,
        *,
        client_id: str,
        filters: Sequence[str],
        parting: Parting,
        echo_topic: str,
        put: Put,
        clock: Clock,
        pace_s: Callable[[], float],
        heartbeat_s: float = HEARTBEAT_S,
        keepalive_s: int = KEEPALIVE_S,
    ) -> None:
        self._address = address
        self._client_id = client_id
        self._filters = filters
        self._parting = parting
        self._echo_topic = echo_topic
        self._put = put
        self._clock = clock
        self._pace_s = pace_s
        self._heartbeat_s = heartbeat_s
        self._keepalive_s = keepalive_s
        self._protocol = "3.1.1" if address.protocol == "3.1.1" else "5"
        # Held whenever the connection changes and whenever something is acknowledged, so that an
        # acknowledgement can never go out on another connection than the one that brought the message.
        # Re-entrant: without its thread paho writes in ours, and a failing write calls on_disconnect.
        self._lock = threading.RLock()
        self._connection = 0
        self._is_up = False
        self._is_subscribed = False  # confirmed by the broker, for the session it keeps
        self._life: _Life | None = None
        self._built = 0
        self._started_s = 0.0
        self._last_error: str | None = None
        self._stop = threading.Event()
        self._watch = threading.Thread(target=self._run_watch, name="link-watch", daemon=True)

    def start(self) -> None:
        """Begin to connect; returns at once, also where no broker is there yet."""
        self._build()
        self._watch.start()

    def stop(self) -> None:
        """Say good-bye and end. What was not acknowledged stays at the broker for the next start."""
        self._stop.set()
        if self._life is None:
            return
        self._watch.join(END_S)  # or it might build a client after we have looked
        life = self._life
        if self._is_up:
            with contextlib.suppress(ValueError, RuntimeError):
                life.client.publish(self._parting.topic, self._parting.will, qos=1, retain=True)
                drain_outgoing(life.client)
        end(life.client)

    def state(self) -> LinkState:
        life = self._life
        progress_s = life.progress_s if life else None
        limit_s = SILENT_HEARTBEATS * self._heartbeat_s
        fresh = progress_s is not None and self._pace_s() - progress_s <= limit_s
        return LinkState(
            connected=self._is_up and fresh,
            protocol=self._protocol,
            last_progress_s=progress_s,
            last_error=self._last_error,
            clients_built=self._built,
            taken_over=life is not None and self._is_taken_over(life),
        )

    def publish(
        self, topic: str, payload: bytes, *, retain: bool = False, expiry_s: int | None = None
    ) -> bool:
        """Hand over for sending at QoS 1; never waits. False when it cannot even be queued."""
        life = self._life
        if life is None:
            return False
        properties = None
        if expiry_s is not None and self._protocol == "5":
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # unannotated in paho
            properties.MessageExpiryInterval = expiry_s
        info = life.client.publish(topic, payload, qos=1, retain=retain, properties=properties)
        # Off line, paho queues at QoS 1 and still says NO_CONN.
        return info.rc in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN)

    def publish_now(self, topic: str, payload: bytes) -> bool:
        """At QoS 0 and only while connected: never kept, never sent again, for what must not come late."""
        with self._lock:
            life = self._life if self._is_up else None
        if life is None:
            return False
        return life.client.publish(topic, payload, qos=0).rc == MQTTErrorCode.MQTT_ERR_SUCCESS

    def acknowledge(self, tokens: Sequence[AckToken]) -> int:
        """Acknowledge what is committed; those of an earlier connection come again and are known then."""
        done = 0
        with self._lock:
            life = self._life
            if life is None or not self._is_up:
                return 0
            for token in tokens:
                if token.connection == self._connection and token.qos > 0:
                    life.client.ack(token.mid, token.qos)
                    done += 1
        return done

    def _build(self) -> None:
        self._built += 1
        client = new_client(self._client_id, self._protocol, self._address, manual_ack=True)
        client.max_queued_messages_set(OUTGOING_MAX)
        client.reconnect_delay_set(RETRY_LEAST_S, RETRY_MOST_S)
        client.will_set(self._parting.topic, self._parting.will, qos=1, retain=True)
        life = _Life(client=client)
        client.on_connect = lambda *a: self._guarded(self._on_connect, life, *a)
        client.on_disconnect = lambda *a: self._guarded(self._on_disconnect, life, *a)
        client.on_connect_fail = lambda *_: self._note("The broker does not answer.")
        client.on_message = lambda *a: self._guarded(self._on_message, life, *a)
        client.on_subscribe = lambda *a: self._guarded(self._on_subscribe, life, *a)
        with self._lock:
            self._life, self._is_up = life, False
            self._connection += 1
        self._started_s = self._pace_s()
        try:
            self._connect(client)
            client.loop_start()
        except (OSError, ValueError) as error:
            self._note(f"The broker cannot be reached: {error}")

    def _connect(self, client: paho.Client) -> None:
        where = (self._address.host, self._address.port, self._keepalive_s)
        if self._protocol == "5":
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # as above
            properties.SessionExpiryInterval = SESSION_S
            properties.ReceiveMaximum = RECEIVE_MAXIMUM
            properties.MaximumPacketSize = MAX_PACKET_BYTES
            client.connect_async(*where, clean_start=False, properties=properties)
        else:
            client.connect_async(*where)

    def _guarded(self, act: Callable[..., None], *arguments: object) -> None:
        """An exception that leaves a callback would kill paho's network thread without a word."""
        try:
            act(*arguments)
        except Exception as error:
            log.exception("mqtt callback failed")
            self._note(f"A fault in the MQTT link: {error}")

    def _on_connect(
        self,
        life: _Life,
        client: paho.Client,
        _: object,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        __: object,
    ) -> None:
        if life is not self._life:
            return
        if reason.is_failure:
            self._note(f"The broker refuses the connection: {reason}.")
            if falls_back(client, self._address, reason, keeps_session=True):
                self._protocol = "3.1.1"
            return
        with self._lock:
            self._connection += 1
            life.connection = self._connection
            self._is_up = True
        life.connected_s = life.progress_s = self._pace_s()
        self._last_error = None
        client.publish(self._parting.topic, self._parting.birth, qos=1, retain=True)
        self._subscribe(client, is_new=not flags.session_present)
        log.info("broker connected protocol=%s session_present=%s", self._protocol, flags.session_present)

    def _subscribe(self, client: paho.Client, *, is_new: bool) -> None:
        """Retained messages come once with a new session, and not again with every reconnect.

        3.1.1 cannot ask for that. There a session is subscribed again until the broker has confirmed it
        once: a connection may break between the session's beginning and our subscribing.
        """
        if self._protocol == "5":
            topics = [(f, SubscribeOptions(qos=1, retainHandling=1)) for f in self._filters]
            topics.append((self._echo_topic, SubscribeOptions(qos=0, retainHandling=2)))
            client.subscribe(topics)
            return
        self._is_subscribed = self._is_subscribed and not is_new
        filters = [] if self._is_subscribed else [(f, 1) for f in self._filters]
        client.subscribe([*filters, (self._echo_topic, 0)])

    def _on_subscribe(
        self, life: _Life, _: paho.Client, __: object, ___: int, reasons: list[ReasonCode], ____: object
    ) -> None:
        if life is not self._life:
            return
        if any(reason.is_failure for reason in reasons):
            self._note("The broker refuses to let this monitor hear its site: check its access list.")
        else:
            self._is_subscribed = True

    def _on_disconnect(
        self, life: _Life, _: paho.Client, __: object, ___: object, reason: ReasonCode, ____: object
    ) -> None:
        if life is not self._life:
            return
        with self._lock:
            self._is_up = False
            self._connection += 1
        now_s, connected_s, life.connected_s = self._pace_s(), life.connected_s, None
        if connected_s is None:  # never let in: why was said already
            return
        if now_s - connected_s < SHORT_LIFE_S:
            life.short_lives.append(now_s)
        if reason.is_failure:
            self._note(f"The connection to the broker was lost: {reason}.")
        if self._is_taken_over(life):
            self._note("Another program uses this monitor's client id; each kicks the other out. Stop one.")

    def _is_taken_over(self, life: _Life) -> bool:
        return len(life.short_lives) > TAKEOVERS_A_MINUTE and self._pace_s() - life.short_lives[0] < 60.0

    def _on_message(self, life: _Life, client: paho.Client, _: object, message: paho.MQTTMessage) -> None:
        life.progress_s = self._pace_s()
        topic = topic_of(message)
        if topic == self._echo_topic:
            if message.qos > 0:
                client.ack(message.mid, message.qos)
            return
        self._put(
            Arrival(
                topic=topic,
                payload=bytes(message.payload),
                retain=message.retain,
                content_type=getattr(message.properties, "ContentType", None),
                wall_s=self._clock.wall_s(),
                mono_s=self._clock.mono_s(),
                token=AckToken(connection=life.connection, mid=message.mid, qos=message.qos),
            )
        )

    def _note(self, sentence: str) -> None:
        if sentence != self._last_error:
            log.warning("link: %s", sentence)
        self._last_error = sentence

    def _run_watch(self) -> None:
        while not self._stop.wait(self._heartbeat_s):
            try:
                self._look()
            except Exception:
                log.exception("link watch failed")

    def _look(self) -> None:
        """Send the next heartbeat, or start anew where none has come back for too long."""
        life = self._life
        if life is None:
            return
        if self._has_stopped(life):
            log.warning("link made no progress; building a new client")
            abandon(life.client)
            self._build()
        elif self._is_up:
            life.client.publish(self._echo_topic, b"", qos=0)

    def _has_stopped(self, life: _Life) -> bool:
        """Its thread is gone, no heartbeat comes back, or it has tried to connect for too long."""
        if is_thread_dead(life.client):
            return True
        limit_s = SILENT_HEARTBEATS * self._heartbeat_s
        now_s = self._pace_s()
        if self._is_up:
            return life.progress_s is None or now_s - life.progress_s > limit_s
        return now_s - self._started_s > 20 * limit_s
