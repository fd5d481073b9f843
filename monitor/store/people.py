"""People, their sessions and codes, and the log of what they did, as rows."""

import sqlite3
from collections.abc import Callable, Sequence
from typing import Any

from monitor.model.batch import Batch
from monitor.model.people import (
    Act,
    Code,
    CodeMade,
    CodeUsed,
    FeedEnded,
    FeedMade,
    PasswordSet,
    Person,
    PersonAdded,
    PersonRemoved,
    Role,
    RoleSet,
    Session,
    SessionBegun,
    SessionEnded,
    SessionSeen,
    fold,
)
from monitor.store import outbox
from monitor.store.connections import Connections

SESSIONS_EACH = 20  # of one person; the one unused for longest makes room

# A batch that failed would be tried again for ever, so none of these can: where the person is gone meanwhile
# it does nothing, and a second time it does nothing more.
_ADD = "INSERT OR IGNORE INTO person (site_id, key, name, role, added_ms) VALUES (?, ?, ?, ?, ?)"
_BEGIN = """
INSERT OR IGNORE INTO session (person_id, digest, device, since_ms, seen_ms)
SELECT person_id, ?, ?, ?, ? FROM person WHERE site_id = ? AND key = ?
"""
_MAKE_ROOM = """
DELETE FROM session WHERE session_id IN (
    SELECT session_id FROM session JOIN person USING (person_id) WHERE site_id = ? AND key = ?
    ORDER BY seen_ms DESC, session_id DESC LIMIT -1 OFFSET ?
)
"""
_MINE = "person_id IN (SELECT person_id FROM person WHERE site_id = ?)"
_NOTE = """
INSERT INTO act (site_id, at_ms, person, what, on_what, detail) SELECT ?1, ?2, ?3, ?4, ?5, ?6
WHERE NOT EXISTS (
    SELECT 1 FROM act WHERE site_id = ?1 AND at_ms = ?2 AND person = ?3 AND what = ?4 AND on_what = ?5
        AND detail = ?6
)
"""
_PERSON = "person_id, name, role, added_ms, password IS NOT NULL"
_SESSIONS = f"""
SELECT session_id, device, since_ms, seen_ms, {_PERSON} FROM session JOIN person USING (person_id)
WHERE site_id = ?
"""


def write(db: sqlite3.Connection, site: int, batch: Batch) -> None:
    """What became of people, then what was done, in one transaction with all else."""
    for change in batch.people:
        _WRITERS[type(change)](db, site, change)
    db.executemany(
        _NOTE,
        [(site, act.at_ms, act.person, act.what, act.on_what, act.detail) for act in batch.acts],
    )


class PeopleReader(Connections):
    """Questions about people, for any number of threads."""

    def people(self) -> tuple[Person, ...]:
        """Everybody, by name."""
        with self._snapshot() as db:
            rows = db.execute(
                f"SELECT {_PERSON} FROM person WHERE site_id = ? ORDER BY key", (self._site_id,)
            ).fetchall()
        return tuple(_person(row) for row in rows)

    def password(self, key: str) -> str | None:
        """The scrypt text of a person's password."""
        with self._snapshot() as db:
            row = db.execute(
                "SELECT password FROM person WHERE site_id = ? AND key = ?", (self._site_id, key)
            ).fetchone()
        return None if row is None else row[0]

    def code(self, digest: bytes) -> Code | None:
        """The one-time code with this digest, too old or not."""
        with self._snapshot() as db:
            row = db.execute(
                "SELECT person_key, until_ms FROM one_time_code WHERE site_id = ? AND digest = ?",
                (self._site_id, digest),
            ).fetchone()
        return None if row is None else Code(person_key=row[0], until_ms=row[1])

    def session(self, digest: bytes) -> Session | None:
        """The session whose token has this digest, too old or not."""
        with self._snapshot() as db:
            row = db.execute(_SESSIONS + " AND digest = ?", (self._site_id, digest)).fetchone()
        return None if row is None else _session(row)

    def sessions(self) -> tuple[Session, ...]:
        """Everybody's, the last used first."""
        with self._snapshot() as db:
            rows = db.execute(_SESSIONS + " ORDER BY seen_ms DESC, session_id", (self._site_id,)).fetchall()
        return tuple(_session(row) for row in rows)

    def acts(self, limit: int = 100) -> tuple[Act, ...]:
        """What people did, the newest first."""
        with self._snapshot() as db:
            rows = db.execute(
                "SELECT at_ms, person, what, on_what, detail FROM act WHERE site_id = ?"
                " ORDER BY act_id DESC LIMIT ?",
                (self._site_id, limit),
            ).fetchall()
        return tuple(
            Act(at_ms=at_ms, person=person, what=what, on_what=on_what, detail=detail)
            for at_ms, person, what, on_what, detail in rows
        )

    def acts_about(self, on_what: str, from_ms: int, to_ms: int) -> tuple[Act, ...]:
        """What was done to one thing in a time, oldest first; a thousand at most."""
        with self._snapshot() as db:
            rows = db.execute(
                "SELECT at_ms, person, what, on_what, detail FROM act WHERE site_id = ?"
                " AND at_ms >= ? AND at_ms < ? AND on_what = ? ORDER BY at_ms, act_id LIMIT 1000",
                (self._site_id, from_ms, to_ms, on_what),
            ).fetchall()
        return tuple(
            Act(at_ms=at_ms, person=person, what=what, on_what=about, detail=detail)
            for at_ms, person, what, about, detail in rows
        )


