"""The service as a process: from a publisher to the page, through restarts, kills and outages."""

import json
import os
import random
import signal
import sqlite3
import subprocess
import time
from contextlib import closing

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from support.packs import pack
from support.processes import PlainBroker, Program, free_port, get, get_json, publish, run, settings_file
from support.waiting import wait_for

pytestmark = [pytest.mark.broker, pytest.mark.whole]

KILLS = int(os.environ.get("SORBWATCH_KILLS", "15"))
INVENTORY = """
[[room]]
key = "hall"
name = "Hall"
channel = "n1/hall"
[[box]]
key = "b1"
name = "Box 1"
room = "hall"
volume_l = 10
channel = "n1/b1"
[[spool]]
key = "s1"
name = "Nylon"
material = "pa6"
diameter_mm = 1.75
net_g = 750
place = "b1"
"""


class Site:
    """A service on a plain broker, with its inventory loaded."""

    def __init__(self, folder, broker):
        self.broker = broker
        self.web_port = free_port()
        self.settings = settings_file(folder, broker.port, self.web_port)
        self.database = folder / "live.db"
        (folder / "inventory.toml").write_text(INVENTORY)
        code, _, said = run("inventory", "load", folder / "inventory.toml", "--settings", self.settings)
        assert code == 0, said
        self.program = None

    def start(self):
        self.program = Program("serve", "--settings", self.settings)
        assert "sorbwatch is at" in self.program.line()
        self.wait_connected()

    def wait_connected(self, timeout_s=20):
        wait_for(lambda: self.status()["health"]["broker"] == "connected", timeout_s, "the link")

    def status(self):
        return get_json(f"http://127.0.0.1:{self.web_port}/api/v1/status")

    def box(self):
        return self.status()["boxes"][0]

    def stored(self):
        with closing(sqlite3.connect(f"file:{self.database}?mode=ro", uri=True)) as db:
            return [row[0] for row in db.execute("SELECT value FROM reading ORDER BY time_ms, series_id")]


@pytest.fixture
def site(tmp_path, broker):
    made = Site(tmp_path, broker)
    made.start()
    yield made
    if made.program.process.poll() is None:
        made.program.stop()


@pytest.mark.parametrize("version", ["mqttv5", "mqttv311"])
def test_a_reading_by_a_foreign_publisher_reaches_the_answers(site, version):
    """C-02: both protocol versions; dew point and vapour come with the first reading."""
    publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(1, int(time.time())), "-V", version)
    box = wait_for(lambda: site.box() if site.box()["humidity_pct"] else None)
    assert (box["temperature_c"], box["humidity_pct"]) == (23.41, 14.2)
    # Independent: Magnus (Sonntag 1990) gives a dew point of -5.45 degC and 2.98 g/m3 for this air.
    assert box["dew_point_c"] == pytest.approx(-5.45, abs=0.1)
    assert box["vapour_g_m3"] == pytest.approx(2.98, abs=0.02)
    assert box["freshness"] == "fresh"
    assert get(f"http://127.0.0.1:{site.web_port}/healthz")[0] == 200


def test_poison_is_quarantined_and_the_next_reading_is_stored(site):
    """Report 1: a bad payload must not silence the link; C-03 truncation."""
    topic, now = "sorbwatch/lab/node/n1/senml", int(time.time())
    good = pack(1, now)
    for bad in (
        good[: len(good) // 2],
        "no json",
        "[]",
        '[{"n":"b1/humidity","v":1}]',
        pack(2, now + 9_000),
    ):
        publish(site.broker.port, topic, bad)
    publish(site.broker.port, "sorbwatch/lab/node/N!/senml", good)
    publish(site.broker.port, topic, good)
    box = wait_for(lambda: site.box() if site.box()["humidity_pct"] else None, 2.5, "the next reading")
    assert box["humidity_pct"] == 14.2
    health = site.status()["health"]
    assert health["ok"]
    assert health["quarantined"] >= 6


def test_what_is_published_while_the_service_is_away_is_there_when_it_is_back(site):
    """Report 7 and the persistent session: nothing is lost while the service restarts."""
    site.program.stop()
    now = int(time.time())
    for seq in range(30):
        publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(seq, now - 60 + seq, 10 + seq))
    site.start()
    wait_for(lambda: len(site.stored()) == 60, what="all readings")
    assert site.box()["humidity_pct"] == 39


