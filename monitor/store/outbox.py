"""The outbox, channels and wishes as rows: each change holds only where the row still stands as it must."""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from monitor.model.delivery import (
    Added,
    Cancelled,
    Channel,
    ChannelRemoved,
    ChannelSet,
    Hastened,
    Heard,
    OutboxChange,
    Outcome,
    OutRow,
    Recipients,
    Settled,
    Taken,
    Wishes,
    WishesSet,
)
from monitor.model.message import MessageKind, Priority
from monitor.store.connections import Connections

_COLUMNS = (
    "key, person, channel_id, kind, subject, occurrence, priority, made_ms, not_before_ms, expires_ms, title,"
    " text, rung, state, tries, is_unsure, settled_ms, trouble, heard_ms"
)
_ADD = f"INSERT OR IGNORE INTO outbox (site_id, {_COLUMNS}) SELECT ?{', ?' * 19}"
_TOLD = """
 WHERE EXISTS (SELECT 1 FROM outbox WHERE site_id = ? AND person = ? AND channel_id = ? AND subject = ?
    AND occurrence = ? AND kind IN ('active', 'worse') AND (state IN ('sending', 'sent') OR is_unsure = 1))
"""


def write(db: sqlite3.Connection, site: int, changes: Iterable[OutboxChange]) -> None:
    """In their order; a second time they do nothing more."""
    for change in changes:
        _WRITERS[type(change)](db, site, change)


class OutboxReader(Connections):
    """Questions about messages and whom they go to, for any number of threads."""

    def recipients(self) -> Recipients:
        """Everybody's channels that there are, oldest first, and their wishes."""
        with self._snapshot() as db:
            channels = db.execute(
                "SELECT channel_id, person, name, shown, sealed, added_ms FROM channel"
                " WHERE site_id = ? AND removed_ms IS NULL ORDER BY channel_id",
                (self._site_id,),
            ).fetchall()
            wishes = db.execute(
                "SELECT person, least, wants_clears, quiet_from, quiet_to, a_day, muted, next_person"
                " FROM wish WHERE site_id = ? ORDER BY person",
                (self._site_id,),
            ).fetchall()
        return Recipients(
            wishes=tuple(_wishes(row) for row in wishes),
            channels=tuple(
                Channel(
                    number=number, person=person, name=name, shown=shown, sealed=sealed, added_ms=added_ms
                )
                for number, person, name, shown, sealed, added_ms in channels
            ),
        )

    def outbox_open(self, state: Outcome = Outcome.QUEUED, until_ms: int | None = None) -> tuple[OutRow, ...]:
        """What waits, or is being sent, and may be up to a time; and what was made after that time."""
        bound = 1 << 62 if until_ms is None else until_ms
        return self._outbox(
            "state = ? AND state IN ('queued', 'sending') AND (not_before_ms <= ? OR made_ms > ?)"
            " ORDER BY not_before_ms, key",
            (state, bound, bound),
        )

    def outbox_taken(self, name: str) -> tuple[OutRow, ...]:
        """What was taken under this name and is still being sent."""
        return self._outbox("state = 'sending' AND taken = ? ORDER BY key", (name,))

    def outbox_newest(self, limit: int, person: str | None = None) -> tuple[OutRow, ...]:
        """The newest rows, of one recipient or of all."""
        return self._outbox(
            "(? IS NULL OR person = ?) ORDER BY made_ms DESC, key LIMIT ?", (person, person, limit)
        )

    def outbox_heard_ms(self, person: str) -> int | None:
        """When this recipient last said that a test had come."""
        with self._snapshot() as db:
            row = db.execute(
                "SELECT max(heard_ms) FROM outbox WHERE site_id = ? AND person = ?", (self._site_id, person)
            ).fetchone()
        return None if row[0] is None else int(row[0])

    def outbox_left(self, from_ms: int) -> tuple[tuple[int, int], ...]:
        """Channel and time of each message that left, or may have, since then; safety and tests left out."""
        with self._snapshot() as db:
            rows = db.execute(
                "SELECT channel_id, max(settled_ms) FROM outbox WHERE site_id = ? AND settled_ms >= ?"
                " AND (state IN ('sending', 'sent') OR is_unsure = 1) AND priority <> 'safety'"
                " AND kind <> 'test' GROUP BY channel_id, taken",
                (self._site_id, from_ms),
            ).fetchall()
        return tuple((channel, at_ms) for channel, at_ms in rows)

    def _outbox(self, where: str, values: tuple[Any, ...]) -> tuple[OutRow, ...]:
        with self._snapshot() as db:
            rows = db.execute(
                f"SELECT {_COLUMNS} FROM outbox WHERE site_id = ? AND {where}", (self._site_id, *values)
            ).fetchall()
        return tuple(_row(row) for row in rows)


