"""The demonstration through its front door: inventory, past and present."""

import json
import threading
import time
from collections import Counter, defaultdict

import pytest

from monitor.library import load_library
from monitor.model.inventory import Inventory
from monitor.model.reading import Pack, Quantity, WireReading
from monitor.simulator.demo import DemoSite
from monitor.simulator.live import DeviceKind
from monitor.wire.inventory import KnownKeys, parse_inventory
from monitor.wire.messages import parse_oven_state, parse_pack

LIVE_S = 1_795_000_200.0


class StoppedClock:
    def wall_s(self) -> float:
        return LIVE_S


class FastClock:
    """Runs at `speed` times real time from the moment of its making."""

    def __init__(self, speed: float) -> None:
        self.speed, self.begun_s = speed, time.monotonic()

    def wall_s(self) -> float:
        return LIVE_S + self.speed * (time.monotonic() - self.begun_s)


class Heard:
    """Takes packs as the service would, or refuses them."""

    def __init__(self) -> None:
        self.packs: dict[str, list[Pack]] = defaultdict(list)
        self.refusing = False

    def publish(self, node: str, payload: bytes) -> bool:
        if self.refusing:
            return False
        assert len(payload) < 65_536
        self.packs[node].append(parse_pack(node, payload, None))
        return True

    def of(self, node: str, channel: str, quantity: Quantity) -> list[WireReading]:
        return [
            reading
            for pack in self.packs[node]
            for reading in pack.readings
            if (reading.channel, reading.quantity) == (channel, quantity)
        ]

    def times(self, node: str, channel: str) -> list[float | None]:
        return [reading.time_s for reading in self.of(node, channel, Quantity.HUMIDITY)]


def site(days: float, seed: int = 1) -> DemoSite:
    return DemoSite(seed, LIVE_S, StoppedClock(), history_days=days)


def test_the_inventory_is_the_promised_site_and_loads():
    """2 rooms, 10 boxes, 18 spools, 2 ovens, each with what measures it."""
    library = load_library()
    known = KnownKeys(materials=library.materials, desiccants=library.desiccants, reels=library.reels)
    inventory = parse_inventory(site(1.0).inventory_toml().encode(), known, Inventory())
    counted = [len(items) for items in (inventory.rooms, inventory.boxes, inventory.spools, inventory.ovens)]
    assert counted == [2, 10, 18, 2]
    assert len(inventory.placed_channels()) == 14
    assert len({spool.material for spool in inventory.spools.values()}) >= 10
    charges = [box.desiccant for box in inventory.boxes.values()]
    assert all(charges)
    # A charge that was weighed has its date; of the others nobody remembers when they were filled.
    assert {(c.loading_pct is None, c.filled_s is None) for c in charges} == {(True, True), (False, False)}


def test_the_past_arrives_complete_and_in_order():
    """Every channel, every five minutes, oldest first, under numbers without a gap."""
    heard, days = Heard(), 2.0
    assert site(days).run_history(heard.publish, lambda _: None) == 0
    assert len(heard.packs) == 5
    expected = [LIVE_S - days * 86_400.0 + 300.0 * number for number in range(int(days * 288))]
    assert heard.times("hub-print", "heron") == expected
    assert heard.times("hub-cellar", "air") == expected
    for packs in heard.packs.values():
        assert [pack.seq for pack in packs] == list(range(len(packs)))
        assert not any(pack.rejected for pack in packs)


def test_progress_rises_from_nothing_to_all():
    shares: list[float] = []
    site(1.0).run_history(Heard().publish, shares.append)
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0


def test_a_broker_that_is_away_costs_nothing():
    """C-04: what was not confirmed stays with its node and goes out later."""
    heard, demo = Heard(), site(1.0)
    heard.refusing = True
    left = demo.run_history(heard.publish, lambda _: None)
    assert left == 5 * 288
    heard.refusing = False
    demo._sample_past(LIVE_S, LIVE_S, heard.publish, lambda _: None)
    assert len(heard.times("hub-print", "wren")) == 288


def test_the_past_has_its_drop_out():
    """The dead sensor leaves a gap of its 7.5 hours, its neighbours do not."""
    heard = Heard()
    site(10.0).run_history(heard.publish, lambda _: None)
    times_s = heard.times("hub-print", "plover")
    gaps = [later - earlier for earlier, later in zip(times_s, times_s[1:], strict=False)]
    assert [gap for gap in gaps if gap > 300.0] == [pytest.approx(7.5 * 3600.0, abs=300.0)]
    assert len(heard.times("hub-print", "wren")) == 2880


def test_the_same_seed_sends_the_same_past():
    packs = []
    for _ in range(2):
        heard = Heard()
        site(0.5, seed=9).run_history(heard.publish, lambda _: None)
        packs.append(heard.packs)
    assert packs[0] == packs[1]


