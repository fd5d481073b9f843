"""Old rows deleted, in bounded pieces and never before what is made of them."""

import sqlite3

from monitor.model.history import FIVE_MINUTES_S, HOUR_S, Progress, Retention
from monitor.store import alarms, boxes, cycles, spools
from monitor.store.rolling import BUCKET_MS, DAY_MS, TABLES
from monitor.store.rollups import HOLD_CAP_MS

ROWS_A_CALL = 100_000


def prune(db: sqlite3.Connection, now_ms: int, retention: Retention) -> Progress:
    """Delete raw readings, then five-minute and hour roll-ups; days are kept for ever.

    Raw readings stay until they are rolled up. Finer roll-ups stay as long as a late reading can still
    change the day they are part of.
    """
    raw, raw_more = _prune_raw(db, now_ms - retention.raw_days * DAY_MS)
    five_ms = _day_start_ms(min(now_ms - retention.five_minute_days * DAY_MS, accept_from_ms(db)))
    hour_ms = min(_day_start_ms(now_ms - retention.hour_days * DAY_MS), five_ms)
    five, five_more = _delete_before(db, TABLES[FIVE_MINUTES_S], "start_ms", five_ms)
    hours, hours_more = _delete_before(db, TABLES[HOUR_S], "start_ms", hour_ms)
    thinned = spools.prune_checkpoints(db, now_ms) + boxes.prune(db, now_ms) + alarms.prune(db, now_ms)
    thinned += cycles.prune_air(db, now_ms - retention.five_minute_days * DAY_MS)
    return Progress(rows=raw + five + hours + thinned, more=raw_more or five_more or hours_more)


def accept_from_ms(db: sqlite3.Connection) -> int:
    """Readings from before this are refused: the roll-ups that they belong to cannot be made anew."""
    return int(db.execute("SELECT accept_from_ms FROM kept").fetchone()[0])


def _prune_raw(db: sqlite3.Connection, limit_ms: int) -> tuple[int, bool]:
    """Deletes, and shuts the door behind what was really deleted: elsewhere late readings may come."""
    oldest_due_ms = db.execute("SELECT min(start_ms) FROM rollup_due").fetchone()[0]
    if oldest_due_ms is not None:
        limit_ms = min(limit_ms, oldest_due_ms - HOLD_CAP_MS)
    limit_ms, more = _bounded(db, "reading", "time_ms", limit_ms)
    newest_ms = db.execute("SELECT max(time_ms) FROM reading WHERE time_ms < ?", (limit_ms,)).fetchone()[0]
    if newest_ms is None:
        return 0, False
    deleted = db.execute("DELETE FROM reading WHERE time_ms < ?", (limit_ms,)).rowcount
    # The span of a late reading is made anew with the readings of one hold before it.
    shut_ms = newest_ms + 1 + HOLD_CAP_MS + BUCKET_MS
    db.execute("UPDATE kept SET accept_from_ms = max(accept_from_ms, ?)", (shut_ms,))
    return deleted, more


def _delete_before(db: sqlite3.Connection, table: str, column: str, limit_ms: int) -> tuple[int, bool]:
    limit_ms, more = _bounded(db, table, column, limit_ms)
    return db.execute(f"DELETE FROM {table} WHERE {column} < ?", (limit_ms,)).rowcount, more


def _bounded(db: sqlite3.Connection, table: str, column: str, limit_ms: int) -> tuple[int, bool]:
    """A limit that not too many rows lie before, and whether it had to be lowered."""
    sql = f"SELECT {column} FROM {table} WHERE {column} < ? ORDER BY {column} LIMIT 1 OFFSET ?"
    row = db.execute(sql, (limit_ms, ROWS_A_CALL)).fetchone()
    return (limit_ms, False) if row is None else (row[0] + 1, True)


def _day_start_ms(time_ms: int) -> int:
    return time_ms - time_ms % DAY_MS