def test_a_frozen_and_then_restarted_broker_costs_no_reading(site, tmp_path):
    """Report 2, shortened: the link resumes by itself and no reading is missing."""
    now = int(time.time())
    publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(0, now - 20))
    site.broker.freeze()
    time.sleep(2)
    site.broker.thaw()
    site.broker.stop()
    wait_for(lambda: site.status()["health"]["broker"] == "away", 40, "the link to notice")
    assert any("broker" in reason.lower() for reason in site.status()["health"]["reasons"])
    site.broker = PlainBroker(tmp_path, site.broker.port).start()
    try:
        site.wait_connected(40)
        publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(1, now, 15.0))
        wait_for(lambda: site.box()["humidity_pct"] == 15.0, what="the reading after the outage")
        assert len(site.stored()) == 4
    finally:
        site.program.stop()
        site.broker.stop()


def test_a_broker_that_is_down_at_start_is_said_and_recovered_from(tmp_path):
    """The page works, says so, and the link comes up by itself."""
    broker = PlainBroker(tmp_path)
    site = Site(tmp_path, broker)
    site.program = Program("serve", "--settings", site.settings)
    try:
        assert "sorbwatch is at" in site.program.line()
        health = site.status()["health"]
        assert health["broker"] == "away"
        assert any("broker" in reason.lower() for reason in health["reasons"])
        assert get(f"http://127.0.0.1:{site.web_port}/healthz")[0] == 503
        broker.start()
        site.wait_connected(40)
    finally:
        site.program.stop()
        broker.stop()


def test_kills_under_load_leave_every_acknowledged_reading_once(tmp_path, broker):
    """SIGKILL at random moments: what the broker holds acknowledged is in the database, once.

    SORBWATCH_KILLS=50 for as many.
    """
    site = Site(tmp_path, broker)
    dice = random.Random(5)
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id="load")
    client.max_inflight_messages_set(200)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    site.start()
    sent, now = 0, int(time.time()) - 40_000
    try:
        for _ in range(KILLS):
            ends = time.monotonic() + dice.uniform(0.02, 0.35)
            while time.monotonic() < ends:
                for _ in range(20):
                    client.publish(
                        "sorbwatch/lab/node/n1/senml", pack(sent, now + sent, 1 + sent % 90), qos=1
                    )
                    sent += 1
                time.sleep(0.02)
            site.program.kill()
            site.program = Program("serve", "--settings", site.settings)
            assert "sorbwatch is at" in site.program.line()
        last = client.publish("sorbwatch/lab/node/n1/senml", pack(sent, now + sent, 1 + sent % 90), qos=1)
        sent += 1
        last.wait_for_publish(20)
        site.wait_connected()
        wait_for(lambda: len(site.stored()) >= 2 * sent, 60, f"{2 * sent} readings")
    finally:
        client.disconnect()
        client.loop_stop()
        site.program.stop()
    with closing(sqlite3.connect(site.database)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        values = [
            row[0] for row in db.execute("SELECT value FROM reading WHERE series_id = 2 ORDER BY time_ms")
        ]
        counted = dict(db.execute("SELECT name, value FROM counter").fetchall())
    assert values == [1000 * (1 + seq % 90) for seq in range(sent)]
    assert counted["packs"] == sent


def test_a_capture_of_a_real_broker_replayed_gives_the_status_of_the_live_service(site, tmp_path):
    """The same code at the same times: what was live can be looked at again."""
    capture = tmp_path / "capture.jsonl.gz"
    recorder = Program("record", capture, "--settings", site.settings, "--seconds", "6")
    # It records from the moment it is subscribed: the broker tells when somebody hears.
    wait_for(lambda: _somebody_hears(site.broker.port, "sorbwatch/lab/hello"), what="the recorder")
    now = int(time.time())
    topic = "sorbwatch/lab/node/n1/senml"
    publish(
        site.broker.port,
        "sorbwatch/lab/node/n1/online",
        '{"online":true,"boot":"7f3a","firmware":"1","sample_s":60}',
        "-r",
    )
    for seq in range(12):
        publish(site.broker.port, topic, pack(seq, now - 4000 + 300 * seq, 12 + seq))
        publish(site.broker.port, topic, pack(100 + seq, now - 4000 + 300 * seq, 40, channel="hall"))
    publish(site.broker.port, topic, pack(3, now - 4000 + 300 * 3, 99))  # a duplicate that changes nothing
    publish(site.broker.port, topic, '[{"n":"b1/humidity"')
    assert recorder.process.wait(20) == 0
    recorder.process.communicate()
    wait_for(lambda: len(site.stored()) == 48, what="all readings")
    site.program.stop()

    replayed = f"sqlite:///{tmp_path}/replayed.db"
    assert run("inventory", "load", tmp_path / "inventory.toml", "--database", replayed)[0] == 0
    code, _, said = run("replay", capture, "--database", replayed)
    assert code == 0, said
    at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now + 60))
    live = json.loads(run("status", "--json", "--at", at, "--settings", site.settings)[1])
    again = json.loads(run("status", "--json", "--at", at, "--database", replayed)[1])
    # The log holds who loaded the inventory when: of these two databases that was another time.
    assert live["health"].pop("log_head") != again["health"].pop("log_head")
    assert live == again
    assert live["boxes"][0]["humidity_pct"] == 23
    assert live["health"]["duplicates"] == 1
    assert live["health"]["quarantined"] == 1


