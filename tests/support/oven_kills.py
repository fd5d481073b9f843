"""Real processes, real time: a broker, the service and an oven that heats; one of them is killed."""

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from dataclasses import dataclass

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from support.processes import ROOT, PlainBroker, Program, free_port, get_json, publish, run, settings_file
from support.waiting import wait_for

LEASE_S = 2.0
# The oven's process looks every 0.1 s and takes its own time to write the line down.
LOOP_S = 0.3
VICTIMS = ("monitor", "monitor", "broker", "broker", "network")
INVENTORY = """
[[room]]
key = "loft"
name = "Loft"
channel = "n1/loft"
[[spool]]
key = "grey"
name = "Grey"
material = "petg"
diameter_mm = 1.75
net_g = 750
reel = "pc"
place = "kiln"
[[oven]]
key = "kiln"
name = "Kiln"
room = "loft"
max_c = 80
overshoot_c = 5
sensor_error_c = 2
heater_w = 350
volume_l = 40
fan = true
"""
RELAY = """channel = "n2/kiln"
[oven.relay]
on_topic = "plugs/7/set"
on_payload = '{"on": true, "for_s": {seconds}}'
off_topic = "plugs/7/set"
off_payload = '{"on": false}'
"""


@dataclass(frozen=True, kw_only=True)
class Kill:
    """What one kill came to, by the oven's own record."""

    victim: str
    heated_before: bool
    heat_s: float  # from the kill until current flowed for the last time
    came_back: bool
    ended: str


class Site:
    """Started whole; everything in it is a child of this process."""

    def __init__(self, folder, *, inventory=INVENTORY, has_controller=True):
        self.folder, self.web_port = folder, free_port()
        self.broker = PlainBroker(folder).start()
        self.settings = settings_file(folder, self.broker.port, self.web_port)
        self.settings.write_text(self.settings.read_text() + f"[ovens]\nlease_s = {LEASE_S}\n")
        (folder / "inventory.toml").write_text(inventory)
        code, _, said = run("inventory", "load", folder / "inventory.toml", "--settings", self.settings)
        assert code == 0, said
        self.record = folder / "oven.jsonl"
        self.oven = self._controller() if has_controller else None
        self.program = None
        self.start_monitor()

    def _controller(self):
        return subprocess.Popen(
            [
                sys.executable,
                "-m",
                "support.oven_process",
                str(self.broker.port),
                "lab",
                "kiln",
                str(self.record),
            ],
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}"},
        )

    def start_monitor(self):
        self.program = Program("serve", "--settings", self.settings)
        assert "sorbwatch is at" in self.program.line()

    def close(self):
        if self.oven is not None:
            self.oven.kill()
            self.oven.wait()
        self.program.kill()
        self.broker.stop()

    def look(self):
        return get_json(f"http://127.0.0.1:{self.web_port}/api/v1/ovens/kiln/look")

    def heat(self):
        """A confirmed start by the API; until current flows."""
        wait_for(lambda: self.look()["is_fresh"], 20, "the oven to be heard")
        answer = self.start()
        assert answer == 200, answer
        wait_for(lambda: self.lines()[-1]["heated"], 20, "heat")

    def start(self):
        look = self.look()
        wish = {
            "order": f"o{look['version']}-{time.time():.0f}", "version": look["version"], "load": ["grey"],
            "setpoint_c": 55.0, "duration_s": 3600.0, "limited_by": "Grey", "unattended": False, "who": "Mira",
        }  # fmt: skip
        return self.post("start", wish)

    def post(self, name, body):
        url = f"http://127.0.0.1:{self.web_port}/api/v1/ovens/kiln/{name}"
        asked = urllib.request.Request(
            url, data=json.dumps(body).encode(), headers={"Content-Type": "application/json"}
        )
        try:
            with urllib.request.urlopen(asked, timeout=10) as answer:
                return answer.status
        except urllib.error.HTTPError as error:
            return error.read().decode()

    def lines(self):
        """The oven's record; its last line may be half written."""
        whole = self.record.read_text().rpartition("\n")[0].splitlines() if self.record.exists() else []
        return [json.loads(line) for line in whole] or [{"heated": False, "mono_s": 0.0}]

    def smoke(self, *, alarms):
        """What the detector of the loft says, as a node of its own."""
        says = [
            {"bn": "loft/", "n": "smoke", "vb": alarms, "ut": 60},
            {"bn": "", "n": "seq", "v": int(time.time() * 1000) % 2**31},
            {"n": "boot", "vs": "d1"},
        ]
        publish(self.broker.port, "sorbwatch/lab/node/n1/senml", json.dumps(says))


