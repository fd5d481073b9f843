"""What the alarms' rules are told of ovens, rooms, nodes and the monitor itself."""

import pytest
from support.oven_site import OVEN, oven_site
from support.spool_site import BOX

from monitor.model.batch import Batch
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.model.sensor_check import Corner, Mapped, Seated, SensorEvent
from monitor.service.around import Gatherer, Troubles


class World:
    """Of the service's parts what the gatherer asks; set by hand."""

    def __init__(self):
        self.is_connected = True
        self.said = dict.fromkeys(("database", "supervision", "clock", "delivery", "chain"), "")
        self.disk = (10, 100)
        self.owed = {}

    def troubles(self):
        told = {name: (lambda name=name: self.said[name]) for name in self.said}
        return Troubles(
            is_connected=lambda: self.is_connected,
            disk=lambda: self.disk,
            test_owed_s=lambda: dict(self.owed),
            **told,
        )


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path) as made:
        made.world = World()
        made.gatherer = Gatherer(made.queries, made.reader, made.desk, made.clock, made.world.troubles())
        made.run(5)
        yield made


def watch(site):
    return site.gatherer.around().ovens[OVEN]


def test_an_oven_that_stands_by_has_no_leave_and_no_age(site):
    found = watch(site)
    assert found.has_permit is False
    assert found.is_cooling is False
    assert found.trip is None
    assert found.state_age_s < 15.0
    assert found.was_hot_or_heating is False


def test_an_oven_that_was_never_heard_tells_nothing(site):
    site.desk._states[OVEN] = type(site.desk.now(OVEN))(oven=OVEN, parameters=site.desk.now(OVEN).parameters)
    found = watch(site)
    assert (found.has_permit, found.state_age_s, found.was_hot_or_heating) == (None, None, None)


def test_silence_is_counted_from_the_last_state(site):
    site.clock.mono += 90.0
    assert watch(site).state_age_s == pytest.approx(90.0, abs=15.0)


def test_warmth_after_heat_is_cooling_for_the_ovens_lag_and_no_longer(site):
    """So that a switch that is stuck is not taken for one."""
    site.gatherer._heated_s[OVEN] = site.clock.mono
    assert watch(site).is_cooling
    site.clock.mono += site.desk.now(OVEN).parameters.thermal_lag_s + 1.0
    assert not watch(site).is_cooling


def test_a_rise_is_told_over_minutes_not_from_one_noisy_sample(site):
    rise = site.gatherer._rise
    assert rise("x", 30.0, 0.0) is None
    assert rise("x", 30.5, 30.0) is None  # too short to tell
    assert rise("x", 32.0, 120.0) == pytest.approx(1.0)
    assert rise("x", 32.0, 400.0) is None  # nothing was heard in between
    assert rise("x", None, 410.0) is None


def test_who_owes_a_test_of_messages_is_looked_up_every_ten_minutes(site):
    """It changes in days, and every look at the alarms asks."""
    assert site.gatherer.around().test_owed_s == {}
    site.world.owed = {"Mara": 1.0}
    site.clock.mono += 599.0
    assert site.gatherer.around().test_owed_s == {}
    site.clock.mono += 1.0
    assert site.gatherer.around().test_owed_s == {"Mara": 1.0}


def test_how_long_the_broker_has_been_away(site):
    assert site.gatherer.around().broker_away_s == 0.0
    site.world.is_connected = False
    assert site.gatherer.around().broker_away_s > 0.0
    site.clock.mono += 120.0
    assert site.gatherer.around().broker_away_s == pytest.approx(120.0, abs=1.0)
    site.world.is_connected = True
    assert site.gatherer.around().broker_away_s == 0.0


def test_what_the_monitor_says_of_itself_is_handed_on(site):
    site.world.said["database"] = "It is busy."
    site.world.said["chain"] = None
    found = site.gatherer.around()
    assert found.database_trouble == "It is busy."
    assert found.chain_trouble is None
    assert (found.disk_free_bytes, found.disk_total_bytes) == (10, 100)
    site.world.disk = None
    assert site.gatherer.around().disk_free_bytes is None


def reading(site, channel, quantity, value, ago_s=0.0):
    site.engine._batch.readings.append(
        Reading(
            node="n1",
            channel=channel,
            quantity=quantity,
            time_ms=round(1000.0 * (site.clock.wall - ago_s)),
            value=value,
            quality=TimeQuality.SYNCED,
        )
    )
    site.commit()


def test_smoke_counts_while_its_detector_is_heard(site):
    """B-44: one that fell silent tells nothing, and neither smoke nor none is made of that."""
    assert site.gatherer.around().smoke == {}
    reading(site, "air", Quantity.SMOKE, 1.0)
    assert list(site.gatherer.around().smoke.values()) == [True]
    site.clock.wall += 3_600.0
    site.now = site.clock.wall
    assert list(site.gatherer.around().smoke.values()) == [None]


def test_a_battery_is_that_of_the_channel_or_of_the_whole_node(site):
    reading(site, "power", Quantity.BATTERY, 9.0)
    found = site.gatherer.around().battery_pct
    assert found
    assert set(found.values()) == {9.0}
    reading(site, "air", Quantity.BATTERY, 80.0)
    assert site.gatherer.around().battery_pct["loft"] == 80.0


def told_of_crate(site, what):
    at_s = site.queries.now_s()
    number = site.store.load().newest_sensor_event_id + 1
    event = SensorEvent(channel="n1/crate", at_s=at_s, entered_s=at_s, who="m", what=what, event_id=number)
    site.store.apply(Batch(sensor_events=[event]))


def test_where_a_sensor_sits_is_known_at_the_next_look(site):
    """Who says that it was moved must not wait for the alarm to go."""
    assert site.gatherer.around().seats == {}
    corners = tuple(Corner(name=n, humidity_pct=pct, hours=24.0) for n, pct in (("low", 9.0), ("bag", 5.0)))
    told_of_crate(
        site, Mapped(corners=corners, spread_pct=4.0, is_uneven=True, is_short=False, sits_at="bag")
    )
    assert site.gatherer.around().seats[BOX].drier_pct == 4.0
    told_of_crate(site, Seated(sits_at="low"))
    assert site.gatherer.around().seats[BOX].drier_pct == 0.0