def _person(row: Sequence[Any]) -> Person:
    number, name, role, added_ms, has_password = row
    return Person(
        number=number, name=name, role=Role(role), added_ms=added_ms, has_password=bool(has_password)
    )


def _session(row: Sequence[Any]) -> Session:
    number, device, since_ms, seen_ms, *person = row
    return Session(number=number, person=_person(person), device=device, since_ms=since_ms, seen_ms=seen_ms)


def _added(db: sqlite3.Connection, site: int, change: PersonAdded) -> None:
    db.execute(_ADD, (site, fold(change.name), change.name, change.role, change.at_ms))


def _password_set(db: sqlite3.Connection, site: int, change: PasswordSet) -> None:
    db.execute(
        "UPDATE person SET password = ? WHERE site_id = ? AND key = ?", (change.password, site, change.key)
    )


def _role_set(db: sqlite3.Connection, site: int, change: RoleSet) -> None:
    db.execute("UPDATE person SET role = ? WHERE site_id = ? AND key = ?", (change.role, site, change.key))


def _removed(db: sqlite3.Connection, site: int, change: PersonRemoved) -> None:
    db.execute("DELETE FROM one_time_code WHERE site_id = ? AND person_key = ?", (site, change.key))
    db.execute("DELETE FROM calendar_feed WHERE site_id = ? AND person_key = ?", (site, change.key))
    db.execute("DELETE FROM person WHERE site_id = ? AND key = ?", (site, change.key))
    outbox.forget(db, site, change.key)


def _code_made(db: sqlite3.Connection, site: int, change: CodeMade) -> None:
    db.execute(
        "INSERT OR REPLACE INTO one_time_code VALUES (?, ?, ?, ?)",
        (site, change.key, change.digest, change.until_ms),
    )


def _code_used(db: sqlite3.Connection, site: int, change: CodeUsed) -> None:
    db.execute("DELETE FROM one_time_code WHERE site_id = ? AND person_key = ?", (site, change.key))


def _begun(db: sqlite3.Connection, site: int, change: SessionBegun) -> None:
    at_ms = change.at_ms
    db.execute(_BEGIN, (change.digest, change.device, at_ms, at_ms, site, change.key))
    db.execute(_MAKE_ROOM, (site, change.key, SESSIONS_EACH))


def _seen(db: sqlite3.Connection, site: int, change: SessionSeen) -> None:
    db.execute(
        f"UPDATE session SET seen_ms = max(seen_ms, ?) WHERE session_id = ? AND {_MINE}",
        (change.at_ms, change.number, site),
    )


def _ended(db: sqlite3.Connection, site: int, change: SessionEnded) -> None:
    db.execute(f"DELETE FROM session WHERE session_id = ? AND {_MINE}", (change.number, site))


def _feed_made(db: sqlite3.Connection, site: int, change: FeedMade) -> None:
    db.execute(
        "INSERT OR IGNORE INTO calendar_feed (site_id, person_key, digest, made_ms) VALUES (?, ?, ?, ?)",
        (site, change.key, change.digest, change.at_ms),
    )


def _feed_ended(db: sqlite3.Connection, site: int, change: FeedEnded) -> None:
    db.execute(
        "DELETE FROM calendar_feed WHERE site_id = ? AND feed_id = ? AND person_key = ?",
        (site, change.number, change.key),
    )


_WRITERS: dict[type, Callable[[sqlite3.Connection, int, Any], None]] = {
    PersonAdded: _added,
    PasswordSet: _password_set,
    RoleSet: _role_set,
    PersonRemoved: _removed,
    CodeMade: _code_made,
    CodeUsed: _code_used,
    SessionBegun: _begun,
    SessionSeen: _seen,
    SessionEnded: _ended,
    FeedMade: _feed_made,
    FeedEnded: _feed_ended,
}
