"""An oven's entry changes while it is supervised, and its room's detector alarms: both count at once."""

import json

import pytest
from support.oven_site import HOUR_S, OVEN, oven_site

from monitor.errors import StoreError
from monitor.model.arrival import Arrival


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path) as made:
        yield made


def started(site, **members):
    site.arm()
    assert site.acts.start(OVEN, site.wish(**members), "mara") == ()
    site.run(300)
    return site


def entry(site, max_c):
    """Another entry in the inventory, and the commit that tells the desk."""
    site.oven_max_c = max_c
    spools = tuple(site.queries.inventory().spools.values())
    site.load(*spools)
    site.queries.changed()
    site.desk._read()
    site.desk._bring_up()  # what the worker's commit does
    site._settle()


def smoke(site, *, alarms, ago_s=0.0, channel="air", retain=False):
    """A detector's pack, as it comes from the broker."""
    says = [
        {"bn": f"{channel}/", "bt": site.clock.wall - ago_s, "n": "smoke", "vb": alarms, "ut": 60},
        {"bn": "", "n": "seq", "v": round(site.clock.mono)},
        {"n": "boot", "vs": "d1"},
    ]
    arrival = Arrival(
        topic="sorbwatch/attic/node/n1/senml",
        payload=json.dumps(says).encode(),
        retain=retain,
        wall_s=site.clock.wall,
        mono_s=site.clock.mono,
    )
    site.desk.arrived(arrival)


def test_a_lower_limit_reaches_an_idle_oven_and_what_was_about_to_be_confirmed(site):
    """B-52, B-28: the next start is judged by it, one that was shown the old one is refused."""
    wish = site.wish(setpoint_c=50.0)
    site.arm()
    entry(site, 45.0)
    assert site.desk.now(OVEN).parameters.max_c == 45.0
    assert site.acts.start(OVEN, wish, "mara")
    problems = site.acts.start(OVEN, site.wish(setpoint_c=50.0), "mara")
    assert problems[0].rule == "B-14"


def test_a_lower_limit_ends_a_running_cycle_at_once(site):
    """B-52: what was confirmed no longer holds, and the heat does not wait for the next state."""
    started(site)
    site.said.clear()
    entry(site, 45.0)
    assert site.said[0][0].endswith("/stop")
    assert not site.rig.is_heated
    assert site.look().ended.ending == "stopped_by_rule"
    assert site.desk.now(OVEN).parameters.max_c == 45.0


def test_a_higher_limit_waits_until_nothing_runs(site):
    """B-52: no remote parameter raises a limit of what is being heated."""
    started(site, duration_s=0.2 * HOUR_S)
    entry(site, 85.0)
    site.run(60)
    assert site.look().phase in ("heating", "drying")
    assert site.desk.now(OVEN).parameters.max_c == 80.0
    site.run(0.3 * HOUR_S)
    assert site.look().ended.ending == "time_up"
    assert site.desk.now(OVEN).parameters.max_c == 85.0


def test_an_alarm_trips_before_anything_of_it_is_stored(site):
    """B-44: any detector alarm trips all heat in that room; safety trips are not reset from afar."""
    started(site)
    site.is_committing = False
    site.said.clear()
    smoke(site, alarms=True)
    assert site.said[0][0].endswith("/stop")
    assert not site.rig.is_heated
    site.is_committing = True
    site._settle()
    look = site.look()
    assert (look.trip.rule, look.trip.is_safety) == ("B-44", True)


def test_an_alarm_trips_while_the_store_cannot_be_read(site, monkeypatch):
    """B-44: heat ends whatever has become of the disk."""
    started(site)

    def fails(*_):
        raise StoreError("the disk is gone")

    for name in ("inventory", "latest", "oven_facts"):
        monkeypatch.setattr(site.reader, name, fails)
    site.is_committing = False
    site.said.clear()
    smoke(site, alarms=True)
    assert site.said[0][0].endswith("/stop")
    assert site.desk.now(OVEN).trip.rule == "B-44"
    assert not site.rig.is_heated


def test_what_is_committed_is_read_once_for_figures_and_surroundings(site, monkeypatch):
    """It is read every twenty seconds, on the thread that keeps readings."""
    facts, inventory, reads = site.reader.oven_facts, site.queries.inventory, []
    monkeypatch.setattr(site.reader, "oven_facts", lambda: reads.append("facts") or facts())
    monkeypatch.setattr(site.queries, "inventory", lambda: reads.append("inventory") or inventory())
    site.desk.tell_site()
    assert sorted(reads) == ["facts", "inventory"]


@pytest.mark.parametrize(
    "members",
    [
        {"alarms": False},
        {"alarms": True, "channel": "kitchen"},
        {"alarms": True, "ago_s": 3600.0},
        {"alarms": True, "retain": True},
    ],
)
def test_what_is_no_alarm_of_this_room_now_trips_nothing(site, members):
    """A quiet detector, another room's, and what a buffer or the broker had kept."""
    started(site)
    smoke(site, **members)
    site.run(30)
    assert site.look().trip is None
    assert site.look().phase in ("heating", "drying", "preheat_check")


def test_nothing_starts_while_an_alarm_is_not_stored_yet(site):
    """B-44: the alarm holds over the next look at the store, which knows nothing of it."""
    smoke(site, alarms=True)
    site.run(30)
    assert site.look().phase == "tripped"


def test_what_was_recorded_round_a_trip_is_read_back(site):
    """A-25: by its name, complete only after the ten minutes that follow it."""
    started(site)
    smoke(site, alarms=True)
    site._settle()
    (trip,) = site.acts.trips(OVEN)
    record = site.acts.trip(OVEN, trip)
    assert (record.trip, record.fired[0].rule, record.is_complete) == (trip, "B-44", False)
    site.run(620)
    record = site.acts.trip(OVEN, trip)
    assert record.is_complete
    assert record.trace[-1].after_ms > 580_000
    assert site.acts.trip(OVEN, "t0-0") is None