def prune(db: sqlite3.Connection, before_ms: int) -> None:
    """What was settled before a time goes; what waits never does, nor the last test that each has heard.

    The next test is owed from that one on: by then all others of its age are gone.
    """
    db.execute(
        "DELETE FROM outbox WHERE settled_ms < ? AND state IN ('sent', 'given up', 'cancelled')"
        " AND (heard_ms IS NULL OR heard_ms < (SELECT max(heard_ms) FROM outbox AS other"
        " WHERE other.site_id = outbox.site_id AND other.person = outbox.person))",
        (before_ms,),
    )


def forget(db: sqlite3.Connection, site: int, person: str) -> None:
    """Who has been sent away is told no more, and another of the same name later is not, either."""
    db.execute(
        "UPDATE channel SET removed_ms = added_ms, sealed = x'' WHERE site_id = ? AND person = ?"
        " AND removed_ms IS NULL",
        (site, person),
    )
    db.execute("DELETE FROM wish WHERE site_id = ? AND person = ?", (site, person))
    db.execute(
        "UPDATE outbox SET state = 'cancelled', settled_ms = made_ms, trouble = 'the person was removed'"
        " WHERE site_id = ? AND person = ? AND state = 'queued'",
        (site, person),
    )


def _added(db: sqlite3.Connection, site: int, change: Added) -> None:
    row = change.row
    values = (
        site, row.key, row.person, row.channel, row.kind, row.subject, row.occurrence, row.priority,
        row.made_ms, row.not_before_ms, row.expires_ms, row.title, row.text, row.rung, row.state,
        row.tries, int(row.is_unsure), row.settled_ms, row.trouble, row.heard_ms,
    )  # fmt: skip
    if change.only_if_told:
        told = (site, row.person, row.channel, row.subject, row.occurrence)
        db.execute(_ADD + _TOLD, (*values, *told))
    else:
        db.execute(_ADD, values)


def _cancelled(db: sqlite3.Connection, site: int, change: Cancelled) -> None:
    db.execute(
        "UPDATE outbox SET state = 'cancelled', settled_ms = ? WHERE site_id = ? AND subject = ?"
        " AND occurrence = ? AND state = 'queued' AND kind IN ('active', 'worse')",
        (change.at_ms, site, change.subject, change.occurrence),
    )


def _taken(db: sqlite3.Connection, site: int, change: Taken) -> None:
    db.executemany(
        "UPDATE outbox SET state = 'sending', tries = min(tries + 1, 100), taken = ?, settled_ms = ?"
        " WHERE site_id = ? AND key = ? AND state = 'queued' AND taken <> ?",
        [(change.name, change.at_ms, site, key, change.name) for key in change.keys],
    )


def _settled(db: sqlite3.Connection, site: int, change: Settled) -> None:
    which, name = ("key = ? AND state IN ('queued', 'sending')", change.key)
    if change.name:
        which, name = "taken = ? AND state = 'sending'", change.name
        if change.key:
            which += " AND key = ?"
    values = [change.state, change.at_ms, change.not_before_ms, int(change.is_unsure), change.trouble[:300]]
    keys = [name, change.key] if change.name and change.key else [name]
    db.execute(
        "UPDATE outbox SET state = ?, settled_ms = ?, not_before_ms = max(not_before_ms, ?),"
        f" is_unsure = max(is_unsure, ?), trouble = ? WHERE site_id = ? AND {which}",
        [*values, site, *keys],
    )


