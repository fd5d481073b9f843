"""A site with a real database and the desk of its alarms; what the rules say is set by hand."""

from contextlib import closing, contextmanager

from support.alarms import RULES, row, safety_row
from support.oven_site import Clock
from support.spool_site import BOX, ROOM, SpoolSite, spool

from monitor.model.alarm_row import AlarmClass, Consequence
from monitor.model.condition import Condition
from monitor.service.alarm_acts import AlarmActs
from monitor.service.alarm_desk import EVERY_S, AlarmDesk
from monitor.service.alarm_world import AlarmSources, ServiceAlarmWorld
from monitor.service.engine import Engine

ROWS = {
    each.type: each
    for each in (
        row(hidden_by=("lid_open_hides_humidity",)),
        row("lid_open", name="Lid open", deadband=0.0),
        row(
            "reading_stale",
            name="Sensor silent",
            alarm_class=AlarmClass.INSTRUMENT,
            hidden_by=("broker_hides_silence",),
        ),
        row("broker_away", name="Broker away", alarm_class=AlarmClass.SYSTEM),
        row("database_trouble", name="Records cannot be written", alarm_class=AlarmClass.SYSTEM),
        row(
            "desiccant_soon", name="Desiccant soon spent", consequence=Consequence.NUISANCE, respond_s=172_800
        ),
        safety_row(),
    )
}


class AlarmSite(SpoolSite):
    """Commits when something waits for it, as the worker does; `is_committing` off is a kill before the write."""

    def __init__(self, path):
        super().__init__(path, spool())
        self.clock = Clock(self.now)
        self.holds = {}  # (type, place) -> condition
        self.published = {}  # key -> payload; what a broker would retain
        self.told = []  # messages of committed batches
        self._untold = []
        self.audited = []
        self.is_connected = True
        self.is_committing = True
        self.start_monitor()

    def start_monitor(self):
        """As at a start of the program: nothing is known but what is stored."""
        self.engine = Engine("attic", self.store.load())
        self._untold.clear()
        self.queries.know_alarms(ROWS)
        world = ServiceAlarmWorld(
            AlarmSources(rows=ROWS, rules=RULES, conditions=lambda *_: tuple(self.holds.values())),
            status=self.queries.status,
            note=self.engine.note_alarms,
            audit=self.engine.audit,
            tell=self._untold.extend,
            publish=self._publish,
            is_connected=lambda: self.is_connected,
        )
        self.desk = AlarmDesk("attic", world, self.clock, self.store.load().alarms)
        self.acts = AlarmActs(self.desk, self.reader, self._ask, self.clock)

    def set(self, kind, holds, place=BOX, **more):
        what = f"{kind} at {place}." if holds else ""
        self.holds[(kind, place)] = Condition(type=kind, place=place, holds=holds, what=what, **more)

    def look(self, times=1, seconds=EVERY_S):
        """So many looks, each so long after the one before."""
        for _ in range(times):
            self.clock.wall += seconds
            self.clock.mono += seconds
            self.now += seconds
            self.turn()

    def turn(self):
        """One turn of the worker."""
        self.desk.tick()
        if self.desk.is_urgent():
            self.commit()

    def settle(self):
        """Until alarms are told to people."""
        self.look(3)
        assert not self.desk.is_settling()

    def commit(self):
        batch = self.engine.take_batch()
        if not getattr(self, "is_committing", True):
            return
        self.store.apply(batch)
        self.queries.followers.committed(batch)
        if hasattr(self, "desk"):
            self.told += self._untold
            self._untold.clear()
            self.audited += batch.audit
            self.desk.committed(batch)

    def kill(self):
        """The program dies and starts again."""
        self.is_committing = True
        self.clock.mono = 5.0  # another boot of the board
        self.start_monitor()

    def shown(self):
        """Key -> state of the alarms as answered from what is committed."""
        return {alarm.key: alarm.state for alarm in self.queries.status().alarms}

    def kinds(self):
        return [(str(message.kind), message.subject) for message in self.told]

    def _publish(self, topic, payload):
        key = topic.rpartition("/")[2]
        if payload:
            self.published[key] = payload
        else:
            self.published.pop(key, None)
        return True

    def _ask(self, act):
        try:
            return act(self.engine)
        finally:
            self.commit()


@contextmanager
def alarm_site(path):
    site = AlarmSite(path)
    with closing(site.store), closing(site.reader):
        yield site


__all__ = ["BOX", "ROOM", "ROWS", "AlarmSite", "alarm_site"]
