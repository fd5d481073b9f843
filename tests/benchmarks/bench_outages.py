"""The long forms of what the suite shows briefly: a freeze of ten minutes, 200 dropped sockets, three hours away."""

import contextlib
import tempfile
import threading
import time
from pathlib import Path

from support.processes import PlainBroker, publish
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting

TOPIC = "sorbwatch/lab/node/n1/senml"
FREEZE_S = 600
DROPS = 200
QUEUED = 17_280  # three hours of sixteen boxes every ten seconds


def run():
    with tempfile.TemporaryDirectory() as folder:
        return _away(folder) | _drops(folder) | _freeze(folder)


def _link(broker, put, name):
    return Link(
        Address(host="127.0.0.1", port=broker.port),
        client_id=name,
        filters=["sorbwatch/lab/node/+/#"],
        parting=Parting(topic="sorbwatch/lab/monitor/online", birth=b"{}", will=b"{}"),
        echo_topic="sorbwatch/lab/monitor/echo",
        put=put,
        clock=SystemClock(),
        pace_s=time.monotonic,
        heartbeat_s=2.0,
    )


def _begun(parent, name, put):
    """A broker of its own folder and a link that is connected to it."""
    folder = Path(parent) / name
    folder.mkdir()
    broker = PlainBroker(folder).start()
    link = _link(broker, put, name)
    link.start()
    wait_for(lambda: link.state().connected, 20)
    return broker, link


def _freeze(parent):
    heard = []
    broker, link = _begun(parent, "freeze", heard.append)
    broker.freeze()
    threading.Event().wait(FREEZE_S)
    broker.thaw()
    began_s = time.monotonic()
    wait_for(lambda: link.state().connected, 60, "the link")
    publish(broker.port, TOPIC, "after")
    wait_for(lambda: any(a.payload == b"after" for a in heard), 20)
    took_s = time.monotonic() - began_s
    link.stop()
    broker.stop()
    return {f"ingest again after a freeze of {FREEZE_S} s [s] (goal 20)": round(took_s, 1)}


def _sender(broker):
    from monitor.edge.mqtt_client import new_client

    client = new_client("sender", "5", Address(host="127.0.0.1", port=broker.port), manual_ack=False)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    return client


def _away(parent):
    heard = []
    broker, link = _begun(parent, "away", heard.append)
    link.stop()
    sender = _sender(broker)
    last = None
    for number in range(QUEUED):
        last = sender.publish(TOPIC, str(number), qos=1)
    last.wait_for_publish(120)
    again = []
    second = _link(broker, again.append, "away")
    second.start()

    def drained():
        second.acknowledge([arrival.token for arrival in again])
        return len({arrival.payload for arrival in again}) == QUEUED

    wait_for(drained, 120, "all that was queued")
    sender.disconnect()
    sender.loop_stop()
    second.stop()
    broker.stop()
    return {f"of {QUEUED} readings queued while away, there": len({a.payload for a in again})}


def _drops(parent):
    waiting, stored = [], set()
    broker, link = _begun(parent, "drops", waiting.append)
    sender, sent = _sender(broker), 0
    for number in range(DROPS):
        for _ in range(1 + number % 7):
            sender.publish(TOPIC, str(sent), qos=1)
            sent += 1
        threading.Event().wait(0.005 * (number % 5))
        taken = waiting[:]
        del waiting[: len(taken)]
        sock = link._life.client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):  # it was gone already
                sock.shutdown(2)
        stored |= {a.payload for a in taken}
        wait_for(lambda: link.state().connected, 30, "the link")
        link.acknowledge([a.token for a in taken])  # late: on another connection

    def complete():
        taken = waiting[:]
        del waiting[: len(taken)]
        stored.update(a.payload for a in taken)
        link.acknowledge([a.token for a in taken])
        return len(stored) == sent

    wait_for(complete, 60, "every number")
    sender.disconnect()
    sender.loop_stop()
    link.stop()
    broker.stop()
    return {f"numbers lost in {DROPS} dropped sockets, of {sent}": sent - len(stored)}