def _hastened(db: sqlite3.Connection, site: int, change: Hastened) -> None:
    db.execute(
        # Looked for whatever became of it: what fails again hastens no further rung than at first.
        # Others have rungs of their own: the same person's next way comes before them.
        "UPDATE outbox SET not_before_ms = ?1 WHERE state = 'queued' AND tries = 0 AND not_before_ms > ?1"
        " AND site_id = ?2 AND key = ("
        "SELECT key FROM outbox WHERE site_id = ?2 AND subject = ?3 AND occurrence = ?4 AND rung > ?6"
        " AND state <> 'cancelled' AND kind IN ('active', 'worse') ORDER BY person <> ?5, rung, key LIMIT 1)",
        (change.at_ms, site, change.subject, change.occurrence, change.person, change.rung),
    )


def _heard(db: sqlite3.Connection, site: int, change: Heard) -> None:
    db.execute(
        "UPDATE outbox SET heard_ms = ? WHERE site_id = ? AND key = ? AND kind = 'test' AND heard_ms IS NULL"
        " AND (state IN ('sending', 'sent') OR is_unsure = 1)",  # it may be tapped before we know it as sent
        (change.at_ms, site, change.key),
    )


def _channel_set(db: sqlite3.Connection, site: int, change: ChannelSet) -> None:
    db.execute(
        "INSERT INTO channel (site_id, person, name, shown, sealed, added_ms) SELECT ?1, ?2, ?3, ?4, ?5, ?6"
        " WHERE NOT EXISTS (SELECT 1 FROM channel WHERE site_id = ?1 AND person = ?2 AND sealed = ?5)",
        (site, change.person, change.name, change.shown, change.sealed, change.at_ms),
    )


def _channel_removed(db: sqlite3.Connection, site: int, change: ChannelRemoved) -> None:
    db.execute(
        "UPDATE channel SET removed_ms = ?, sealed = x'' WHERE site_id = ? AND channel_id = ?",
        (change.at_ms, site, change.number),
    )
    db.execute(
        "UPDATE outbox SET state = 'cancelled', settled_ms = ?, trouble = 'the channel was removed'"
        " WHERE site_id = ? AND channel_id = ? AND state = 'queued'",
        (change.at_ms, site, change.number),
    )


def _wishes_set(db: sqlite3.Connection, site: int, change: WishesSet) -> None:
    wish = change.wishes
    db.execute(
        "INSERT OR REPLACE INTO wish VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            site, wish.person, wish.least, int(wish.wants_clears), wish.quiet_from, wish.quiet_to,
            wish.a_day, " ".join(wish.muted), wish.then,
        ),
    )  # fmt: skip


def _wishes(row: Sequence[Any]) -> Wishes:
    person, least, wants_clears, quiet_from, quiet_to, a_day, muted, then = row
    return Wishes(
        person=person,
        least=Priority(least),
        wants_clears=bool(wants_clears),
        quiet_from=quiet_from,
        quiet_to=quiet_to,
        a_day=a_day,
        muted=tuple(muted.split()),
        then=then,
    )


def _row(row: Sequence[Any]) -> OutRow:
    key, person, channel, kind, subject, occurrence, priority, *rest = row
    (
        made_ms,
        not_before_ms,
        expires_ms,
        title,
        text,
        rung,
        state,
        tries,
        is_unsure,
        settled_ms,
        trouble,
        heard_ms,
    ) = rest
    return OutRow(
        key=key,
        person=person,
        channel=channel,
        kind=MessageKind(kind),
        subject=subject,
        occurrence=occurrence,
        priority=Priority(priority),
        made_ms=made_ms,
        not_before_ms=not_before_ms,
        expires_ms=expires_ms,
        title=title,
        text=text,
        rung=rung,
        state=Outcome(state),
        tries=tries,
        is_unsure=bool(is_unsure),
        settled_ms=settled_ms,
        trouble=trouble,
        heard_ms=heard_ms,
    )


_WRITERS: dict[type, Callable[[sqlite3.Connection, int, Any], None]] = {
    Added: _added,
    Cancelled: _cancelled,
    Taken: _taken,
    Settled: _settled,
    Hastened: _hastened,
    Heard: _heard,
    ChannelSet: _channel_set,
    ChannelRemoved: _channel_removed,
    WishesSet: _wishes_set,
}
