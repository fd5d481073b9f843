"""The writer: one connection, one thread, each batch whole or not at all."""

import sqlite3
from pathlib import Path

from monitor.errors import BadInputError, StoreError
from monitor.model.batch import Batch
from monitor.model.computed import Computed
from monitor.model.history import Applied, Progress, Retention, Stored
from monitor.store import (
    alarms,
    audit,
    boxes,
    calendar,
    facts,
    ingest,
    outbox,
    ovens,
    people,
    planned,
    retention,
    rolling,
    sensors,
    spools,
    versions,
)
from monitor.store.connection import BUSY_TIMEOUT_S, open_writer, transaction, translated
from monitor.store.migrate import migrate
from monitor.store.series_book import SeriesBook

PROVISIONAL_SITE = "home"
QUARANTINE_ROWS = 10_000
OUTBOX_DAYS = 90  # how long it is known what was sent


class Store:
    """The database of one site, for the one thread that writes.

    Every batch is one transaction with synchronous = FULL: after a power cut or `kill -9` the database
    holds every batch whose `apply` returned, and of a later one either all or nothing. So what is lost
    is at most what was not acknowledged.
    """

    def __init__(
        self,
        path: Path,
        site: str | None = None,
        *,
        keep: Retention | None = None,
        busy_timeout_s: float = BUSY_TIMEOUT_S,
        quarantine_rows: int = QUARANTINE_ROWS,
    ) -> None:
        self._keep = keep or Retention()
        self._quarantine_rows = quarantine_rows
        self._db = open_writer(path, busy_timeout_s)
        try:
            migrate(self._db, path)
            with transaction(self._db):
                self._site_id, self._site, self._is_named = _enter_site(self._db, site)
            with translated(path):
                self._book = SeriesBook(self._db, self._site_id)
        except BaseException:
            self._db.close()
            raise

    @property
    def site(self) -> str:
        return self._site

    def adopt_site(self, key: str) -> None:
        """Give a provisional site its name; the name it has already is fine too."""
        if self._is_named and key != self._site:
            raise BadInputError(
                f"this database belongs to site {self._site!r}, not {key!r}: use another database"
            )
        with transaction(self._db):
            if facts.site_id(self._db, key) not in (None, self._site_id):
                raise BadInputError(f"this database has a site {key!r} already: start with that site instead")
            self._db.execute("UPDATE site SET key = ?, named = 1 WHERE site_id = ?", (key, self._site_id))
        self._site, self._is_named = key, True

    def load(self) -> Stored:
        """What the service knew when it last committed."""
        with translated():
            return facts.read_stored(self._db, self._site_id)

    def apply(self, batch: Batch) -> Applied:
        """Commit the batch; again is the same as once.

        StoreBusyError: another program held the database for longer than the busy time-out.
        StoreError: the disk or the database failed. Nothing of the batch is written then.
        """
        try:
            with transaction(self._db):
                return self._applied(batch)
        except BaseException:
            with translated():
                self._book.reload()
            raise

    def roll_up(self, now_ms: int) -> Progress:
        """Bring the roll-ups of finished spans up to date, as much as one bounded piece of work does."""
        with transaction(self._db):
            return rolling.roll_up(self._db, now_ms)

    def prune(self, now_ms: int) -> Progress:
        """Delete what is older than the retention says, as much as one bounded piece of work does."""
        with transaction(self._db):
            outbox.prune(self._db, now_ms - OUTBOX_DAYS * 86_400_000)
            return retention.prune(self._db, now_ms, self._keep)

    def keep(self, computed: Computed) -> None:
        """Write computed states, so that the next start need not compute them again."""
        with transaction(self._db):
            spools.write_checkpoints(self._db, self._site_id, computed.spools)
            boxes.write_states(self._db, self._site_id, computed.boxes, computed.noticed)

    def check(self) -> None:
        """Is the file whole? StoreError with what to do if not. Quick: about 0.1 s a million readings."""
        with translated():
            found = [row[0] for row in self._db.execute("PRAGMA quick_check(1)").fetchall()]
        if found != ["ok"]:
            raise StoreError(
                f"the database is damaged ({found[0]}): stop the service and bring a backup back with"
                " `sorbwatch restore FILE`"
            )

    def close(self) -> None:
        with translated():
            self._db.close()

    def _applied(self, batch: Batch) -> Applied:
        db, site_id = self._db, self._site_id
        audit.write(db, site_id, batch)
        if batch.inventory is not None:
            versions.write_inventory(db, site_id, batch.inventory)
        facts.write_boots(db, site_id, batch)
        self._book.set_dues(batch.due_s)
        out = ingest.sort_readings(batch.readings, self._book, retention.accept_from_ms(db))
        self._book.set_dues(batch.due_s)  # again for the series that these readings were the first of
        applied = ingest.write_readings(db, out, batch.newest_ms)
        if applied.stored:
            oldest_ms = min(row[0] for row in out.rows)
            spools.forget_after(db, site_id, oldest_ms)
            boxes.forget_after(db, site_id, oldest_ms)
        air_ms = sensors.write(db, site_id, batch)
        if air_ms is not None:  # what was read since then is seen otherwise
            spools.forget_after(db, site_id, air_ms)
            boxes.forget_after(db, site_id, air_ms)
        changed_ms = spools.write(db, site_id, batch)
        if changed_ms is not None:  # a wetter spool, or another one, is another box
            boxes.forget_after(db, site_id, changed_ms)
        boxes.write(db, site_id, batch)
        people.write(db, site_id, batch)
        ovens.write(db, site_id, batch.ovens)
        calendar.write(db, site_id, batch.calendar)
        if (
            batch.ovens.air
        ):  # of now as a rule; after a step of the clock back, of what was gone through already
            spools.forget_after(db, site_id, min(60_000 * air.minute for air in batch.ovens.air))
        alarms.write(db, site_id, batch.alarms)
        planned.write(db, site_id, batch.planned.values())
        outbox.write(db, site_id, batch.outbox)
        facts.write_devices(db, site_id, batch.devices.values())
        facts.write_counters(db, site_id, batch)
        for counter, count, note in ingest.notes(out, self._book, batch.newest_ms):
            if facts.write_quarantined(db, site_id, [note]):
                facts.count(db, site_id, counter, count)
        facts.write_quarantined(db, site_id, batch.quarantined)
        facts.trim_quarantine(db, self._quarantine_rows)
        return applied


def _enter_site(db: sqlite3.Connection, key: str | None) -> tuple[int, str, bool]:
    """The site's id, key and whether it is named; makes or names it where that is needed."""
    sites = db.execute("SELECT site_id, key, named FROM site").fetchall()
    if key is None:
        if len(sites) > 1:
            keys = ", ".join(sorted(row[1] for row in sites))
            raise BadInputError(f"this database holds several sites ({keys}): name one in the settings")
        if sites:
            return sites[0][0], sites[0][1], bool(sites[0][2])
        return _new_site(db, PROVISIONAL_SITE, named=False)
    provisional = next((row for row in sites if not row[2]), None)
    mine = next((row for row in sites if row[1] == key), provisional)
    if mine is None:
        return _new_site(db, key, named=True)
    db.execute("UPDATE site SET key = ?, named = 1 WHERE site_id = ?", (key, mine[0]))
    return mine[0], key, True


def _new_site(db: sqlite3.Connection, key: str, *, named: bool) -> tuple[int, str, bool]:
    cursor = db.execute("INSERT INTO site (key, named) VALUES (?, ?)", (key, int(named)))
    assert cursor.lastrowid is not None  # an INSERT that did not fail has one
    return cursor.lastrowid, key, named
