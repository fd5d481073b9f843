"""Copies: made while the service runs, and brought back while it does not."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from monitor.errors import BadInputError, RefusedError, StoreError
from monitor.store.connection import open_reader, translated
from monitor.store.files import ServiceLock
from monitor.store.migrate import require_known

_SIDE_FILES = ("-wal", "-shm")


def backup(database: Path, target: Path) -> None:
    """A whole and checked copy at `target`, in one file. The writer is not held up."""
    if target.exists() and target.samefile(database):
        raise BadInputError(f"{target} is the database itself: name another file for the backup")
    part = _part(target)
    try:
        _copy(database, part)
        _settle(part, target)
    finally:
        part.unlink(missing_ok=True)


def restore(database: Path, copy: Path) -> Path | None:
    """Put a checked copy in place of the database; returns where the replaced one is kept, if any.

    Nobody stays signed in by it: whoever was removed or signed out since would be back otherwise.
    """
    if not copy.is_file():
        raise BadInputError(f"there is no backup at {copy}")
    with ServiceLock(database):
        part = _part(database)
        try:
            _copy(copy, part)
            _forget_devices(part)
            kept = _set_aside(database)
            _settle(part, database)
        finally:
            part.unlink(missing_ok=True)
    return kept


def people_in(database: Path) -> tuple[str, ...]:
    """Who may sign in there, as "name: role", by name; for whoever brings back an old copy."""
    with translated(database), closing(open_reader(database)) as db:
        if not _has_table(db, "person"):
            return ()
        rows = db.execute("SELECT name, role FROM person ORDER BY key").fetchall()
    return tuple(f"{name}: {role}" for name, role in rows)


def _forget_devices(part: Path) -> None:
    """Sessions and one-time codes of then are worth nothing now."""
    with translated(part), closing(sqlite3.connect(part, isolation_level=None)) as db:
        for table in ("session", "one_time_code"):
            if _has_table(db, table):  # an older copy knows no people
                db.execute(f"DELETE FROM {table}")


def _has_table(db: sqlite3.Connection, name: str) -> bool:
    found = db.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (name,)).fetchone()
    return found is not None


def _copy(source: Path, part: Path) -> None:
    """All pages at once, so that a writer cannot make it start over; then the copy is what is checked."""
    part.unlink(missing_ok=True)
    with (
        translated(source),
        closing(open_reader(source)) as from_db,
        closing(sqlite3.connect(part, isolation_level=None)) as to_db,
    ):
        require_known(from_db, source)
        from_db.backup(to_db)
        to_db.execute("PRAGMA journal_mode = DELETE").fetchall()  # one file, without a log beside it
        found = [row[0] for row in to_db.execute("PRAGMA integrity_check(1)").fetchall()]
    if found != ["ok"]:
        raise StoreError(f"{source} is damaged ({found[0]}): no copy was made; take an earlier backup")


def _set_aside(database: Path) -> Path | None:
    """The replaced database with its log, under a name that is free."""
    if not database.exists():
        for side in _SIDE_FILES:
            Path(f"{database}{side}").unlink(missing_ok=True)  # a log without its database is of no use
        return None
    number = 1
    while (kept := database.with_name(f"{database.name}.replaced-{number}")).exists():
        number += 1
    for side in ("", *_SIDE_FILES):
        source = Path(f"{database}{side}")
        if source.exists():
            source.rename(f"{kept}{side}")
    return kept


def _settle(part: Path, target: Path) -> None:
    """On the disk first, then under its name."""
    _flush(part)
    part.replace(target)
    _flush(target.parent)


def _flush(path: Path) -> None:
    file = os.open(path, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def _part(target: Path) -> Path:
    if not target.absolute().parent.is_dir():
        raise RefusedError(f"There is no folder {target.absolute().parent}: make it first.")
    return target.with_name(f"{target.name}.part")
