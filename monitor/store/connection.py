"""How the database is opened, and how its faults become ours."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.errors import StoreBusyError, StoreError

BUSY_TIMEOUT_S = 5.0
_BUSY_CODES = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGE_CODES = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_PRIMARY_CODE = 0xFF  # the rest of a result code is detail


def open_writer(path: Path, busy_timeout_s: float = BUSY_TIMEOUT_S) -> sqlite3.Connection:
    """The one connection that writes. It may be handed to the worker's thread, never shared by two."""
    with translated(path):
        db = sqlite3.connect(path, timeout=busy_timeout_s, isolation_level=None, check_same_thread=False)
        try:
            db.execute("PRAGMA synchronous = FULL")  # an acknowledged reading survives a power cut
            db.execute("PRAGMA wal_autocheckpoint = 1000")
            db.execute("PRAGMA foreign_keys = ON")
        except BaseException:
            db.close()
            raise
    return db


def open_reader(path: Path, busy_timeout_s: float = BUSY_TIMEOUT_S) -> sqlite3.Connection:
    """A connection that cannot write; for one thread (another may only close it)."""
    if not path.exists():
        raise StoreError(f"There is no database at {path}: start the service or load an inventory first.")
    with translated(path):
        uri = path.absolute().as_uri() + "?mode=ro"
        return sqlite3.connect(
            uri, uri=True, timeout=busy_timeout_s, isolation_level=None, check_same_thread=False
        )


@contextmanager
def translated(path: Path | None = None) -> Iterator[None]:
    """Errors of SQLite leave as StoreBusyError or StoreError."""
    try:
        yield
    except sqlite3.Error as error:
        raise _ours(error, path) from error


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All or nothing. IMMEDIATE, because a deferred one that turns writer ignores the busy time-out."""
    with translated():
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


def _ours(error: sqlite3.Error, path: Path | None) -> StoreError:
    code = getattr(error, "sqlite_errorcode", 0) & _PRIMARY_CODE
    where = "the database" if path is None else str(path)
    if code in _BUSY_CODES:
        return StoreBusyError(f"{where} is held by another program; try again, nothing is lost")
    if code in _DAMAGE_CODES:
        return StoreError(
            f"{where} is damaged or not a database ({error}): stop the service and bring a backup back with"
            " `sorbwatch restore FILE`; the damaged file is kept beside it"
        )
    return StoreError(f"{where} failed: {error}")
