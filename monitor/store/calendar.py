"""Appointments that were given out, and the addresses by which they are read, as rows."""

import sqlite3
from collections.abc import Iterable

from monitor.model.calendar import CalendarEntry, EntryKind, Feed, KeptEntry
from monitor.store.connections import Connections

_KEPT_MS = 30 * 86_400_000  # after its time: calendar programs have read by then that it is over
_COLUMNS = "uid, kind, begins_ms, ends_ms, is_day, summary, description, sequence, changed_ms, is_cancelled"


def write(db: sqlite3.Connection, site: int, kept: Iterable[KeptEntry]) -> None:
    """As they were given out; those long over go."""
    newest_ms = 0
    for item in kept:
        entry = item.entry
        db.execute(
            "INSERT OR REPLACE INTO calendar_entry VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                site,
                entry.uid,
                str(entry.kind),
                round(entry.begins_s * 1000),
                round(entry.ends_s * 1000),
                int(entry.is_day),
                entry.summary,
                entry.description,
                item.sequence,
                item.changed_ms,
                int(item.is_cancelled),
            ),
        )
        newest_ms = max(newest_ms, item.changed_ms)
    if newest_ms:
        db.execute(
            "DELETE FROM calendar_entry WHERE site_id = ? AND ends_ms < ?", (site, newest_ms - _KEPT_MS)
        )


class CalendarReader(Connections):
    """Questions about the calendar, for any number of threads."""

    def calendar(self) -> dict[str, KeptEntry]:
        """As it was given out last, by uid."""
        with self._snapshot() as db:
            rows = db.execute(
                f"SELECT {_COLUMNS} FROM calendar_entry WHERE site_id = ? ORDER BY begins_ms, uid",
                (self._site_id,),
            ).fetchall()
        return {
            uid: KeptEntry(
                entry=CalendarEntry(
                    uid=uid,
                    kind=EntryKind(kind),
                    begins_s=begins_ms / 1000.0,
                    ends_s=ends_ms / 1000.0,
                    is_day=bool(is_day),
                    summary=summary,
                    description=description,
                ),
                sequence=sequence,
                changed_ms=changed_ms,
                is_cancelled=bool(is_cancelled),
            )
            for (
                uid,
                kind,
                begins_ms,
                ends_ms,
                is_day,
                summary,
                description,
                sequence,
                changed_ms,
                is_cancelled,
            ) in rows
        }

    def feed(self, digest: bytes) -> Feed | None:
        """The address whose secret has this digest."""
        with self._snapshot() as db:
            row = db.execute(
                "SELECT feed_id, person_key, made_ms FROM calendar_feed WHERE site_id = ? AND digest = ?",
                (self._site_id, digest),
            ).fetchone()
        return None if row is None else Feed(number=row[0], person_key=row[1], made_ms=row[2])

    def feeds(self, person_key: str) -> tuple[Feed, ...]:
        """All addresses of a person, the newest first."""
        with self._snapshot() as db:
            rows = db.execute(
                "SELECT feed_id, person_key, made_ms FROM calendar_feed WHERE site_id = ? AND person_key = ?"
                " ORDER BY feed_id DESC",
                (self._site_id, person_key),
            ).fetchall()
        return tuple(Feed(number=row[0], person_key=row[1], made_ms=row[2]) for row in rows)
