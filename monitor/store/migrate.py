"""Numbered SQL files, forward only, each in one transaction with its own record."""

import re
import sqlite3
from pathlib import Path

from monitor.errors import StoreError
from monitor.store.connection import translated

SCHEMA_FOLDER = Path(__file__).parent / "schema"
APPLICATION_ID = 1397707330  # as set by the first file
_FILE_NAME = re.compile(r"(\d{4})_[a-z0-9_]+\.sql")
_RECORD = """
CREATE TABLE IF NOT EXISTS migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;
INSERT INTO migration VALUES ({number}, '{name}');
PRAGMA user_version = {number};
"""


def migrate(db: sqlite3.Connection, path: Path, folder: Path = SCHEMA_FOLDER) -> None:
    """Bring the database up to the newest file; refuses what is not ours and what is newer than we are."""
    files = migrations(folder)
    version = _version(db, path, len(files))
    with translated(path):
        db.execute("PRAGMA journal_mode = WAL").fetchall()  # stays in the file, so only once it is ours
        for number, file in list(files.items())[version:]:
            _run(db, number, file)


def require_current(db: sqlite3.Connection, path: Path, folder: Path = SCHEMA_FOLDER) -> None:
    """For those who only read: they cannot bring a database up to date."""
    newest = len(migrations(folder))
    if _version(db, path, newest) < newest:
        raise StoreError(
            f"{path} was written by an earlier version: start the service once to bring it up to date."
        )


def require_known(db: sqlite3.Connection, path: Path, folder: Path = SCHEMA_FOLDER) -> None:
    """For copies: any version up to ours, but nobody else's."""
    if _version(db, path, len(migrations(folder))) == 0:
        raise StoreError(f"{path} is empty: there is nothing to copy.")


def migrations(folder: Path = SCHEMA_FOLDER) -> dict[int, Path]:
    """The files by number, which count up from 1 without a gap."""
    files = {}
    for number, file in enumerate(sorted(folder.glob("*.sql")), start=1):
        match = _FILE_NAME.fullmatch(file.name)
        if match is None or int(match[1]) != number:
            raise StoreError(
                f"{file.name} is not migration {number:04d}: this program is not installed whole."
            )
        files[number] = file
    return files


def _version(db: sqlite3.Connection, path: Path, newest: int) -> int:
    with translated(path):
        version, application_id, tables = db.execute(
            "SELECT (SELECT user_version FROM pragma_user_version),"
            " (SELECT application_id FROM pragma_application_id), (SELECT count(*) FROM sqlite_schema)"
        ).fetchone()
    if application_id != APPLICATION_ID and (tables or version or application_id):
        raise StoreError(f"{path} is the database of another program: name another file with --database.")
    if version > newest:
        raise StoreError(
            f"{path} was written by a later version (schema {version}, this one knows {newest}):"
            " upgrade sorbwatch."
        )
    return int(version)


def _run(db: sqlite3.Connection, number: int, file: Path) -> None:
    """Two who start at once: the second waits at BEGIN and then must not run it again."""
    db.execute("BEGIN IMMEDIATE")
    try:
        if db.execute("PRAGMA user_version").fetchone()[0] < number:
            for statement in _statements(file.read_text() + _RECORD.format(number=number, name=file.name)):
                db.execute(statement)
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    """One by one, because `executescript` would commit the transaction first."""
    statements, pending = [], ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            statements.append(pending)
            pending = ""
    return statements
