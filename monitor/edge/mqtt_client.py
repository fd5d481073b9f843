"""What every MQTT connection here is made of: paho clients as this program sets them up."""

import contextlib
import threading
from dataclasses import dataclass

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

KEEPALIVE_S = 30
RETRY_LEAST_S = 1
END_S = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """Where a broker is and how to be let in."""

    host: str
    port: int
    user: str | None = None
    password: str | None = None
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    protocol: str = "auto"  # "5", "3.1.1", or "auto": 5, and 3.1.1 where the broker does not speak it


@dataclass(frozen=True, slots=True, kw_only=True)
class Parting:
    """What is said on a retained topic while connected, and what the broker says when we are gone."""

    topic: str
    birth: bytes
    will: bytes


def new_client(client_id: str, protocol: str, address: Address, *, manual_ack: bool) -> paho.Client:
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=paho.MQTTv5 if protocol == "5" else paho.MQTTv311,
        clean_session=None if protocol == "5" else not manual_ack,
        manual_ack=manual_ack,
    )
    client.suppress_exceptions = True
    if address.user is not None:
        client.username_pw_set(address.user, address.password)
    if address.tls:
        client.tls_set(address.ca_file, address.cert_file, address.key_file)
    return client


def falls_back(client: paho.Client, address: Address, reason: ReasonCode, *, keeps_session: bool) -> bool:
    """Where the broker does not know MQTT 5 and the settings leave the choice, go on in 3.1.1."""
    is_unknown = "unsupported protocol version" in str(reason).lower()
    if address.protocol != "auto" or client.protocol != paho.MQTTv5 or not is_unknown:
        return False
    # paho steps down from 3.1.1 to 3.1 in the same way; its next attempt speaks what stands here.
    client._protocol, client._clean_session = paho.MQTTv311, not keeps_session
    return True


def is_thread_dead(client: paho.Client) -> bool:
    """An exception ends paho's thread without a word; the client goes on calling itself connected."""
    thread = client._thread
    return thread is None or not thread.is_alive()


def topic_of(message: paho.MQTTMessage) -> str:
    """Bytes that are no text become a topic that nothing is filed under, and end in the quarantine."""
    try:
        return message.topic
    except UnicodeDecodeError:
        return "not-utf-8"


def drain_outgoing(client: paho.Client) -> None:
    """A moment for what is queued to leave; the caller is about to end the connection."""
    pause = threading.Event()
    for _ in range(20):
        if not client._out_messages:
            return
        pause.wait(0.02)


def end(client: paho.Client) -> None:
    """Say good-bye. paho's own loop_stop would wait for ever for a thread that hangs."""
    with contextlib.suppress(ValueError, RuntimeError, OSError):
        client.disconnect()
    thread, client._thread_terminate = client._thread, True
    if thread is not None and thread is not threading.current_thread():
        thread.join(END_S)


def abandon(client: paho.Client) -> None:
    """Leave a client whose thread may hang: cut its socket and do not wait for it."""
    client._thread_terminate = True
    client.on_message = client.on_connect = client.on_disconnect = None
    with contextlib.suppress(Exception):
        sock = client.socket()
        if sock is not None:
            sock.close()


def can_connect(address: Address, timeout_s: float = 5.0) -> str | None:
    """Try once to be let in; None when that works, else what went wrong."""
    client = new_client("sorbwatch-check", "3.1.1", address, manual_ack=False)
    answered, said = threading.Event(), [f"{address.host}:{address.port} does not answer"]

    def on_connect(_: object, __: object, ___: object, reason: object, ____: object) -> None:
        said[0] = "" if not getattr(reason, "is_failure", True) else f"the broker refuses us: {reason}"
        answered.set()

    client.on_connect = on_connect
    try:
        client.connect(address.host, address.port, KEEPALIVE_S)
        client.loop_start()
        answered.wait(timeout_s)
    except (OSError, ValueError) as error:
        said[0] = f"{address.host}:{address.port} cannot be reached: {error}"
    finally:
        end(client)
    return said[0] or None