def heat_after_s(lines, at_s):
    """From then until current flowed for the last time [s]."""
    return max((line["mono_s"] - at_s for line in lines if line["heated"]), default=0.0)


def kill(site, victim, dice, *, back_s=6.0):
    """Heat, kill at a random moment, look for two leases, bring it back, look again; the oven is the witness."""
    site.heat()
    time.sleep(dice.uniform(0.5, 2.5))
    heated_before = site.lines()[-1]["heated"]
    at_s = time.monotonic()
    if victim == "monitor":
        site.program.process.send_signal(signal.SIGKILL)
    elif victim == "broker":
        site.broker.process.send_signal(signal.SIGKILL)
    else:
        site.broker.freeze()
    time.sleep(2.0 * LEASE_S)
    off_s = time.monotonic()
    heat_s = heat_after_s(site.lines(), at_s)
    _bring_back(site, victim)
    # Over once the oven was heard again, or silent for too long: only from then on could heat come back.
    wait_for(lambda: site.look()["ended"] and site.look()["is_fresh"], 40, "the end of the cycle")
    time.sleep(back_s)
    came_back = any(line["heated"] for line in site.lines() if line["mono_s"] > off_s)
    look = site.look()
    assert look["is_fresh"], look
    ended = look["ended"]["ending"]
    return Kill(victim=victim, heated_before=heated_before, heat_s=heat_s, came_back=came_back, ended=ended)


def _bring_back(site, victim):
    if victim == "monitor":
        site.program.kill()
        site.start_monitor()
    elif victim == "broker":
        site.broker.stop()
        site.broker.start()
    else:
        site.broker.thaw()


def campaign(folder, seed=5):
    """All five, each on a site of its own."""
    dice, found = random.Random(seed), []
    for number, victim in enumerate(VICTIMS):
        part = folder / str(number)
        part.mkdir()
        site = Site(part)
        try:
            found.append(kill(site, victim, dice))
        finally:
            site.close()
    return found


class Plug:
    """A relay of its own beside a node: it obeys ON for so many seconds, whoever sent it, and counts by itself."""

    def __init__(self, port):
        self.record, self._until_s, self._ons, self._chamber_c, self._seq = [], 0.0, [], 24.0, 0
        self._ended = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="plug")
        self._client.reconnect_delay_set(0.2, 0.5)
        self._client.on_connect = lambda client, *_: client.subscribe("plugs/7/set", 1)
        self._client.on_message = self._obey
        self._client.connect_async("127.0.0.1", port, keepalive=5)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def close(self):
        self._ended.set()
        self._thread.join(5)
        self._client.loop_stop()
        self._client.disconnect()

    @property
    def is_on(self):
        return time.monotonic() < self._until_s

    @property
    def ons(self):
        """(when, for how long, whether the broker had kept it) of each ON."""
        return tuple(self._ons)

    def _obey(self, _client, _data, message):
        said = json.loads(message.payload)
        self._until_s = time.monotonic() + said.get("for_s", 0.0) if said["on"] else 0.0
        if said["on"]:
            self._ons.append((time.monotonic(), said["for_s"], message.retain))

    def _live(self):
        """Twice a second: what it does, and what the node measures."""
        while not self._ended.wait(0.5):
            self.record.append({"mono_s": time.monotonic(), "heated": self.is_on})
            self._chamber_c += 0.03 if self.is_on else -0.005
            self._seq += 1
            says = [
                {"bn": "kiln/", "n": "temperature", "u": "Cel", "v": round(self._chamber_c, 3), "ut": 5},
                {"bn": "", "n": "seq", "v": self._seq},
                {"n": "boot", "vs": "p1"},
            ]
            self._client.publish("sorbwatch/lab/node/n2/senml", json.dumps(says), qos=1)
