"""What makes each row of the alarm table hold on a wired site, in the order in which it is done to one site."""

import sqlite3
from contextlib import closing
from dataclasses import replace

from support.alarm_past import CHARGED, Pasts, air, channel, inventory, spool, two_zones
from support.alarm_wire import HOUR_S, MINUTE_S, STEP_S, Case
from support.processes import PlainBroker
from support.waiting import wait_for

from monitor.library.alarm_table import load_alarm_table
from monitor.model.sensor_check import Installed, MapNow, SensorTold, Stay
from monitor.oven.site import Tick
from monitor.service import worker as worker_module

DAY_S = 86_400.0
_NO_MORE = 2 * STEP_S  # beyond its delay
_DELAY_S = {kind: row.on_delay_s for kind, row in load_alarm_table().rows.items()}


def _nothing(_site):
    """Its cause was there before."""


def _boxes_tell_their_past(site):
    pasts = Pasts()
    for key in CHARGED:
        pasts.tell(site, key)
    site.wait_stored()
    _wait_followed(site)


def _wait_followed(site):
    for key in CHARGED:
        site.wait_followed(key)


# --- on the wire: packs of nodes ---


def _damp(site):
    site.read(channel("damp"), air(48.0))


def _warm(site):
    site.read(channel("shelf"), air(5.0, 45.0))


def _battery(site):
    site.read(channel("shelf"), {"battery": 9.0})


def _mute(site):
    site.read(channel("mute"), air(5.0), due_s=MINUTE_S)


def _dry_spool_in_room_air(site):
    """It comes dry into the inventory, into a room whose air is not."""
    found = inventory()
    thirsty = spool("thirsty", "loft", start_pct=0.01, since_s=site.now_s)
    site.load(replace(found, spools=found.spools | {"thirsty": thirsty}))
    _wait_followed(site)  # all is worked out anew, and nobody can tell of a box meanwhile


def _loft_is_not_dry(site):
    site.read(channel("loft"), air(25.0))


def _smoke(site):
    site.read(channel("loft"), {"smoke": True})


def _node_goes(site):
    """As the broker does it: the node's last will, retained."""
    site.presence("n9", online=True, boot="c0de", firmware="1", sample_s=60)
    site.presence("n9", online=False)


# --- on the wire: states of ovens ---


def _trips(site):
    trip = {"id": "t1", "rule": "R6", "what": "the chamber was at 97 °C", "remote_reset": False}
    site.oven("kiln", state="tripped", trip=trip)


def _takes_power(site):
    site.oven("range", power_w=240.0)


def _falls_silent(site):
    site.oven("grill", chamber_c=[71.0, 70.5])


# --- what people state, and time ---


def _installed_long_ago(site):
    """Its day comes by the clock alone; that it was put in is what a person enters."""
    told = Installed(serial="A7", interval_months=1)
    site.service.changes.add_sensor_event(
        SensorTold(channel=channel("shelf"), at_s=site.now_s - 40 * DAY_S, who="Mara", wish=told)
    )
    site.pass_time(2 * STEP_S)  # due dates are looked up every ten minutes


_LOW_PCT, _BESIDE_PCT = two_zones(40.0, 3.0)
_SITS = (
    "sensor of Shelf box sits “beside the bag”, where it reads "
    f"{round(_LOW_PCT, 2) - round(_BESIDE_PCT, 2):.1f} %RH drier than “low, by the hinge”"
)


def _sits_beside_the_bag(site):
    """The sensor lay a day in each of two corners, and whoever moved it says that it stays at the bag."""
    begin_s, now_s = site.now_s - 2.0 * DAY_S, site.now_s
    names = ("low, by the hinge", "beside the bag")
    stays = [
        Stay(name=name, from_s=begin_s + day * DAY_S, to_s=begin_s + (day + 1) * DAY_S)
        for day, name in enumerate(names)
    ]
    for stay, humidity_pct in zip(stays, (_LOW_PCT, _BESIDE_PCT), strict=True):
        times_s = [stay.from_s + hour * HOUR_S for hour in range(24)]
        site.pack({channel("shelf"): [(at_s, air(humidity_pct)) for at_s in times_s]})
    told = MapNow(stays=tuple(stays), sits_at="beside the bag")
    site.service.changes.add_sensor_event(
        SensorTold(channel=channel("shelf"), at_s=now_s, who="Mara", wish=told)
    )