def test_readings_have_the_sensors_steps_and_noise():
    """A step of 125/65535 %RH, seen through the wire's three decimals; and never the same for hours."""
    heard = Heard()
    site(1.0).run_history(heard.publish, lambda _: None)
    values = [reading.value for reading in heard.of("hub-cellar", "kestrel", Quantity.HUMIDITY)]
    ticks = [(value + 6.0) / 125.0 * 65_535.0 for value in values]
    assert max(abs(tick - round(tick)) for tick in ticks) < 0.3
    assert len(set(values)) > len(values) // 20


class Radio:
    """All devices' connections at once; counts and wakes who waits."""

    def __init__(self) -> None:
        self.changed = threading.Condition()
        self.presences: dict[tuple[DeviceKind, str], dict] = {}
        self.sent: Counter[tuple[DeviceKind, str, str]] = Counter()
        self.last: dict[tuple[DeviceKind, str, str], bytes] = {}
        self.closed = 0
        self.orders = {}

    def connect(self, kind: DeviceKind, key: str, presence: bytes) -> "RadioLink":
        self.presences[kind, key] = json.loads(presence)
        return RadioLink(self, kind, key)

    def wait_for(self, condition) -> bool:
        with self.changed:
            return self.changed.wait_for(condition, timeout=10.0)


class RadioLink:
    def __init__(self, radio: Radio, kind: DeviceKind, key: str) -> None:
        self.radio, self.kind, self.key = radio, kind, key

    def publish(self, leaf: str, payload: bytes) -> bool:
        with self.radio.changed:
            self.radio.sent[self.kind, self.key, leaf] += 1
            self.radio.last[self.kind, self.key, leaf] = payload
            self.radio.changed.notify_all()
        return True

    def listen(self, hear) -> None:
        self.radio.orders[self.kind, self.key] = hear

    def close(self) -> None:
        self.radio.closed += 1


@pytest.fixture
def live():
    """A site two simulated hours old, running at 600 times real time."""
    demo = DemoSite(1, LIVE_S, FastClock(600.0), history_days=2.0 / 24.0)
    radio = Radio()
    demo.run_history(lambda _node, _payload: True, lambda _: None)
    demo.start_live(radio.connect, 600.0)
    yield demo, radio
    demo.stop()


def test_live_every_node_and_oven_is_heard(live):
    """Through the real driver on the emulated bus, each node once a simulated minute."""
    _, radio = live
    nodes = ["hub-print", "hub-cellar", "shelf-east", "kiln-low", "kiln-high"]
    assert radio.wait_for(lambda: all(radio.sent[DeviceKind.NODE, node, "senml"] >= 3 for node in nodes))
    assert radio.wait_for(lambda: all(radio.sent[DeviceKind.OVEN, o, "state"] >= 6 for o in nodes[3:]))
    pack = parse_pack("hub-print", radio.last[DeviceKind.NODE, "hub-print", "senml"], None)
    assert {reading.channel for reading in pack.readings} >= {
        "air",
        "heron",
        "wren",
        "plover",
        "rook",
        "finch",
    }
    assert not pack.rejected
    assert radio.presences[DeviceKind.NODE, "hub-print"]["sample_s"] == 60.0


def test_live_an_oven_says_all_the_contract_asks(live):
    _, radio = live
    key = (DeviceKind.OVEN, "kiln-low", "state")
    assert radio.wait_for(lambda: radio.sent[key] >= 2)
    state = parse_oven_state(radio.last[key])
    # How far it has cooled down depends on how long this machine took to get here.
    assert state.state in ("cooling", "idle")
    assert state.heater == 0.0
    assert state.permit is None


def test_live_one_sensor_drops_out_and_its_neighbours_stay(live):
    _, radio = live
    key = (DeviceKind.NODE, "shelf-east", "senml")

    def channels() -> set[str]:
        if key not in radio.last:
            return set()
        return {reading.channel for reading in parse_pack("shelf-east", radio.last[key], None).readings}

    assert radio.wait_for(lambda: channels() == {"swift", "teal", "dunlin"})
    assert radio.wait_for(lambda: channels() == {"swift", "dunlin"})


def test_stopping_closes_every_connection(live):
    demo, radio = live
    demo.stop()
    assert radio.closed == 7
    assert not demo._live.is_running()


def test_a_device_that_fails_does_not_silence_the_others(live, caplog):
    demo, radio = live

    def broken(_time_s: float):
        raise RuntimeError("a virtual node broke")

    demo.nodes[0].sample_by_driver = broken
    other = (DeviceKind.NODE, "hub-cellar", "senml")
    seen = radio.sent[other]
    assert radio.wait_for(lambda: radio.sent[other] >= seen + 4)
    assert "virtual device failed" in caplog.text
