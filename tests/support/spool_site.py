"""A small site with a real database: readings, events and answers, without a broker."""

import sqlite3
from contextlib import closing, contextmanager

from monitor.model.batch import Batch
from monitor.model.box_event import BoxEvent
from monitor.model.inventory import Box, Inventory, Oven, Room, Spool
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.model.spool_event import SpoolEvent
from monitor.service.changes import Changes
from monitor.service.engine import Engine
from monitor.service.queries import Queries
from monitor.store.reader import Reader
from monitor.store.store import Store

START_S = 1_790_000_000 // 1800 * 1800.0
HOUR_S, DAY_S = 3600.0, 86_400.0
ROOM, BOX, OTHER_BOX, OVEN = "loft", "crate", "chest", "kiln"
CHANNELS = {ROOM: ("n1", "air"), BOX: ("n1", "crate"), OTHER_BOX: ("n1", "chest"), OVEN: ("n1", "kiln")}


def spool(key="grey", material="petg", place=BOX, **members):
    usual = {"name": key, "diameter_mm": 1.75, "net_g": 1000.0, "start": "open", "since_s": START_S}
    return Spool(key=key, material=material, place=place, **(usual | members))


class SpoolSite:
    """Writes as the worker does: one batch, then the follower is told."""

    oven_max_c = 90.0
    oven_relay = None

    def __init__(self, path, *spools, charge=None, resumed_s=None):
        """`resumed_s`: the database is there already, and it is that time."""
        self.charge = charge
        self.store = Store(path, "attic")
        self.reader = Reader(path, "attic")
        self.engine = Engine("attic", self.store.load())
        self.now = START_S if resumed_s is None else resumed_s
        self.queries = self.fresh_queries()
        self.changes = Changes(self.queries, self._ask, lambda: self.now)
        if resumed_s is None:
            self.load(*spools)

    def fresh_queries(self):
        """As another process would ask: knows nothing but the database."""
        return Queries(self.reader, now_s=lambda: self.now, zone="UTC")

    def load(self, *spools):
        """An inventory file with these spools."""
        inventory = Inventory(
            rooms={ROOM: Room(key=ROOM, name="Loft", channel="n1/air")},
            boxes={
                key: Box(
                    key=key,
                    name=key.title(),
                    room=ROOM,
                    volume_l=12.0,
                    channel=f"n1/{key}",
                    desiccant=self.charge,
                )
                for key in (BOX, OTHER_BOX)
            },
            ovens={
                OVEN: Oven(
                    key=OVEN,
                    name="Kiln",
                    room=ROOM,
                    max_c=self.oven_max_c,
                    channel="n1/kiln",
                    heater_w=350.0,
                    volume_l=40.0,
                    fan=True,
                    relay=self.oven_relay,
                )
            },
            spools={each.key: each for each in spools},
        )
        self.engine.change_inventory(inventory, self.now)
        self.commit()

    def commit(self):
        batch = self.engine.take_batch()
        self.store.apply(batch)
        self.queries.followers.committed(batch)

    def air(self, place, hours, temperature_c, humidity_pct, *, from_s=None, every_s=300.0):
        """Readings of a place, ending now unless a beginning is given."""
        begin_s = self.now - hours * HOUR_S if from_s is None else from_s
        node, channel = CHANNELS[place]
        count = round(hours * HOUR_S / every_s)
        readings = [
            Reading(
                node=node,
                channel=channel,
                quantity=quantity,
                time_ms=round(1000.0 * (begin_s + number * every_s)),
                value=value,
                quality=TimeQuality.SYNCED,
            )
            for number in range(count)
            for quantity, value in ((Quantity.TEMPERATURE, temperature_c), (Quantity.HUMIDITY, humidity_pct))
        ]
        batch = Batch(readings=readings, newest_ms=round(1000.0 * self.now))
        self.store.apply(batch)
        self.queries.followers.committed(batch)

    def pass_time(self, hours, **humidity_pct):
        """So many hours go by, with this humidity at each place, at 23 °C (the oven at 23 °C, too)."""
        self.now += hours * HOUR_S
        for place, value in humidity_pct.items():
            self.air(place, hours, 23.0, value)

    def tell(self, what, *, spool="grey", hours_ago=0.0, replaces=None):
        """An event of a person, entered now; returns its number."""
        event = SpoolEvent(
            spool=spool,
            at_s=self.now - hours_ago * HOUR_S,
            entered_s=0.0,
            who="mara",
            what=what,
            replaces=replaces,
        )
        return self.changes.add_event(event)

    def spool(self, key="grey", *, queries=None, at_s=None):
        """The answer of one spool."""
        status = (queries or self.queries).status(at_s)
        return next(each for each in status.spools if each.key == key)

    def follow(self):
        """As the worker does: everything is brought up to now and kept."""
        more = True
        while more:
            computed, more = self.queries.followers.advance(round(1000.0 * self.now), 500)
            self.store.keep(computed)

    def hear(self, place, rows):
        """Readings (time_s, temperature_c, relative humidity) of a place."""
        node, channel = CHANNELS[place]
        readings = [
            Reading(
                node=node,
                channel=channel,
                quantity=quantity,
                time_ms=round(1000.0 * at_s),
                value=value,
                quality=TimeQuality.SYNCED,
            )
            for at_s, warmth, humidity in rows
            for quantity, value in ((Quantity.TEMPERATURE, warmth), (Quantity.HUMIDITY, 100.0 * humidity))
        ]
        batch = Batch(readings=readings, newest_ms=round(1000.0 * self.now))
        self.store.apply(batch)
        self.queries.followers.committed(batch)

    def tell_box(self, what, *, box=BOX, hours_ago=0.0, replaces=None):
        """What was done to a box's desiccant, entered now; returns its number."""
        event = BoxEvent(
            box=box,
            at_s=self.now - hours_ago * HOUR_S,
            entered_s=0.0,
            who="mara",
            what=what,
            replaces=replaces,
        )
        return self.changes.add_box_event(event)

    def box(self, key=BOX, *, queries=None, at_s=None):
        """The answer of one box."""
        status = (queries or self.queries).status(at_s)
        return next(each for each in status.boxes if each.key == key)

    def _ask(self, act):
        answer = act(self.engine)
        self.commit()
        return answer

    def close(self):
        self.reader.close()
        self.store.close()


@contextmanager
def resumed(other, path):
    """A copy of another site, opened anew as after a restart: what is done to it leaves the other as it was."""
    with closing(sqlite3.connect(path)) as db:
        other.store._db.backup(db)
    with closing(SpoolSite(path, charge=other.charge, resumed_s=other.now)) as site:
        yield site


@contextmanager
def spool_site(tmp_path, *spools, charge=None):
    with closing(SpoolSite(tmp_path / "site.db", *(spools or (spool(),)), charge=charge)) as site:
        yield site
