"""Our own broker: who may write what, what it survives, and what its settings must not lose."""

import re
import secrets
import shutil
import socket
import threading
import time
from pathlib import Path

import pytest
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mosquitto import (
    LOOKER,
    MONITOR,
    Accounts,
    OwnBroker,
    find_mosquitto,
    lint,
    set_aside_if_damaged,
)
from monitor.edge.mqtt_client import Address, Parting, can_connect
from monitor.edge.mqtt_node import Listener, NodeLink
from monitor.errors import MonitorError, RefusedError

ROOT = Path(__file__).resolve().parents[2]
FILES = ROOT / "monitor" / "edge" / "broker_files"

# The wire's table of topics: who writes each, after sorbwatch/<site>/. n1 is a node, o1 an oven.
WRITERS = {
    "node/n1/senml": {"n1"},
    "node/n1/online": {"n1"},
    "oven/o1/state": {"o1"},
    "oven/o1/online": {"o1"},
    "oven/o1/permit": {MONITOR},
    "oven/o1/stop": {MONITOR, LOOKER, "n1", "n2", "o1"},  # B-17: whoever has an account
    "oven/o1/reset": {MONITOR},
    "relay/o1/set": {MONITOR},
    "box/b1/summary": {MONITOR},
    "alarm/b1-lid": {MONITOR},
    "monitor/online": {MONITOR},
}
EVERYONE = (MONITOR, LOOKER, "n1", "n2", "o1")


@pytest.fixture
def own(tmp_path):
    broker = OwnBroker(tmp_path / "broker", host="127.0.0.1", port=0, site="lab", program=find_mosquitto())
    broker.start(["n1", "n2", "o1"])
    yield broker
    broker.stop()


def address(broker, name):
    return Address(host=broker.host, port=broker.port, user=name, password=broker.account(name))


def node(broker, name):
    parting = Parting(topic=f"sorbwatch/lab/node/{name}/online", birth=b"{}", will=b"{}")
    link = NodeLink(address(broker, name), client_id=f"test-{name}", parting=parting)
    link.start()
    assert link.wait_connected(5)
    return link


@pytest.mark.broker
def test_each_topic_can_be_written_by_its_writers_and_by_nobody_else(own):
    """C-01: a node may write only below its own name, and only the monitor writes permits."""
    heard = []
    listener = Listener(
        address(own, MONITOR),
        client_id="ears",
        filters=["sorbwatch/lab/#"],
        put=heard.append,
        clock=SystemClock(),
    )
    listener.start()
    assert listener.subscribed.wait(5)
    links = {name: node(own, name) for name in EVERYONE}
    for name, link in links.items():
        for topic in WRITERS:
            taken = link.publish(f"sorbwatch/lab/{topic}", name.encode())
            assert taken == (name in WRITERS[topic]), "a node must learn that the broker threw it away"
        link.publish(
            "sorbwatch/lab/node/n1/senml" if name != "n1" else "sorbwatch/other/node/n1/senml", b"stray"
        )
    links[MONITOR].publish("sorbwatch/lab/monitor/echo", b"last")
    wait_for(lambda: any(a.payload == b"last" for a in heard), what="the last message")
    written = {(a.topic.removeprefix("sorbwatch/lab/"), a.payload.decode()) for a in heard}
    written = {(topic, who) for topic, who in written if topic in WRITERS and who in EVERYONE}
    assert written == {(topic, who) for topic, writers in WRITERS.items() for who in writers}
    for link in (*links.values(),):
        link.close()
    listener.stop()


@pytest.mark.broker
def test_a_node_reads_nothing_and_an_oven_only_its_own_orders(own):
    """What a stolen node account can hear is nothing of the others."""
    heard = {"n1": [], "o1": []}
    listeners = []
    for name, box in heard.items():
        ears = Listener(
            address(own, name), client_id=f"e{name}", filters=["#"], put=box.append, clock=SystemClock()
        )
        ears.start()
        assert ears.subscribed.wait(5)
        listeners.append(ears)
    monitor = node(own, MONITOR)
    for topic in ("oven/o1/permit", "oven/o2/permit", "box/b1/summary", "oven/o1/stop"):
        monitor.publish(f"sorbwatch/lab/{topic}", b"x")
    wait_for(lambda: len(heard["o1"]) == 2, what="the oven's orders")
    assert {a.topic for a in heard["o1"]} == {"sorbwatch/lab/oven/o1/permit", "sorbwatch/lab/oven/o1/stop"}
    assert heard["n1"] == []
    monitor.close()
    for ears in listeners:
        ears.stop()