def _left_alone(site):
    """Its owner goes through the checklist for leaving it alone; no yearly test is on record."""
    site.service.ovens.tick_off("stove", tuple(Tick), "Mara")


# --- the monitor itself ---


def _deaf_receiver(site):
    """A test to a receiver that answers 500, until three tries in a row have failed."""
    delivery = site.service.delivery
    delivery.add_channel("Mara", "pat", "deaf hook", site.receiver.address("deaf"), is_owner=True)
    delivery.test("Mara", "pat")
    for tries in (1, 2, 3):
        wait_for(lambda tries=tries: len(site.receiver.failed) >= tries, 10, f"try {tries}")
        wait_for(lambda: not site.service.sender._attempts, 5, "the end of the try")
        if tries < 3:
            site.pass_time(STEP_S)


def _file_is_held(site):
    """Another program holds the file for writing over some minutes, while a reading comes in."""
    worker, desk = site.service.worker, site.service.alarm_desk
    site.patch.setattr(worker_module, "RETRY_S", 0.05)
    # Shorter than the usual five seconds of patience, for the sake of the suite.
    site.ask(lambda _: worker._store._db.execute("PRAGMA busy_timeout = 50"))
    with closing(sqlite3.connect(site.folder / "live.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        site.pack({channel("hall"): [(site.now_s, air(40.0))]}, waits=False)
        wait_for(lambda: worker.write_trouble, 10, "the write to fail")
        for _ in range(3):
            site.clock.ahead_s += MINUTE_S
            looked_s = desk._looked_s
            wait_for(lambda before_s=looked_s: desk._looked_s > before_s, 10, "a look at the alarms")
        assert site.shown("database_trouble") == "unack"
        assert site.retained("database_trouble") is None  # nothing is said that is not written
        # But to people, who are the only ones that can do anything about it: after half a minute of the
        # service's clock, which may have begun after the last of these looks.
        site.clock.ahead_s += MINUTE_S
        assert site.received("another program holds it", 20.0)
        other.execute("ROLLBACK")
    site.wait_stored()


def _full_card(site):
    """What the operating system says of the card is the one thing put in: a card cannot be filled here."""
    site.patch.setattr("monitor.app.disk_room", lambda _path: (90_000_000, 32_000_000_000))


def _supervision_fails(site):
    """A fault of our own, put in where the supervision asks for the load and the room of an oven."""

    def fails(*_args, **_more):
        raise RuntimeError("a fault put in by a test")

    site.patch.setattr(site.service.ovens._desk._world, "site", fails)


def _clock_falls_back(site):
    """The wall clock is set back by days, as by a hand or a bad time server."""
    site.clock.wrong_s = -4 * DAY_S


def _clock_is_set(site):
    site.clock.wrong_s = 0.0


def _line_changed(site):
    """One line of the log is changed in the file by another program; the daily walk finds it, done now."""
    with closing(sqlite3.connect(site.folder / "live.db")) as db, db:
        db.execute("DROP TRIGGER audit_is_never_changed")
        db.execute("UPDATE audit SET who = 'nobody' WHERE seq = (SELECT min(seq) + 3 FROM audit)")
    site.service._log_watch.walk()


def _broker_dies(site):
    site.broker.stop()
    wait_for(lambda: not site.service.link.state().connected, 20, "the link to notice")


def _broker_is_back(site):
    site.broker = PlainBroker(site.folder, site.broker.port).start()
    site.wait_connected()


CASES = (
    Case(kind="lid_open", place="ajar", words="Ajar box: the lid seems to be open",
         most_s=_DELAY_S["lid_open"] + _NO_MORE, cause=_boxes_tell_their_past),
    Case(kind="desiccant_spent", place="full", words="Full box: its desiccant is used up",
         most_s=_NO_MORE, cause=_nothing),
    Case(kind="contents_unannounced", place="full", words="Full box: More water comes in than was inside before",
         most_s=_NO_MORE, cause=_nothing, is_gathered=True),
    Case(kind="sensor_implausible", place="skewed", words="Skewed box: its sensor seems to be off",
         most_s=_DELAY_S["sensor_implausible"] + _NO_MORE, cause=_nothing),
    Case(kind="charge_too_small", place="small", words="Small box: it has too little desiccant",
         most_s=_DELAY_S["charge_too_small"] + _NO_MORE, cause=_nothing),
    Case(kind="desiccant_soon", place="sieve", words="Sieve box: its desiccant will be spent in about",
         most_s=1_800.0 + _NO_MORE, cause=_nothing),
    Case(kind="smoke", place="loft", words="smoke detector in Loft says smoke", most_s=0.0, cause=_smoke),
    Case(kind="sensor_misplaced", place="shelf", words=_SITS,
         most_s=_NO_MORE, cause=_sits_beside_the_bag),
    Case(kind="temperature_high", place="shelf", words="Shelf box is at 45 °C",
         most_s=600.0 + 5 * STEP_S, cause=_warm, each=_warm),
    Case(kind="oven_trip", place="kiln", words="The kiln has switched its heater off and locked it",
         most_s=STEP_S, cause=_trips),
    Case(kind="battery_low", place="shelf", words="battery at Shelf box has 9 % left",
         most_s=HOUR_S + _NO_MORE, cause=_battery),
    Case(kind="oven_hot_unasked", place="range", words="The range takes 240 W without leave to heat",
         most_s=3 * STEP_S, cause=_takes_power, each=_takes_power),
    Case(kind="node_offline", place="far", words="node that measures Far box is offline",
         most_s=1_800.0 + _NO_MORE, cause=_node_goes),
    Case(kind="oven_silent_hot", place="grill", words="The grill was hot or heating and has been silent",
         most_s=_NO_MORE, cause=_falls_silent),
    Case(kind="humidity_high", place="damp", words="Damp box is at 48 %RH",
         most_s=7_200.0 + 6 * STEP_S, cause=_damp, each=_damp),
    Case(kind="reading_stale", place="mute", words="Mute box: no reading for",
         most_s=_DELAY_S["reading_stale"] + 2 * _NO_MORE, cause=_mute),
    Case(kind="sensor_check_overdue", place="shelf", words="sensor of Shelf box was due for its check",
         most_s=_NO_MORE, cause=_installed_long_ago),
    Case(kind="oven_proof_overdue", place="stove", words="The stove has no yearly test on record",
         most_s=STEP_S, cause=_left_alone),
    Case(kind="delivery_failing", place="", words="Messages do not get out by deaf hook",
         most_s=300.0 + _NO_MORE, cause=_deaf_receiver),
    Case(
        kind="database_trouble",
        place="",
        words="The database is busy: another program holds it",
        most_s=0.0,
        cause=_file_is_held,
    ),
    Case(kind="disk_low", place="", words="90 MB of storage are free", most_s=600.0 + _NO_MORE,
         cause=_full_card),
    Case(kind="spool_rewet", place="thirsty", words="Spool thirsty may be over its limit",
         most_s=2 * HOUR_S, cause=_dry_spool_in_room_air, each=_loft_is_not_dry),
    Case(kind="wet_contents", place="soaked", words="Soaked box: something in it gives off water",
         most_s=_DELAY_S["wet_contents"] + _NO_MORE, cause=_nothing),
    Case(kind="box_leaky", place="sieve", words="Sieve box: it lets in more air than it should",
         most_s=_DELAY_S["box_leaky"] + _NO_MORE, cause=_nothing),
    Case(kind="supervision_trouble", place="", words="A fault in supervising the ovens",
         most_s=STEP_S, cause=_supervision_fails),
    Case(kind="records_broken", place="", words="of the log was changed after it was written",
         most_s=STEP_S, cause=_line_changed),
    Case(kind="clock_wrong", place="", words="This board's clock is behind its newest record",
         most_s=300.0 + _NO_MORE, cause=_clock_falls_back, undo=_clock_is_set),
    Case(kind="broker_away", place="", words="The broker has not been reached for",
         most_s=300.0 + _NO_MORE, cause=_broker_dies, undo=_broker_is_back),
)  # fmt: skip
