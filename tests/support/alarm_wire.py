"""The whole service in this process, on a real broker, with a clock to be moved and a receiver of its messages.

Readings come as packs over a socket to mosquitto; messages leave by the general notification library to an
HTTP receiver. Only time is not real: `pass_time` moves the service's clock, both wall and monotonic, and lets
the worker look at the alarms at each step, as it does twice a minute by itself.
"""

import json
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from support.processes import PlainBroker, free_port, settings_file
from support.waiting import wait_for

from monitor import app
from monitor.app import Choice, Service
from monitor.library.alarm_table import load_alarm_table
from monitor.model.delivery import SITE, Wishes
from monitor.model.people import Role, fold
from monitor.service import sender
from monitor.settings import load_settings

START_S = 1_790_000_000 // 86_400 * 86_400.0
MINUTE_S, HOUR_S = 60.0, 3_600.0
STEP_S = 300.0  # the most that one look counts towards a delay
LONG_S = 7 * 86_400.0  # a node that measures so seldom is not missed
UNITS = {"temperature": "Cel", "humidity": "%RH", "battery": "%EL", "smoke": None}
ALARMS = "sorbwatch/lab/alarm/"


class Clock:
    """Goes on by itself, and can be moved: both clocks of a board, or its wall clock alone."""

    def __init__(self):
        self.ahead_s = self.wrong_s = 0.0
        self._began_s = time.monotonic()

    def wall_s(self):
        return START_S + self.wrong_s + self._gone_s()

    def mono_s(self):
        return 1_000.0 + self._gone_s()

    def _gone_s(self):
        return self.ahead_s + time.monotonic() - self._began_s


class Receiver:
    """Takes what is sent to `/hears` and keeps (title, text); whatever goes to `/deaf` fails."""

    def __init__(self):
        got = self.got = []
        self.failed = []

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                is_good = self.path.startswith("/hears")
                (got if is_good else receiver.failed).append((said["title"], said["message"]))
                self.send_response(200 if is_good else 500)
                self.end_headers()

            def log_message(self, *_):
                pass

        receiver = self
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    def address(self, path):
        return f"json://127.0.0.1:{self._server.server_port}/{path}"

    def close(self):
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


