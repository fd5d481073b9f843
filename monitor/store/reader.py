"""Everything a page or a command can ask of the database, read-only."""

from monitor.model.alarm_change import AlarmFigure, AlarmTransition
from monitor.model.batch import DeviceRow, Quarantined
from monitor.model.box_event import BoxCheckpoint, BoxHistory, Noticed
from monitor.model.catalogue import OwnFigure
from monitor.model.cycle import OvenRecord
from monitor.model.cycle_record import CycleNote
from monitor.model.history import Placement, Site
from monitor.model.inventory import Inventory
from monitor.model.oven_air import OvenAir
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.oven_run import OvenRun
from monitor.model.planned_start import AnyStart
from monitor.model.sensor_check import SensorEvent
from monitor.model.spool_event import Checkpoint, SpoolHistory
from monitor.store import alarms, boxes, cycles, facts, oven_runs, ovens, planned, sensors, spools, versions
from monitor.store.audit import AuditReader
from monitor.store.calendar import CalendarReader
from monitor.store.outbox import OutboxReader
from monitor.store.people import PeopleReader
from monitor.store.series_reader import SeriesReader


class Reader(SeriesReader, PeopleReader, CalendarReader, OutboxReader, AuditReader):
    """Questions about one site, for any number of threads."""

    def sites(self) -> tuple[Site, ...]:
        with self._snapshot() as db:
            rows = db.execute("SELECT key, named FROM site ORDER BY key").fetchall()
            return tuple(Site(key=key, is_named=bool(named)) for key, named in rows)

    def site(self) -> str:
        """The present key of the site that is read."""
        with self._snapshot() as db:
            row = db.execute("SELECT key FROM site WHERE site_id = ?", (self._site_id,)).fetchone()
            return str(row[0])

    def inventory(self, at_ms: int | None = None) -> Inventory:
        """As it is, or as it was at a time."""
        with self._snapshot() as db:
            return versions.read_inventory(db, self._site_id, at_ms)

    def placements(self) -> tuple[Placement, ...]:
        """Where each channel ever was, by channel and time."""
        with self._snapshot() as db:
            return versions.read_placements(db, self._site_id)

    def devices(self) -> tuple[DeviceRow, ...]:
        with self._snapshot() as db:
            return facts.read_devices(db, self._site_id)

    def counters(self) -> dict[str, int]:
        with self._snapshot() as db:
            counters = facts.read_counters(db, self._site_id)
            counters.pop(facts.NEWEST, None)
            return counters

    def newest_ms(self) -> int:
        """Arrival time of the newest item; 0 before any."""
        with self._snapshot() as db:
            return facts.read_counters(db, self._site_id).get(facts.NEWEST, 0)

    def quarantine(self, limit: int = 100) -> tuple[Quarantined, ...]:
        """What could not be used, the newest first."""
        with self._snapshot() as db:
            return facts.read_quarantine(db, self._site_id, limit)

    def spool_histories(self, at_ms: int | None = None) -> dict[str, SpoolHistory]:
        """What was stated about each spool: all events, and the inventory's versions up to a time."""
        with self._snapshot() as db:
            until_ms = versions.END_OF_TIME_MS if at_ms is None else at_ms
            return spools.read_histories(db, self._site_id, until_ms)

    def checkpoints(self, at_ms: int) -> dict[str, Checkpoint]:
        """The newest computed state of each spool at or before a time."""
        with self._snapshot() as db:
            return spools.read_checkpoints(db, self._site_id, at_ms)

    def waters(self, at_ms: int) -> dict[str, Checkpoint]:
        """What each spool held, as of its newest state or move at or before a time; without content."""
        with self._snapshot() as db:
            return spools.read_waters(db, self._site_id, at_ms)

    def box_histories(self, at_ms: int | None = None) -> dict[str, BoxHistory]:
        """What was stated about each box: all events, and the inventory's versions up to a time."""
        with self._snapshot() as db:
            until_ms = versions.END_OF_TIME_MS if at_ms is None else at_ms
            return boxes.read_histories(db, self._site_id, until_ms)

    def box_checkpoints(self, at_ms: int) -> dict[str, BoxCheckpoint]:
        """The newest computed state of each box at or before a time."""
        with self._snapshot() as db:
            return boxes.read_checkpoints(db, self._site_id, at_ms)

    def box_course(self, box: str, from_ms: int, to_ms: int) -> tuple[BoxCheckpoint, ...]:
        """A box's computed states in a window, oldest first, without their content."""
        with self._snapshot() as db:
            return boxes.read_course(db, self._site_id, box, from_ms, to_ms)

    def noticed(self, from_ms: int, found_ms: int) -> tuple[Noticed, ...]:
        """What was noticed of boxes from a time on, as far as readings up to another time told it."""
        with self._snapshot() as db:
            return boxes.read_noticed(db, self._site_id, from_ms, found_ms)

    def spool_course(self, spool: str, from_ms: int, to_ms: int) -> tuple[Checkpoint, ...]:
        """A spool's computed states in a window, oldest first, without their content."""
        with self._snapshot() as db:
            return spools.read_course(db, self._site_id, spool, from_ms, to_ms)

    def oven_records(self, oven: str, limit: int = 100) -> tuple[OvenRecord, ...]:
        """The book of an oven, the newest first."""
        with self._snapshot() as db:
            return ovens.read_records(db, self._site_id, oven, limit)

    def oven_first_out(self, oven: str, trip: str) -> str | None:
        """What was recorded round a trip, as JSON."""
        with self._snapshot() as db:
            return ovens.read_first_out(db, self._site_id, oven, trip)

    def oven_trips(self, oven: str) -> tuple[str, ...]:
        """The trips of which a first-out record was kept."""
        with self._snapshot() as db:
            return ovens.read_trips(db, self._site_id, oven)

    def oven_facts(self) -> dict[tuple[str, FactKind], OvenFact]:
        """The newest statement of each kind about each oven."""
        with self._snapshot() as db:
            return ovens.read_facts(db, self._site_id)

    def oven_air(self, oven: str, from_ms: int, to_ms: int) -> tuple[OvenAir, ...]:
        """The chamber's air as its controller told it, oldest first."""
        with self._snapshot() as db:
            return cycles.read_air(db, self._site_id, oven, from_ms, to_ms)

    def oven_means(
        self, from_ms: int, to_ms: int, span_ms: int
    ) -> dict[tuple[str, int], tuple[float, float | None]]:
        """(oven, start of the span) to mean temperature [degC] and humidity [%RH] of its chamber."""
        with self._snapshot() as db:
            return cycles.read_means(db, self._site_id, from_ms, to_ms, span_ms)

    def oven_cycles(self, oven: str | None = None, limit: int = 100) -> tuple[CycleNote, ...]:
        """Cycles of an oven, or of all, the newest first."""
        with self._snapshot() as db:
            return cycles.read_cycles(db, self._site_id, oven, limit)

    def oven_cycle(self, oven: str, cycle: str) -> CycleNote | None:
        with self._snapshot() as db:
            return cycles.read_cycle(db, self._site_id, oven, cycle)

    def cycle_records(self, oven: str, cycle: str) -> tuple[OvenRecord, ...]:
        """What the oven's book says of a cycle, oldest first."""
        with self._snapshot() as db:
            return ovens.read_cycle_records(db, self._site_id, oven, cycle)

    def alarms(self) -> tuple[str, ...]:
        """What is kept of every alarm that shows anything but normal, as text."""
        with self._snapshot() as db:
            return alarms.read_not_normal(db, self._site_id)

    def alarm_log(
        self, from_ms: int, to_ms: int, limit: int = 100_000, key: str | None = None
    ) -> tuple[AlarmTransition, ...]:
        """Transitions of a window, of one alarm or of all, oldest first; of too many the newest."""
        with self._snapshot() as db:
            return alarms.read_log(db, self._site_id, from_ms, to_ms, limit, key)

    def alarm_figures(self) -> tuple[AlarmFigure, ...]:
        """Every number of the alarm table that was ever set, oldest first."""
        with self._snapshot() as db:
            return alarms.read_figures(db, self._site_id)

    def planned_starts(self) -> tuple[AnyStart, ...]:
        """Starts that wait for their time or for a person, the first first; unreadable ones among them."""
        with self._snapshot() as db:
            return planned.read_open(db, self._site_id)

    def planned_start(self, number: int) -> AnyStart | None:
        """One of them, whatever became of it."""
        with self._snapshot() as db:
            return planned.read_one(db, self._site_id, number)

    def oven_fact_history(self, oven: str, kind: FactKind, limit: int = 50) -> tuple[OvenFact, ...]:
        """What was stated of one kind about one oven, the newest first."""
        with self._snapshot() as db:
            return ovens.read_fact_history(db, self._site_id, oven, kind, limit)

    def oven_runs(self, oven: str) -> tuple[OvenRun, ...]:
        """The commissioning runs that are kept of an oven, the newest first."""
        with self._snapshot() as db:
            return oven_runs.read(db, self._site_id, oven)

    def sensor_events(self) -> dict[str, tuple[SensorEvent, ...]]:
        """All that was told and found of sensors, by channel, in the order in which it was entered."""
        with self._snapshot() as db:
            return sensors.read_events(db, self._site_id)

    def own_figures(self) -> tuple[OwnFigure, ...]:
        """Every figure that was ever set at this site, the newest last."""
        with self._snapshot() as db:
            return spools.read_figures(db, self._site_id)