def test_a_second_service_on_one_database_is_refused(site):
    """H39: two writers would both believe to own it."""
    code, _, said = run("serve", "--settings", site.settings, "--port", free_port())
    assert code == 1
    assert "A service runs on" in said
    assert said.count("\n") == 1


def test_sigterm_commits_what_was_taken(site):
    """A planned stop loses nothing and says good-bye on the broker."""
    publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(1, int(time.time())))
    wait_for(lambda: site.box()["humidity_pct"], what="the reading")
    site.program.process.send_signal(signal.SIGTERM)
    site.program.process.communicate(timeout=20)
    assert site.program.process.returncode == 0
    assert len(site.stored()) == 2


def _somebody_hears(port, topic):
    """MQTT 5 answers a publish that no subscription matches with reason 16; the service hears no such topic."""
    command = [
        "mosquitto_pub",
        "-h",
        "127.0.0.1",
        "-p",
        str(port),
        "-V",
        "mqttv5",
        "-q",
        "1",
        "-t",
        topic,
        "-m",
        "x",
        "-d",
    ]
    said = subprocess.run(command, capture_output=True, text=True, timeout=10)
    return "RC:0)" in said.stdout + said.stderr


def heard(port, topic):
    """The retained message of a topic, by mosquitto_sub."""
    command = ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(port), "-t", topic, "-C", "1", "-W", "10"]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True, timeout=15).stdout)


def test_other_programs_find_summaries_and_presence_retained_on_the_broker(site):
    """A phone or program that comes later is right in one round trip."""
    publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(1, int(time.time())))
    summary = heard(site.broker.port, "sorbwatch/lab/box/b1/summary")
    assert (summary["key"], summary["humidity_pct"], summary["spools"]) == ("b1", 14.2, ["s1"])
    assert heard(site.broker.port, "sorbwatch/lab/monitor/online")["online"] is True
    site.program.stop()
    assert heard(site.broker.port, "sorbwatch/lab/monitor/online")["online"] is False


def test_a_board_that_does_not_know_the_time_keeps_readings_until_it_does(tmp_path):
    """C.3, 6: without a battery clock the board starts in the past; nothing is judged by that clock."""
    from monitor.model.arrival import Arrival
    from monitor.service.engine import Engine
    from monitor.service.worker import Worker
    from monitor.store.store import Store

    class Clock:
        wall, mono = 1_000.0, 50.0

        def wall_s(self):
            return self.wall

        def mono_s(self):
            return self.mono

    clock, told = Clock(), []
    with closing(Store(tmp_path / "a.db", "lab")) as store:
        worker = Worker(
            Engine("lab", store.load()),
            store,
            clock,
            pace_s=time.monotonic,
            commit_every_s=0.05,
            acknowledge=told.extend,
            committed=lambda _: None,
        )
        worker.start()
        now = 1_795_600_000
        payload = json.dumps(
            [{"n": "b1/humidity", "u": "%RH", "v": 9}, {"n": "seq", "v": 1}, {"n": "boot", "vs": "a"}]
        )
        worker.put(
            Arrival(
                topic="sorbwatch/lab/node/n1/senml",
                payload=payload.encode(),
                wall_s=1_000,
                mono_s=50,
                token="one",
            )
        )
        wait_for(lambda: worker.trouble and "set the time" in worker.trouble)
        assert told == []
        clock.wall, clock.mono = now + 100.0, 150.0  # the time server has answered
        worker.put(
            Arrival(
                topic="sorbwatch/lab/node/n1/senml", payload=b"[", wall_s=now + 100, mono_s=150, token="two"
            )
        )
        wait_for(lambda: told == ["one", "two"], what="both acknowledgements")
        worker.stop()
        assert worker.trouble is None
    with closing(sqlite3.connect(tmp_path / "a.db")) as db:
        assert db.execute("SELECT time_ms FROM reading").fetchall() == [(now * 1000,)]


def test_a_database_that_is_held_costs_nothing_but_time(site):
    """Report 12: another program holds the write lock; ingest says so and goes on afterwards."""
    holder = sqlite3.connect(site.database, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    publish(site.broker.port, "sorbwatch/lab/node/n1/senml", pack(1, int(time.time())))
    wait_for(lambda: any("busy" in reason for reason in site.status()["health"]["reasons"]), 20, "the notice")
    holder.execute("ROLLBACK")
    holder.close()
    wait_for(lambda: len(site.stored()) == 2, 20, "the readings")
    wait_for(lambda: site.status()["health"]["ok"], 5, "health")