@dataclass(frozen=True, kw_only=True)
class Case:
    """One row: what is done to the site, and what has to come of it.

    Args:
        words: A piece of the message that no other alarm of this site has.
        most_s: Time of the site within which it must be told.
        each: Done again at every step of time.
        is_gathered: It comes in one message with another box's, which leaves out what to do.
        undo: Done once the message is there, where nothing else could go on after it.
    """

    kind: str
    place: str
    words: str
    most_s: float
    cause: Callable[["WireSite"], None]
    each: Callable[["WireSite"], None] | None = None
    undo: Callable[["WireSite"], None] | None = None
    is_gathered: bool = False

    @property
    def key(self):
        return f"{self.kind}-{self.place}" if self.place else self.kind


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What came of one cause."""

    text: str  # of the message at the receiver
    retained: dict | None  # as a program finds it on the broker that subscribes now


class WireSite:
    """A context manager: broker, service, receiver and one client that publishes as nodes and ovens do."""

    def __init__(self, folder, patch):
        self.clock = Clock()
        self.folder, self.patch = folder, patch
        self._seq = self._packs = 0
        self._stack = []

    def __enter__(self):
        try:
            self._start()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        while self._stack:
            self._stack.pop()()

    def _start(self):
        # Messages and sessions go by real time, which here is that of the site.
        self.patch.setattr(app, "SystemClock", lambda: self.clock)
        self.patch.setattr(sender, "TURN_S", 0.05)
        self.broker = PlainBroker(self.folder).start()
        self._stack.append(lambda: self.broker.stop())
        self.receiver = Receiver()
        self._stack.append(self.receiver.close)
        settings = load_settings(settings_file(self.folder, self.broker.port, free_port(), 0.02))
        self.service = Service(settings, Choice(clock=self.clock)).__enter__()
        self._stack.append(lambda: self.service.__exit__(None, None, None))
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="nodes")
        self._client.connect("127.0.0.1", self.broker.port)
        self._client.loop_start()
        self._stack += [self._client.loop_stop, self._client.disconnect]
        self.wait_connected()
        self._let_people_hear()

    def _let_people_hear(self):
        """A way for each kind of alarm: limits of a day and the gathering of many into one message would else
        have most of what they tell wait, or come without what to do. Safety comes by all of them.
        """
        self.service.people.invite("Mara", "Pat", Role.DO)
        kinds = list(load_alarm_table().rows)
        for number, heard in enumerate(kinds):
            name = f"Listener {number}" if number else ""
            if name:
                self.service.people.invite("Mara", name, Role.DO)
            muted = tuple(kind for kind in kinds if kind != heard)
            person = fold(name) if name else SITE
            address = self.receiver.address("hears")
            self.service.delivery.add_channel("Mara", person, "hook", address, is_owner=True)
            wishes = Wishes(
                person=person, wants_clears=False, quiet_from=0, quiet_to=0, a_day=50, muted=muted
            )
            self.service.delivery.set_wishes("Mara", wishes)

    def wait_connected(self):
        wait_for(lambda: self.service.link.state().connected, 20, "the link")

    @property
    def now_s(self):
        return self.clock.wall_s()

    def ask(self, act):
        return self.service.worker.ask(act)

    def load(self, inventory):
        self.ask(lambda engine: engine.change_inventory(inventory, self.now_s))

    # --- what nodes and ovens say ---

    def publish(self, topic, payload, *, retain=False):
        said = self._client.publish(f"sorbwatch/lab/{topic}", payload, qos=1, retain=retain)
        said.wait_for_publish(10)

    def presence(self, node, **said):
        """What a node says of itself, or the broker of a node that is gone; retained."""
        self.publish(f"node/{node}/online", json.dumps(said), retain=True)

        def is_stored():
            rows = self.service.queries.store.devices()
            known = {row.key: row.presence for row in rows if row.kind == "node"}.get(node)
            return known is not None and known.online == said["online"]

        wait_for(is_stored, 20, f"the presence of {node}")

    def pack(self, rows, due_s=LONG_S, *, waits=True):
        """Readings of channels of one node, {"<node>/<channel>": [(time_s, {quantity: value})]}."""
        records = []
        for channel, readings in rows.items():
            node, _, name = channel.partition("/")
            for at_s, values in readings:
                for quantity, value in values.items():
                    said = {"bt": round(at_s, 3), "n": f"{name}/{quantity}", "ut": due_s}
                    said |= {"vb": value} if UNITS[quantity] is None else {"v": round(value, 2)}
                    records.append(said | ({"u": UNITS[quantity]} if UNITS[quantity] else {}))
        self._seq += 1
        self._packs += 1
        more = [{"n": "seq", "v": self._seq}, {"n": "boot", "vs": "c0de"}]
        self.publish(f"node/{node}/senml", json.dumps([*records, *more], separators=(",", ":")))
        if waits:
            self.wait_stored()

    def wait_stored(self):
        """Until all packs that were published are in the database, and none was refused."""
        wait_for(lambda: self._counted("packs") >= self._packs, 20, f"pack {self._packs}")
        refused = [item.reason for item in self.service.queries.quarantine()]
        assert not refused, refused

    def read(self, channel, values, due_s=LONG_S):
        """One reading of each of these quantities, taken now."""
        self.pack({channel: [(self.now_s, values)]}, due_s)

    def oven(self, oven, **members):
        """A state of an oven's controller, idle and cold unless told otherwise."""
        self._seq += 1
        said = {
            "boot": "a91c", "uptime_s": 10.0 + self.clock.mono_s(), "seq": self._seq, "state": "idle",
            "chamber_c": [22.0, 22.1], "sample_seq": [self._seq, self._seq], "humidity_pct": 40.0,
            "heater": 0.0, "power_w": 0.0, "fan": False, "door_open": False, "cutout_ok": True,
            "armed_s": None, "permit": None, "refused": None, "trip": None,
        }  # fmt: skip
        self.publish(f"oven/{oven}/state", json.dumps(said | members))
        desk = self.service.ovens._desk

        def is_heard():
            newest = desk.now(oven).window.newest
            return newest is not None and newest.state.seq == said["seq"]

        wait_for(is_heard, 5, f"the state of {oven}")

    def _counted(self, name):
        with closing(sqlite3.connect(f"file:{self.folder}/live.db?mode=ro", uri=True)) as db:
            row = db.execute("SELECT value FROM counter WHERE name = ?", (name,)).fetchone()
        return 0 if row is None else row[0]

    # --- time, and what comes of it ---

    def pass_time(self, seconds, each=None):
        """In steps, with a look at the alarms after each."""
        while seconds > 0.0:
            step_s = min(seconds, STEP_S)
            self.clock.ahead_s += step_s
            seconds -= step_s
            if each is not None:
                each(self)
            self.look()

    def look(self):
        """The worker's next turn is over."""
        self.ask(lambda _: None)

    def box(self, key):
        return next(box for box in self.service.queries.status().boxes if box.key == key)

    def wait_followed(self, key):
        """Until the estimate of a box has come to now."""

        def is_now():
            at = self.service.queries.followers.boxes.settled().get(key)
            return at is not None and self.now_s - at.at_s < 3_600.0

        wait_for(is_now, 30, f"the estimate of {key}")

    def shown(self, key):
        """State of an alarm as the service has it."""
        return next((a.state for a in self.service.alarm_desk.answers() if a.key == key), "norm")

    def retained(self, key):
        """What the broker keeps of an alarm, by a subscription of its own; None = nothing."""
        got = []

        def heard(client, _data, message):
            if message.retain:
                got.append(message)
            else:  # it was published a moment after the subscription: ask again what is kept
                client.subscribe(ALARMS + key, 1)

        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.on_message = heard
        client.connect("127.0.0.1", self.broker.port)
        client.subscribe(ALARMS + key, 1)
        client.loop_start()
        try:
            wait_for(lambda: got, 1.0, f"the retained state of {key}")
        except AssertionError:
            return None
        finally:
            client.disconnect()
            client.loop_stop()
        return json.loads(got[0].payload)

    def told(self, case):
        """Time passes until the alarm is active and its message is at the receiver; then it is acknowledged.

        AssertionError where that takes longer than the case allows.
        """
        case.cause(self)
        text, left_s = None, case.most_s
        while text is None:
            self.look()
            if self.shown(case.key) == "unack":
                text = self.received(case.words, 0.7)
            if text is None:
                assert left_s > 0.0, f"{case.key} is {self.shown(case.key)}; so far came {self.receiver.got}"
                self.pass_time(min(STEP_S, left_s), case.each)
                left_s -= STEP_S
        if case.undo is not None:
            case.undo(self)
        retained = self.retained(case.key)
        activation = self.service.alarm_desk.look(case.key).alarm.activation
        self.service.alarms.acknowledge(case.key, activation, "Mara")
        return Heard(text=text, retained=retained)

    def received(self, words, timeout_s):
        def found():
            return next((text for _, text in self.receiver.got if words in text), None)

        try:
            return wait_for(found, timeout_s, "the message")
        except AssertionError:
            return None