@pytest.mark.broker
def test_strangers_are_not_let_in(own):
    """Anonymous is off: a permit to heat passes here."""
    assert "refuses" in can_connect(Address(host=own.host, port=own.port))
    assert "refuses" in can_connect(Address(host=own.host, port=own.port, user="n1", password="guess"))
    assert can_connect(address(own, "n1")) is None


@pytest.mark.broker
def test_a_new_account_is_let_in_while_the_broker_runs(own):
    """A sensor is added without a restart."""
    late = address(own, "late-node")
    wait_for(lambda: can_connect(late) is None, what="the new account")


@pytest.mark.broker
def test_a_killed_broker_is_started_again_and_a_left_over_one_is_replaced(own, tmp_path):
    """The service and its broker each survive the other's death."""
    own._process.kill()
    wait_for(lambda: own.restarts == 1 and can_connect(address(own, "n1")) is None, what="the restart")
    own._stop.set()  # as after SIGKILL of the service: nobody watches, the broker goes on
    own._watch.join(10)
    left_over = own._process
    threading.Thread(target=left_over.wait, daemon=True).start()  # init would reap it; here we must
    again = OwnBroker(
        tmp_path / "broker", host="127.0.0.1", port=own.port, site="lab", program=find_mosquitto()
    )
    again.start([])
    try:
        wait_for(lambda: left_over.poll() is not None, what="the end of the left-over broker")
        assert can_connect(address(again, "n1")) is None
    finally:
        again.stop()


@pytest.mark.broker
@pytest.mark.parametrize(
    "content", [b"", bytes(4096), secrets.token_bytes(300)], ids=["empty", "zeros", "noise"]
)
def test_a_persistence_file_that_a_power_cut_ruined_does_not_stop_the_broker(tmp_path, content):
    """Report 6: mosquitto refuses to start on it; ours moves it aside and says so."""
    folder = tmp_path / "broker"
    folder.mkdir()
    (folder / "mosquitto.db").write_bytes(content)
    broker = OwnBroker(folder, host="127.0.0.1", port=0, site="lab", program=find_mosquitto())
    broker.start([])
    try:
        assert broker.set_aside is not None
        assert broker.set_aside.read_bytes() == content
    finally:
        broker.stop()


def started_and_stopped(folder, program=None):
    """A broker that has run once and saved a message; its saved messages are whole."""
    broker = OwnBroker(folder, host="127.0.0.1", port=0, site="lab", program=find_mosquitto())
    broker.start(["n1"])
    link = node(broker, "n1")
    assert link.publish("sorbwatch/lab/node/n1/online", b"{}", retain=True)
    link.close()
    broker.stop()
    return OwnBroker(folder, host="127.0.0.1", port=0, site="lab", program=program or find_mosquitto())


@pytest.mark.broker
def test_saved_messages_that_begin_well_and_break_off_do_not_stop_the_broker(tmp_path):
    """Report 6: a power cut in the middle of a save; its first bytes tell nothing."""
    broker = started_and_stopped(tmp_path / "broker")
    database = tmp_path / "broker" / "mosquitto.db"
    cut = database.read_bytes()[:20]
    database.write_bytes(cut)
    broker.start([])
    try:
        assert broker.set_aside is not None
        assert broker.set_aside.read_bytes() == cut
        assert can_connect(address(broker, "n1")) is None
    finally:
        broker.stop()


@pytest.mark.broker
def test_saved_messages_stay_where_they_are_when_the_broker_fails_for_another_reason(tmp_path):
    """Moved aside for a fault that is not theirs, readings would be lost."""
    broker = started_and_stopped(tmp_path / "broker", program=Path(shutil.which("false")))
    database = tmp_path / "broker" / "mosquitto.db"
    before = database.read_bytes()
    with pytest.raises(MonitorError, match="did not start"):
        broker.start([])
    assert database.read_bytes() == before
    assert broker.set_aside is None


@pytest.mark.broker
def test_saved_messages_stay_where_they_are_when_the_broker_is_killed_while_it_starts(tmp_path):
    """Want of memory or a stop of the whole machine says nothing about the file."""
    killed = tmp_path / "killed"
    killed.write_text(
        f"#!/bin/sh\n[ -e {killed}.once ] || {{ touch {killed}.once; kill -9 $$; }}\n"
        f'exec {find_mosquitto()} "$@"\n'
    )
    killed.chmod(0o700)
    broker = started_and_stopped(tmp_path / "broker", program=killed)
    with pytest.raises(MonitorError, match="did not start"):
        broker.start([])
    assert broker.set_aside is None
    assert [path.name for path in (tmp_path / "broker").glob("mosquitto.db*")] == ["mosquitto.db"]


