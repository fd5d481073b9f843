"""The service's link: it survives what really happens to MQTT clients."""

import contextlib
import queue
import random
import signal
import socket
import sqlite3
import threading
import time

import pytest
from support.processes import publish
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting, end, new_client
from monitor.edge.mqtt_node import NodeLink, retry_least_s

pytestmark = pytest.mark.broker
TOPIC = "sorbwatch/lab/node/n1/senml"


def a_link(broker, put, client_id="monitor", protocol="auto", heartbeat_s=0.5, port=None):
    return Link(
        Address(host="127.0.0.1", port=port or broker.port, protocol=protocol),
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


def a_sender(broker):
    """A publisher that keeps trying; nothing of the link's own is in it."""
    client = new_client("sender", "5", Address(host="127.0.0.1", port=broker.port), manual_ack=False)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    return client


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


def kill_thread(client):
    """The next thing that comes in raises in the network thread, outside of every callback."""
    client._packet_read = None


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_network_thread_that_died_is_replaced_at_the_next_heartbeat(broker):
    """Report 1, in less than 30 s: a dead thread is seen at once, not after three heartbeats of 10 s."""
    heard, heartbeat_s = [], 2.0
    link = a_link(broker, heard.append, heartbeat_s=heartbeat_s)
    link.start()
    wait_for(lambda: link.state().connected)
    began_s, client = time.monotonic(), link._life.client
    kill_thread(client)
    publish(broker.port, TOPIC, "deadly")
    wait_for(lambda: link._life.client is not client and link.state().connected, what="a new client")
    assert time.monotonic() - began_s < 2 * heartbeat_s
    publish(broker.port, TOPIC, "after")
    wait_for(lambda: {a.payload for a in heard} >= {b"deadly", b"after"}, what="both messages")
    link.stop()


def test_a_network_thread_that_hangs_is_replaced(broker):
    """It is alive and its socket open; only that nothing passes any more tells it from a healthy one."""
    hang, heard = threading.Event(), []

    def put(arrival):
        heard.append(arrival.payload)
        if len(heard) == 1:
            hang.wait()

    link = a_link(broker, put)
    link.start()
    wait_for(lambda: link.state().connected)
    publish(broker.port, TOPIC, "first")
    wait_for(lambda: link.state().clients_built > 1 and link.state().connected, what="a new client")
    wait_for(lambda: heard == [b"first", b"first"], what="what was never acknowledged")
    hang.set()
    link.stop()


def test_stopping_does_not_wait_for_a_thread_that_hangs(broker):
    """The service manager would end us by force, and with us the last commit."""
    hang, in_put = threading.Event(), threading.Event()

    def put(_):
        in_put.set()
        hang.wait()

    link = a_link(broker, put, heartbeat_s=30.0)
    link.start()
    wait_for(lambda: link.state().connected)
    publish(broker.port, TOPIC, "x")
    assert in_put.wait(5)
    stopper = threading.Thread(target=link.stop)
    stopper.start()
    stopper.join(6)
    assert not stopper.is_alive()
    hang.set()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_acknowledging_with_thread_and_broker_both_gone_does_not_hang_the_worker(broker):
    """Without its thread the library writes in the caller's, and its failure calls back into the link."""
    heard = []
    link = a_link(broker, heard.append, heartbeat_s=30.0)
    link.start()
    wait_for(lambda: link.state().connected)
    publish(broker.port, TOPIC, "x")
    wait_for(lambda: heard)
    client = link._life.client
    kill_thread(client)
    publish(broker.port, TOPIC, "deadly")
    wait_for(lambda: client._thread is None, what="the thread's end")
    broker.stop()
    worker = threading.Thread(
        target=lambda: [link.acknowledge([heard[0].token]) for _ in range(20)], daemon=True
    )
    worker.start()
    worker.join(5)
    assert not worker.is_alive()
    assert not link.state().connected
    link.stop()


def test_a_frozen_broker_is_taken_up_again_and_nothing_sent_meanwhile_is_missing(link, broker):
    """Report 2, three keep-alives long: nothing is missing of a publisher that keeps trying."""
    sender = a_sender(broker)
    broker.freeze()
    for number in range(50):
        sender.publish(TOPIC, str(number), qos=1)
    wait_for(lambda: not link.state().connected, 15, "the freeze to be noticed")
    threading.Event().wait(7)
    broker.thaw()
    wait_for(lambda: link.state().connected, 20, "the link")
    wait_for(lambda: {int(a.payload) for a in link.heard} == set(range(50)), 20, "all that was sent")
    end(sender)


def test_handlers_publishers_and_acknowledgements_never_wait_for_each_other(broker):
    """Report 3: handlers and publishers take one lock of the program while the library has its own."""
    state_lock, stop = threading.Lock(), threading.Event()
    published, handled, owed = [0] * 4, [0], queue.SimpleQueue()

    def put(arrival):
        with state_lock:
            handled[0] += 1
        owed.put(arrival.token)

    def publish_on(number):
        while not stop.wait(0.002):
            with state_lock:
                link.publish(f"sorbwatch/lab/node/n{number}/senml", b"[]")
                published[number] += 1
            link.state()

    def acknowledge_on():
        while not stop.is_set():
            link.acknowledge([owed.get(timeout=5)])

    link = a_link(broker, put)
    link.start()
    wait_for(lambda: link.state().connected)
    threads = [threading.Thread(target=publish_on, args=(number,)) for number in range(4)]
    threads.append(threading.Thread(target=acknowledge_on))
    for thread in threads:
        thread.start()
    before = [0] * 5
    for _ in range(6):
        threading.Event().wait(1.0)
        now = [*published, *handled]
        assert all(there > was for there, was in zip(now, before, strict=True)), "somebody stands still"
        assert link.state().connected
        before = now
    stop.set()
    for thread in threads:
        thread.join(6)
    assert link.state().clients_built == 1
    link.stop()


def test_three_hours_of_readings_wait_while_the_service_is_away(broker):
    """Report 7: sixteen boxes every ten seconds; with the broker's default queue most of it would vanish."""
    count = 17_280
    first = a_link(broker, lambda _: None)
    first.start()
    wait_for(lambda: first.state().connected and first._is_subscribed)
    first.stop()
    sender = a_sender(broker)
    for number in range(count):
        last = sender.publish(TOPIC, str(number), qos=1)
    last.wait_for_publish(60)
    end(sender)
    owed, seen = queue.SimpleQueue(), set()
    second = a_link(broker, owed.put)
    second.start()

    def complete():
        while not owed.empty():
            arrival = owed.get()
            seen.add(int(arrival.payload))
            second.acknowledge([arrival.token])
        return len(seen) == count

    wait_for(complete, 40, "all that waited")
    assert seen == set(range(count))
    second.stop()


def a_relay_that_cuts_the_first_connection_before_it_subscribes(broker):
    """Passes everything on, but drops the first client as soon as the broker has let it in."""
    listener = socket.create_server(("127.0.0.1", 0))

    def pump(source, sink):
        try:
            while data := source.recv(4096):
                sink.sendall(data)
        except OSError:
            pass
        for end_of_it in (source, sink):
            end_of_it.close()

    def serve():
        for number in range(3):
            try:
                near, _ = listener.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", broker.port))
            if number == 0:
                far.sendall(near.recv(4096))
                near.sendall(far.recv(4096))
                far.close()
                near.close()
                continue
            for ends in ((near, far), (far, near)):
                threading.Thread(target=pump, args=ends, daemon=True).start()

    threading.Thread(target=serve, daemon=True).start()
    return listener


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_connection_cut_before_it_subscribed_does_not_leave_the_link_deaf(broker, protocol):
    """C-02: the broker keeps the session, but not what never reached it; all would look well for ever."""
    relay = a_relay_that_cuts_the_first_connection_before_it_subscribes(broker)
    heard = []
    link = a_link(broker, heard.append, protocol=protocol, port=relay.getsockname()[1])
    link.start()
    wait_for(lambda: link.state().connected and link._is_subscribed, what="the second connection")
    publish(broker.port, TOPIC, "x")
    wait_for(lambda: heard, what="the message")
    link.stop()
    relay.close()


def a_broker_that_knows_only_3_1_1():
    """Answers as the older standard bids: code 1 to an unknown level, 0 to its own; then it only listens."""
    listener, levels = socket.create_server(("127.0.0.1", 0)), []

    def serve():
        while True:
            try:
                near, _ = listener.accept()
            except OSError:
                return
            with near:
                hello = near.recv(1000)
                levels.append(hello[8])
                near.sendall(bytes([0x20, 2, 0, 0 if hello[8] == 4 else 1]))
                while hello[8] == 4 and near.recv(1000):
                    pass

    threading.Thread(target=serve, daemon=True).start()
    return listener, levels


@pytest.mark.parametrize("kind", ["link", "node"])
def test_a_broker_that_does_not_know_mqtt_5_is_spoken_to_in_3_1_1(kind):
    """C-02: left on auto, the fall-back needs nobody; a node must find it as well as the service."""
    old, levels = a_broker_that_knows_only_3_1_1()
    address = Address(host="127.0.0.1", port=old.getsockname()[1])
    if kind == "link":
        link = a_link(None, lambda _: None, port=address.port, heartbeat_s=30.0)
        link.start()
        wait_for(lambda: link.state().connected and link.state().protocol == "3.1.1", what="3.1.1")
        link.stop()
    else:
        node = NodeLink(address, client_id="n1", parting=Parting(topic="t", birth=b"", will=b""))
        node.start()
        assert node.wait_connected(10)
        end(node._client)
    assert levels == [5, 4]
    old.close()


def test_a_protocol_that_was_chosen_is_kept_to():
    """Who writes 5 wants to know when the broker does not speak it."""
    old, levels = a_broker_that_knows_only_3_1_1()
    link = a_link(None, lambda _: None, protocol="5", port=old.getsockname()[1], heartbeat_s=30.0)
    link.start()
    wait_for(lambda: len(levels) == 2)
    assert levels == [5, 5]
    assert "refuses" in link.state().last_error
    link.stop()
    old.close()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_node_whose_network_thread_died_comes_back(broker):
    """A node has nobody who watches it; what it could not send it must be able to send later."""
    node = NodeLink(
        Address(host="127.0.0.1", port=broker.port),
        client_id="n1",
        parting=Parting(topic="sorbwatch/lab/node/n1/online", birth=b"{}", will=b"{}"),
    )
    node.start()
    assert node.wait_connected(5)
    client = node._client
    kill_thread(client)
    assert not node.publish(TOPIC, b"deadly", timeout_s=0.5)
    wait_for(lambda: client._thread is None, what="the thread's end")
    assert not node.publish(TOPIC, b"unsent")
    assert node.wait_connected(5)
    assert node.publish(TOPIC, b"after")
    node.close()


def test_the_nodes_of_a_site_do_not_come_back_in_step():
    """C-04: after a power cut thirty nodes would knock at the same moments, again and again."""
    waits_s = [retry_least_s(f"sorbwatch-node-n{number}") for number in range(30)]
    assert set(waits_s) == {1, 2, 3}
    assert max(waits_s.count(wait_s) for wait_s in waits_s) < 20


def test_a_late_acknowledgement_never_confirms_another_message(broker, tmp_path):
    """Report 5: sockets drop between receive and commit; every number is stored once and none is lost."""
    dice = random.Random(11)
    db = sqlite3.connect(tmp_path / "seen.db", check_same_thread=False)
    db.execute("CREATE TABLE seen (number INTEGER PRIMARY KEY, copies INTEGER NOT NULL)")
    waiting = []
    link = a_link(broker, waiting.append)
    link.start()
    wait_for(lambda: link.state().connected)
    sender = a_sender(broker)
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

    for _ in range(10):
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
    end(sender)
    link.stop()
    db.close()


def test_an_acknowledgement_of_a_session_that_is_lost_confirms_nothing_of_the_next(broker, tmp_path):
    """Report 5: a new session numbers from 1 again; a stale number would confirm what nobody has stored."""
    heard = []
    link = a_link(broker, heard.append)
    link.start()
    wait_for(lambda: link.state().connected and link._is_subscribed)
    for number in range(3):
        publish(broker.port, TOPIC, f"old {number}")
    wait_for(lambda: len(heard) == 3)
    stale = [arrival.token for arrival in heard]
    broker.stop(signal.SIGKILL)
    (tmp_path / "mosquitto.db").unlink(missing_ok=True)
    wait_for(lambda: not link._is_up, what="the loss to be noticed")
    link._is_subscribed = False
    broker.start()
    wait_for(lambda: link._is_up and link._is_subscribed, what="the new session")
    for number in range(3):
        publish(broker.port, TOPIC, f"new {number}")
    wait_for(lambda: len(heard) == 6)
    assert {arrival.token.mid for arrival in heard[3:]} == {token.mid for token in stale}
    assert link.acknowledge(stale) == 0
    link.stop()
    again = []
    second = a_link(broker, again.append)
    second.start()
    wait_for(lambda: len(again) == 3, what="what nobody has acknowledged")
    assert [arrival.payload for arrival in again] == [b"new 0", b"new 1", b"new 2"]
    second.stop()


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
