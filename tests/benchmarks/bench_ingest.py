"""Messages a second from broker to committed and acknowledged, beside a bare client that only acknowledges."""

import sqlite3
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path

from support.packs import pack
from support.processes import PlainBroker
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting, new_client
from monitor.service.engine import Engine
from monitor.service.worker import Worker
from monitor.store.store import Store

MESSAGES = 15_000
ROUNDS = 3
TOPIC = "sorbwatch/lab/node/n1/senml"


def run():
    """Median of three rounds each, alternating, on the same broker."""
    with tempfile.TemporaryDirectory() as folder:
        broker = PlainBroker(folder).start()
        try:
            ours, bare = [], []
            for number in range(ROUNDS):
                ours.append(_rate(broker, _ours(Path(folder), broker, number), 2 * number))
                bare.append(_rate(broker, _bare(broker, number), 2 * number + 1))
        finally:
            broker.stop()
    ours_s, bare_s = sorted(ours)[ROUNDS // 2], sorted(bare)[ROUNDS // 2]
    return {
        "messages a second, committed and acknowledged": round(ours_s),
        "messages a second, bare client": round(bare_s),
        "share of the bare client's rate (goal 0.5)": round(ours_s / bare_s, 2),
    }


def _rate(broker, receiver, boot):
    """Queue all messages for an absent session, then time how long it takes to empty."""
    start, done, stop = receiver
    start()
    wait_for(lambda: done() >= 0, 20)
    sender = new_client("sender", "3.1.1", Address(host="127.0.0.1", port=broker.port), manual_ack=False)
    sender.max_inflight_messages_set(1000)
    sender.connect("127.0.0.1", broker.port)
    sender.loop_start()
    began_s = time.perf_counter()
    for seq in range(MESSAGES):
        sender.publish(TOPIC, pack(seq, 1_795_000_000 + seq, boot=f"b{boot}"), qos=1)
    wait_for(lambda: done() >= MESSAGES, 120, "all messages")
    took_s = time.perf_counter() - began_s
    sender.disconnect()
    sender.loop_stop()
    stop()
    return MESSAGES / took_s


def _ours(folder, broker, number):
    path = folder / f"ours{number}.db"
    store = Store(path, "lab")
    engine = Engine("lab", store.load())
    acknowledged = [0]
    links = []

    def acknowledge(tokens):
        acknowledged[0] += links[0].acknowledge(tokens)

    worker = Worker(
        engine,
        store,
        SystemClock(),
        pace_s=time.monotonic,
        commit_every_s=0.5,
        acknowledge=acknowledge,
        committed=lambda _: None,
    )
    links.append(
        Link(
            Address(host="127.0.0.1", port=broker.port),
            client_id=f"ours-{number}",
            filters=["sorbwatch/lab/node/+/#"],
            parting=Parting(topic="sorbwatch/lab/monitor/online", birth=b"{}", will=b"{}"),
            echo_topic="sorbwatch/lab/monitor/echo",
            put=worker.put,
            clock=SystemClock(),
            pace_s=time.monotonic,
        )
    )

    def start():
        worker.start()
        links[0].start()
        wait_for(lambda: links[0].state().connected, 20)

    def stop():
        worker.stop()
        links[0].stop()
        store.close()
        with closing(sqlite3.connect(path)) as db:
            assert db.execute("SELECT count(*) FROM reading").fetchone()[0] == 2 * MESSAGES

    return start, lambda: acknowledged[0], stop


def _bare(broker, number):
    heard, subscribed = [0], threading.Event()
    client = new_client(f"bare-{number}", "5", Address(host="127.0.0.1", port=broker.port), manual_ack=True)

    def on_message(client, _, message):
        client.ack(message.mid, message.qos)
        heard[0] += 1

    client.on_connect = lambda client, *_: client.subscribe("sorbwatch/lab/node/+/#", 1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = on_message

    def start():
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        assert subscribed.wait(10)

    def stop():
        client.disconnect()
        client.loop_stop()

    return start, lambda: heard[0], stop