@pytest.mark.broker
def test_a_port_that_another_program_holds_is_said_at_once(tmp_path):
    """Its answer would pass for our broker's, and the monitor's password would go to a stranger."""
    with socket.create_server(("127.0.0.1", 0)) as stranger:
        port = stranger.getsockname()[1]
        broker = OwnBroker(
            tmp_path / "broker", host="127.0.0.1", port=port, site="lab", program=find_mosquitto()
        )
        with pytest.raises(MonitorError, match="another program"):
            broker.start([])
        assert broker._process is None


@pytest.mark.broker
def test_a_program_that_is_away_for_a_moment_does_not_end_the_watch(tmp_path):
    """An upgrade of the system replaces it while we run."""
    program = tmp_path / "mosquitto"
    program.symlink_to(find_mosquitto())
    broker = OwnBroker(tmp_path / "broker", host="127.0.0.1", port=0, site="lab", program=program)
    broker.start(["n1"])
    try:
        program.unlink()
        broker._process.kill()
        wait_for(lambda: broker.restarts == 1, what="the first try")
        program.symlink_to(find_mosquitto())
        wait_for(lambda: can_connect(address(broker, "n1")) is None, what="the broker")
    finally:
        broker.stop()


@pytest.mark.broker
def test_a_stop_in_the_middle_of_a_restart_leaves_no_broker_behind(own):
    """It would hold the port, and keep the messages from the next one."""
    spawn, begun = own._spawn, threading.Event()

    def spawn_late():
        begun.set()
        threading.Event().wait(0.3)
        spawn()

    own._spawn = spawn_late
    own._process.kill()
    assert begun.wait(5)
    own.stop()
    own._watch.join(10)  # whatever it was about to do is done
    assert own._process.poll() is not None
    with socket.socket() as probe:
        assert probe.connect_ex((own.host, own.port)) != 0


@pytest.mark.broker
def test_a_good_persistence_file_is_kept(own, tmp_path):
    """Moving aside what was whole would lose what nobody has acknowledged yet."""
    own.stop()
    assert (tmp_path / "broker" / "mosquitto.db").exists()
    assert set_aside_if_damaged(tmp_path / "broker" / "mosquitto.db") is None


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("max_queued_messages 200000", "max_queued_messages 0", "max_queued_messages"),
        ("max_queued_messages 200000", "max_queued_messages 9999", "max_queued_messages"),
        ("max_queued_messages 200000", "", "max_queued_messages"),
        ("persistence true", "persistence false", "persistence"),
        ("allow_anonymous false", "allow_anonymous true", "allow_anonymous"),
    ],
)
def test_settings_that_lose_readings_are_named(old, new, named):
    """Report 7: with the queue at 1,000 or 0, messages vanish without a word."""
    good = (FILES / "mosquitto.conf").read_text()
    assert lint(good) == []
    assert any(said.startswith(named) for said in lint(good.replace(old, new)))


def test_the_sample_files_are_those_that_the_own_broker_uses():
    """Who runs a broker of their own gets the same protection."""
    for name in ("mosquitto.conf", "acl"):
        assert (ROOT / "deploy" / "mosquitto" / name).read_text() == (FILES / name).read_text()


def test_each_line_of_the_settings_has_its_reason():
    """A line nobody can explain is a line nobody dares to mend."""
    lines = (FILES / "mosquitto.conf").read_text().splitlines()
    reasons = [line for line in lines if line.startswith("#")]
    settings = [line for line in lines if line and not line.startswith("#")]
    assert len(reasons) >= 0.7 * len(settings)


def test_passwords_are_made_once_and_readable_by_us_alone(tmp_path):
    """They stand in a file of ours; the broker gets only their hashes."""
    accounts = Accounts(tmp_path / "broker")
    password, is_new = accounts.password("n1")
    assert is_new
    assert accounts.password("n1") == (password, False)
    for name in ("accounts.toml", "passwords"):
        path = tmp_path / "broker" / name
        assert path.stat().st_mode & 0o077 == 0
    hashed = (tmp_path / "broker" / "passwords").read_text()
    assert password not in hashed
    assert re.fullmatch(r"n1:\$7\$10000\$[^$]+\$[^$]+\n", hashed)
    with pytest.raises(RefusedError):
        accounts.password("../etc")


def test_time_passes_for_the_clock():
    """The one door through which time comes in."""
    clock = SystemClock()
    assert abs(clock.wall_s() - time.time()) < 5


@pytest.mark.broker
def test_an_account_made_by_another_program_is_let_in_while_the_broker_runs(own, tmp_path):
    """`sorbwatch account NODE` works without stopping the service."""
    password, _ = Accounts(tmp_path / "broker").password("by-hand")
    stranger = Address(host=own.host, port=own.port, user="by-hand", password=password)
    wait_for(lambda: can_connect(stranger) is None, what="the new account")
