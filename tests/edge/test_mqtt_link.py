"""The service's link: it survives what really happens to MQTT clients."""

import contextlib
import random
import sqlite3
import threading
import time

import pytest
from support.processes import publish
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting, new_client
from monitor.model.arrival import AckToken

pytestmark = pytest.mark.broker
TOPIC = "sorbwatch/lab/node/n1/senml"


def a_link(broker, put, client_id="monitor", protocol="auto", heartbeat_s=0.5):
    return Link(
        Address(host="127.0.0.1", port=broker.port, protocol=protocol),
        client_id=client_id,
        filters=["sorbwatch/lab/node/+/#"],
        parting=Parting(
            topic="sorbwatch/lab/monitor/online", birth=b'{"online":true}', will=b'{"online":false}'
        ),
        echo_topic="sorbwatch/lab/monitor/echo",
        put=put,
        clock=SystemClock(),
        pace_s=time.monotonic,
        heartbeat_s=heartbeat_s,
        keepalive_s=3,
    )


@pytest.fixture
def link(broker):
    heard = []
    made = a_link(broker, heard.append)
    made.heard = heard
    made.start()
    wait_for(lambda: made.state().connected, what="the link")
    yield made
    made.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_is_not_acknowledged_comes_again_and_what_is_does_not(broker, protocol):
    """C-02: the same promise on both protocol versions; the session outlives the program."""
    heard = []
    first = a_link(broker, heard.append, protocol=protocol)
    first.start()
    wait_for(lambda: first.state().connected)
    for number in range(5):
        publish(broker.port, TOPIC, str(number))
    wait_for(lambda: len(heard) == 5)
    assert first.acknowledge([arrival.token for arrival in heard[:2]]) == 2
    first.stop()
    publish(broker.port, TOPIC, "5")
    again = []
    second = a_link(broker, again.append, protocol=protocol)
    second.start()
    wait_for(lambda: len(again) == 4, what="what was owed")
    assert [arrival.payload for arrival in again] == [b"2", b"3", b"4", b"5"]
    second.stop()


def test_a_put_that_fails_does_not_silence_the_link(broker):
    """Report 1: an exception that leaves a callback would end the network thread without a word."""
    heard = []

    def put(arrival):
        if arrival.payload == b"poison":
            raise ValueError("a fault of ours")
        heard.append(arrival)

    link = a_link(broker, put)
    link.start()
    wait_for(lambda: link.state().connected)
    publish(broker.port, TOPIC, "poison")
    publish(broker.port, TOPIC, "good")
    wait_for(lambda: heard, 2.0, "the next message")
    assert "a fault of ours" in link.state().last_error
    link.stop()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_network_thread_that_died_is_replaced(link, broker):
    """Report 1: the library would report itself connected for ever; progress tells otherwise."""
    client = link._life.client
    client._sock_recv = None  # the next read raises in the thread, outside of every callback
    wait_for(lambda: link.state().clients_built > 1 and link.state().connected, 30, "a new client")
    publish(broker.port, TOPIC, "after")
    wait_for(lambda: any(a.payload == b"after" for a in link.heard), what="the next message")


def test_a_frozen_broker_is_noticed_and_taken_up_again(link, broker):
    """Report 2, three keep-alives long: nothing is missing of a publisher that keeps trying."""
    broker.freeze()
    wait_for(lambda: not link.state().connected, 15, "the freeze to be noticed")
    threading.Event().wait(7)
    broker.thaw()
    wait_for(lambda: link.state().connected, 20, "the link")
    publish(broker.port, TOPIC, "after")
    wait_for(lambda: any(a.payload == b"after" for a in link.heard), what="the next message")


def test_publishing_and_state_never_wait_for_each_other(link):
    """Report 3: four threads publish while the state is asked; progress is made all the time."""
    stop, published = threading.Event(), [0] * 4

    def work(number):
        while not stop.is_set():
            link.publish(f"sorbwatch/lab/box/b{number}/summary", b"{}")
            link.state()
            link.acknowledge([AckToken(connection=-1, mid=1, qos=1)])
            published[number] += 1
            stop.wait(0.001)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    before = [0] * 4
    for _ in range(8):
        threading.Event().wait(1.0)
        assert all(now > then for now, then in zip(published, before, strict=True))
        assert link.state().connected
        before = list(published)
    stop.set()
    for thread in threads:
        thread.join(5)


def test_a_late_acknowledgement_never_confirms_another_message(broker, tmp_path):
    """Report 5: sockets drop between receive and commit; every number is stored once and none is lost."""
    dice = random.Random(11)
    db = sqlite3.connect(tmp_path / "seen.db", check_same_thread=False)
    db.execute("CREATE TABLE seen (number INTEGER PRIMARY KEY, copies INTEGER NOT NULL)")
    waiting = []
    link = a_link(broker, waiting.append)
    link.start()
    wait_for(lambda: link.state().connected)
    sender = new_client("sender", "5", Address(host="127.0.0.1", port=broker.port), manual_ack=False)
    sender.connect("127.0.0.1", broker.port)
    sender.loop_start()
    sent = 0

    def commit_some():
        taken = waiting[:]
        del waiting[: len(taken)]
        for arrival in taken:
            db.execute(
                "INSERT INTO seen VALUES (?, 1) ON CONFLICT DO UPDATE SET copies = copies + 1",
                (int(arrival.payload),),
            )
        return [arrival.token for arrival in taken]

    for _ in range(30):
        for _ in range(dice.randint(1, 8)):
            sender.publish(TOPIC, str(sent), qos=1)
            sent += 1
        threading.Event().wait(dice.uniform(0.0, 0.03))
        tokens = commit_some()
        sock = link._life.client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):  # it was gone already
                sock.shutdown(2)  # the cable is pulled between receive and acknowledgement
        link.acknowledge(tokens)
        wait_for(lambda: link.state().connected, 30, "the link")
        link.acknowledge(tokens)  # and comes late, on the next connection

    def complete():
        link.acknowledge(commit_some())
        return db.execute("SELECT count(*) FROM seen").fetchone()[0] == sent

    wait_for(complete, 20, f"{sent} numbers")
    assert [row[0] for row in db.execute("SELECT number FROM seen ORDER BY number")] == list(range(sent))
    sender.disconnect()
    sender.loop_stop()
    link.stop()
    db.close()


def test_two_programs_with_one_client_id_are_told_apart(broker, link):
    """They kick each other out for ever; the page must say why nothing works."""
    other = a_link(broker, lambda _: None)
    other.start()
    wait_for(lambda: link.state().taken_over or other.state().taken_over, 40, "the finding")
    other.stop()


def test_a_wrong_password_is_said(tmp_path):
    """Retried for ever, but never in silence."""
    from monitor.edge.mosquitto import OwnBroker, find_mosquitto

    own = OwnBroker(tmp_path / "broker", host="127.0.0.1", port=0, site="lab", program=find_mosquitto())
    own.start([])
    link = Link(
        Address(host="127.0.0.1", port=own.port, user="monitor", password="guess"),
        client_id="m",
        filters=["sorbwatch/lab/#"],
        parting=Parting(topic="sorbwatch/lab/monitor/online", birth=b"", will=b""),
        echo_topic="sorbwatch/lab/monitor/echo",
        put=lambda _: None,
        clock=SystemClock(),
        pace_s=time.monotonic,
    )
    link.start()
    wait_for(lambda: "refuses" in (link.state().last_error or ""), what="the refusal")
    assert not link.state().connected
    link.stop()
    own.stop()
