"""Computed states grow old: kept whole for a while, then one a day, then one every four weeks."""

import sqlite3

from monitor.model.history import DAY_S

DAY_MS = DAY_S * 1000
WHOLE_MS, DAILY_MS, SELDOM_MS = 3 * DAY_MS, 60 * DAY_MS, 28 * DAY_MS


def thinned(db: sqlite3.Connection, table: str, now_ms: int, unless: str = "") -> int:
    """Delete a table's states that are too close together for their age; returns how many went.

    `unless` names rows, in SQL, that are kept for ever.
    """
    before = db.total_changes
    spared = f" AND NOT ({unless})" if unless else ""
    for older_ms, kept_ms in ((WHOLE_MS, DAY_MS), (DAILY_MS, SELDOM_MS)):
        db.execute(
            f"DELETE FROM {table} WHERE at_ms < ? AND at_ms % ? <> 0{spared}", (now_ms - older_ms, kept_ms)
        )
    return db.total_changes - before
