"""Read-only connections, one a thread, each question answered from one snapshot."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.errors import BadInputError
from monitor.store.connection import BUSY_TIMEOUT_S, open_reader, translated
from monitor.store.migrate import require_current


class Connections:
    """Whoever reads takes a snapshot, fetches all, and lets go: a half-read cursor would pin the log."""

    def __init__(self, path: Path, site: str | None = None, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
        self._path = path
        self._busy_timeout_s = busy_timeout_s
        self._mine = threading.local()
        self._all: list[sqlite3.Connection] = []
        self._lock = threading.Lock()
        self._site_id = -1
        try:
            with self._snapshot() as db:
                self._site_id = _site_id(db, site)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Also those of threads that have ended; no thread may be reading."""
        with self._lock, translated(self._path):
            while self._all:
                self._all.pop().close()
            self._mine = threading.local()

    @contextmanager
    def _snapshot(self) -> Iterator[sqlite3.Connection]:
        db = self._connection()
        with translated(self._path):
            db.execute("BEGIN")
            try:
                yield db
            finally:
                if db.in_transaction:
                    db.execute("COMMIT")

    def _connection(self) -> sqlite3.Connection:
        db: sqlite3.Connection | None = getattr(self._mine, "db", None)
        if db is None:
            db = open_reader(self._path, self._busy_timeout_s)
            with self._lock:
                self._all.append(db)
            require_current(db, self._path)
            self._mine.db = db
        return db


def _site_id(db: sqlite3.Connection, key: str | None) -> int:
    """By its present key, or the only one; the id stays when a provisional site gets its name."""
    sites = dict(db.execute("SELECT key, site_id FROM site").fetchall())
    if key is None and len(sites) == 1:
        return int(next(iter(sites.values())))
    if key not in sites:
        keys = ", ".join(sorted(sites)) or "none yet"
        wanted = "several or no sites" if key is None else f"no site {key!r}"
        raise BadInputError(f"this database holds {wanted} ({keys}): name one of them in the settings")
    return int(sites[key])
