"""Alarms of a real service that is killed: the same afterwards, on the broker and in the answers."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from contextlib import closing

import pytest
from support.processes import ROOT, PlainBroker, free_port, run, settings_file
from support.waiting import wait_for

from monitor.alarms.saved import from_text
from monitor.store.reader import Reader

pytestmark = [pytest.mark.broker, pytest.mark.whole]

TOPIC = "sorbwatch/lab/alarm/humidity_high-b1"
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
"""
# A service whose one alarm follows a file that the test writes, and which says what it tells people.
PROGRAM = """
import sys, time
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from support.alarms import row
from monitor.app import Choice, Service
from monitor.edge.clock import SystemClock
from monitor.model.condition import Condition
from monitor.service import alarm_desk
from monitor.service.alarm_world import AlarmSources
from monitor.settings import load_settings

alarm_desk.EVERY_S = 0.2
folder = Path(sys.argv[1]).parent
rows = {"humidity_high": row()}

def conditions(status, now_s):
    holds = (folder / "holds").read_text() == "yes"
    return (Condition(type="humidity_high", place="b1", holds=holds, what="Damp." if holds else ""),)

sources = AlarmSources(rows=rows, conditions=conditions)
with Service(load_settings(Path(sys.argv[1])), Choice(clock=SystemClock(), alarm_sources=lambda: sources)) as service:
    service.alarm_desk._settles_until_s = 0.0
    print("up", flush=True)
    for line in sys.stdin:
        look = service.alarm_desk.look("humidity_high-b1")
        service.alarms.acknowledge("humidity_high-b1", look.alarm.activation, "Kim")
        print("acknowledged", flush=True)
"""


class Site:
    def __init__(self, folder, broker):
        self.folder, self.broker = folder, broker
        self.settings = settings_file(folder, broker.port, free_port())
        (folder / "inventory.toml").write_text(INVENTORY)
        code, _, said = run("inventory", "load", folder / "inventory.toml", "--settings", self.settings)
        assert code == 0, said
        self.hold(False)
        self.program = None

    def hold(self, holds):
        (self.folder / "holds.new").write_text("yes" if holds else "no")
        os.replace(self.folder / "holds.new", self.folder / "holds")

    def start(self):
        self.program = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(self.settings), str(ROOT / "tests")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        assert self.program.stdout.readline() == "up\n"

    def acknowledge(self):
        self.program.stdin.write("\n")
        self.program.stdin.flush()
        assert self.program.stdout.readline() == "acknowledged\n"

    def kill(self):
        if self.program is not None:
            self.program.send_signal(signal.SIGKILL)
            self.program.communicate(timeout=10)
            self.program = None

    def kept(self):
        """(state or None, transitions), as another process reads them from the file."""
        with closing(Reader(self.folder / "live.db", "lab")) as reader:
            texts = reader.alarms()
            return from_text(texts[0]) if texts else None, reader.alarm_log(0, 2**62)

    def shown(self):
        state, _ = self.kept()
        return "norm" if state is None else str(state.shown)

    def retained(self):
        """What the broker keeps of the alarm; None = nothing."""
        command = ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(self.broker.port), "-t", TOPIC]
        done = subprocess.run([*command, "-C", "1", "-W", "1"], capture_output=True, timeout=10)
        return json.loads(done.stdout) if done.stdout.strip() else None


@pytest.fixture
def site(tmp_path):
    broker = PlainBroker(tmp_path).start()
    made = Site(tmp_path, broker)
    yield made
    made.kill()
    broker.stop()


def test_an_alarm_comes_back_from_a_kill_as_it_was(site):
    """A-12: state, activation and time; the broker has the same, and the empty payload when it is over."""
    site.start()
    site.hold(True)
    wait_for(lambda: site.shown() == "unack", 20, "the alarm")
    before, _ = site.kept()
    site.kill()
    site.start()
    wait_for(lambda: (site.retained() or {}).get("activation") == before.activation, 20, "the broker")
    after, log = site.kept()
    assert (after.activation, after.since_s, after.shown) == (before.activation, before.since_s, before.shown)
    assert [line.what for line in log] == ["activated"]
    site.acknowledge()
    assert site.shown() == "acked"
    site.kill()
    assert site.shown() == "acked"
    site.start()
    site.hold(False)
    wait_for(lambda: site.shown() == "norm", 20, "the end of the alarm")
    wait_for(lambda: site.retained() is None, 20, "the empty payload")


def test_a_kill_at_any_moment_leaves_state_and_log_of_one_piece(site):
    """A-12, A-13: whatever was cut short, each number is there once and the state is what the log tells."""
    dice, holds = random.Random(5), False
    for _ in range(8):
        site.start()
        holds = not holds
        site.hold(holds)
        time.sleep(dice.uniform(0.0, 1.2))
        site.kill()
        state, log = site.kept()
        assert [line.number for line in log] == list(range(1, len(log) + 1))
        raised = sum(1 for line in log if line.what == "activated")
        if state is not None:
            assert state.count == raised
            assert str(state.shown) == log[-1].now
    site.start()
    site.hold(True)
    wait_for(lambda: site.shown() == "unack", 20, "the alarm")
