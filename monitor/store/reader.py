"""Everything a page or a command can ask of the database, read-only."""

from monitor.model.batch import DeviceRow, Quarantined
from monitor.model.history import Placement, Site
from monitor.model.inventory import Inventory
from monitor.store import facts, versions
from monitor.store.series_reader import SeriesReader


class Reader(SeriesReader):
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
