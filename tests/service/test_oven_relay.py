"""An oven behind a network relay: the desk, a placed sensor and a relay that counts down, on one moved clock."""

import json
import random
from contextlib import closing

import pytest
from support.oven_site import HOUR_S, OVEN, ROOM, STEP_S, OvenSite, spool

from monitor.model.arrival import Arrival
from monitor.model.inventory import RelayWire
from monitor.simulator.oven_sensor import ChamberSensor
from monitor.simulator.oven_thermal import Drive, OvenParameters, OvenThermal, Room

WIRE = RelayWire(
    on_topic="plugs/7/set",
    on_payload='{"on":true,"for_s":{seconds}}',
    off_topic="plugs/7/set",
    off_payload='{"on":false}',
)


class RelaySite(OvenSite):
    """The chamber is heated whole by the relay; a node tells its temperature every two seconds."""

    oven_relay = WIRE

    def __init__(self, path, *spools):
        self.oven = OvenThermal(OvenParameters(), Room())
        self.sensor = ChamberSensor(random.Random(3), self.oven.air_c, lag_s=20.0, offset_c=0.0)
        self.left_s, self.number, self.is_sensed = 0.0, 0, True
        self.is_obeying_off = True
        super().__init__(path, *spools)

    def _publish(self, topic, payload, expiry_s):
        sent = super()._publish(topic, payload, expiry_s)
        if topic == "plugs/7/set" and self.is_linked:
            said = json.loads(payload)
            if said["on"] or self.is_obeying_off:
                self.left_s = float(said.get("for_s", 0.0))
        return sent

    @property
    def is_on(self):
        return self.left_s > 0.0

    def run(self, seconds, *, monitor=True):
        for _ in range(round(seconds / STEP_S)):
            self.clock.wall += STEP_S
            self.clock.mono += STEP_S
            self.now = self.clock.wall
            self.oven.step(STEP_S, Drive(heated=self.is_on, fan=True, door_open=False, water_kg_s=0.0))
            self.sensor.pass_time(STEP_S, self.oven.air_c, 22.0, None)
            self.left_s = max(self.left_s - STEP_S, 0.0)
            if not monitor:
                continue
            if self.is_sensed:
                self.sense()
            self.desk.tick()
            self._settle()

    def sense(self, *, ago_s=0.0, retain=False):
        self.number += 1
        _, chamber_c = self.sensor.sample(None)
        says = [
            {"bn": "kiln/", "bt": self.clock.wall - ago_s, "n": "temperature", "u": "Cel"}
            | {"v": round(chamber_c, 2)},
            {"bn": "", "n": "seq", "v": self.number},
            {"n": "boot", "vs": "k1"},
        ]
        self.desk.arrived(
            Arrival(
                topic="sorbwatch/attic/node/n1/senml", payload=json.dumps(says).encode(), retain=retain,
                wall_s=self.clock.wall, mono_s=self.clock.mono,
            )
        )  # fmt: skip

    def orders(self):
        return [json.loads(payload) for topic, payload in self.said if topic == "plugs/7/set"]


@pytest.fixture
def site(tmp_path):
    with closing(RelaySite(tmp_path / "relay.db", spool("grey", "petg", place=OVEN, reel="pc"))) as made:
        made.air(ROOM, 0.5, 22.0, 45.0)
        made.desk.tell_site()
        made.run(20)
        yield made


def started(site, **members):
    problems = site.acts.start(OVEN, site.wish(**members), "mara")
    assert problems == (), problems
    site.run(60)
    assert site.is_on, site.look()
    return site


def test_a_relay_dries_by_ons_that_each_carry_their_off(site):
    """B-24: renewed while all holds, regulated about the set-point, never a permit."""
    started(site, duration_s=1.5 * HOUR_S)
    site.run(1.2 * HOUR_S)
    look = site.look()
    assert look.phase == "drying", look
    assert 46.0 < site.oven.air_c < 56.0
    assert all(0 < order["for_s"] <= 60 for order in site.orders() if order["on"])
    assert not [topic for topic, _ in site.said if topic.endswith("/permit")]
    site.run(0.5 * HOUR_S)
    assert site.look().ended.ending == "time_up"
    assert not site.is_on


def test_it_goes_off_by_itself_when_the_monitor_dies_and_stays_off(site):
    """H07, B-21: the countdown is the relay's own; a new run of the program switches off, never on."""
    started(site)
    site.run(30.0, monitor=False)
    assert not site.is_on
    site.said.clear()
    site.start_monitor()
    site.run(120)
    assert site.look().ended.ending == "restarted"
    assert [order for order in site.orders() if order["on"]] == []


def test_a_stop_reaches_the_relay_before_anything_is_written(site):
    """B-17: at once, and confirmed only when even an ON that was not taken back would have run out."""
    started(site)
    site.is_obeying_off = False
    site.is_committing = False
    site.said.clear()
    site.acts.stop(OVEN, "mara", "smell")
    assert {"on": False} in site.orders()
    site.is_committing = True
    site.run(4)
    assert site.look().stop_asked_s is not None
    assert "stop_confirmed" not in site.kinds()
    site.run(40)
    assert not site.is_on
    assert "stop_confirmed" in site.kinds()


def test_a_sensor_that_falls_silent_ends_the_heat(site):
    """R2: the temperature comes from a placed sensor alone."""
    started(site)
    site.is_sensed = False
    site.run(40)
    assert not site.is_on
    assert site.look().phase in ("hold", "tripped")


@pytest.mark.parametrize("how", [{"ago_s": 60.0}, {"retain": True}])
def test_what_a_buffer_or_the_broker_kept_is_no_fresh_temperature(site, how):
    """A chamber is not heated by what it was a minute ago."""
    started(site)
    site.is_sensed = False
    for _ in range(20):
        site.sense(**how)
        site.run(2)
    assert not site.is_on


def test_an_on_that_cannot_be_sent_at_once_is_not_kept(site):
    """H10: off line it is lost, and the oven stays cold."""
    site.world.publish_now = lambda *_: False
    assert site.acts.start(OVEN, site.wish(), "mara") == ()
    site.run(60)
    assert not site.is_on
