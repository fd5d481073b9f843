"""Copies: made while the service runs, and brought back while it does not."""

import hashlib
import logging
import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path

from monitor.errors import BadInputError, MonitorError, RefusedError, StoreError
from monitor.model.audit import AuditEntry, AuditKind
from monitor.model.people import CONSOLE
from monitor.store import audit
from monitor.store.connection import open_reader, transaction, translated
from monitor.store.files import ServiceLock
from monitor.store.migrate import require_known

log = logging.getLogger(__name__)

_SIDE_FILES = ("-wal", "-shm")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_DIGEST_FILE_BYTES = 4_096


def backup(database: Path, target: Path) -> None:
    """A whole and checked copy at `target`, in one file, and its SHA-256 in another beside it.

    The writer is not held up. A database whose log does not hold is copied all the same: it may be the only
    one there is, and the copy tells of it when it is checked.
    """
    if target.exists() and target.samefile(database):
        raise BadInputError(f"{target} is the database itself: name another file for the backup")
    part = _part(target)
    digest_file = digest_path(target)
    try:
        _copy(database, part)
        said = f"{_sha256(part)}  {target.name}\n"
        digest_file.unlink(
            missing_ok=True
        )  # a copy without a digest is still one; with a wrong one it is not
        _settle(part, target)
        part.write_text(said)
        _settle(part, digest_file)
    finally:
        part.unlink(missing_ok=True)


def restore(database: Path, copy: Path, now_ms: int | None = None) -> Path | None:
    """Put a checked copy in place of the database; returns where the replaced one is kept, if any.

    A copy that is damaged, or whose log does not hold, is refused and nothing is changed; the program's log
    says who tried. Nobody stays signed in by it: whoever was removed or signed out since would be back
    otherwise. `now_ms`: a line in the restored log tells of it, with this time.
    """
    if not copy.is_file():
        raise BadInputError(f"there is no backup at {copy}")
    with ServiceLock(database):
        part = _part(database)
        try:
            _check_digest(copy)
            _copy(copy, part)
            _check_log(part, copy)
            _forget_devices(part)
            if now_ms is not None:
                _tell(part, copy, now_ms)
            kept = _set_aside(database)
            _settle(part, database)
        except MonitorError as error:
            log.warning("restore refused file=%s who=%s why=%s", copy, CONSOLE, error)
            raise
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


def inspect(copy: Path) -> str:
    """Is a copy whole, and does its log hold? One sentence; StoreError says what is wrong."""
    if not copy.is_file():
        raise BadInputError(f"there is no backup at {copy}")
    has_digest = _check_digest(copy)
    with translated(copy), closing(open_reader(copy)) as db:
        require_known(db, copy)
        found = [row[0] for row in db.execute("PRAGMA integrity_check(1)").fetchall()]
    if found != ["ok"]:
        raise StoreError(f"{copy} is damaged ({found[0]}): take an earlier backup")
    _check_log(copy, copy)
    return f"{copy} is whole and its log holds" + ("" if has_digest else "; it has no digest beside it")


def digest_path(copy: Path) -> Path:
    """Where the SHA-256 of a copy stands, as `sha256sum -c` reads it."""
    return copy.with_name(f"{copy.name}.sha256")


def _check_digest(copy: Path) -> bool:
    """Whether there was one to check by; StoreError where the copy is not the file that was written."""
    path = digest_path(copy)
    if not path.is_file():
        return False
    with path.open("rb") as file:
        said = file.read(_DIGEST_FILE_BYTES).decode("ascii", "replace").split()
    if not said or not _DIGEST.fullmatch(said[0]):
        raise StoreError(f"{path} holds no SHA-256: without that file the copy is checked by itself alone")
    if _sha256(copy) != said[0]:
        raise StoreError(f"{copy} is not as it was written (its SHA-256 is another): take an earlier backup")
    return True


def _check_log(path: Path, copy: Path) -> None:
    with translated(copy), closing(open_reader(path)) as db:
        trouble = audit.file_fault(db)
    if trouble:
        raise StoreError(f"{copy} cannot be trusted: {trouble}; take an earlier backup")


def _tell(part: Path, copy: Path, now_ms: int) -> None:
    """In each site's log, where there is one yet: from here on it goes on from this copy."""
    entry = AuditEntry(
        at_ms=now_ms,
        who=CONSOLE,
        kind=AuditKind.ACT,
        about="",
        what="restored a backup",
        detail={"file": copy.name},
    )
    with translated(copy), closing(sqlite3.connect(part, isolation_level=None)) as db, transaction(db):
        if audit.is_kept(db):
            for (site,) in db.execute("SELECT site_id FROM site ORDER BY site_id").fetchall():
                audit.append(db, site, [entry])


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
