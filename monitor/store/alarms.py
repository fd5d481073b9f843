"""Alarms as rows: what is known of each, the log of transitions, and numbers that people set."""

import sqlite3

from monitor.model.alarm_change import AlarmChanges, AlarmFigure, AlarmsKept, AlarmTransition

KEEP_LOG_MS = 800 * 86_400_000  # two years and a bit: the yearly review looks back over one
ROWS_A_CALL = 10_000
_LOG = "number, at_ms, key, type, place, activation, what, was, now, priority, who, waited_s, told"


def write(db: sqlite3.Connection, site: int, changes: AlarmChanges) -> None:
    """All of it in the transaction of the batch; again is the same as once."""
    db.executemany(
        "INSERT OR REPLACE INTO alarm VALUES (?, ?, ?, ?)",
        [(site, key, kept.shown, kept.content) for key, kept in changes.states.items()],
    )
    db.executemany(
        f"INSERT OR IGNORE INTO alarm_log (site_id, {_LOG})"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (site, t.number, t.at_ms, t.key, t.type, t.place[:127], t.activation)
            + (t.what, t.was, t.now, t.priority, t.who[:200], t.waited_s, int(t.told))
            for t in changes.log
        ],
    )
    db.executemany(
        "INSERT OR IGNORE INTO alarm_figure (site_id, at_ms, type, name, old, value, who, why)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [(site, f.at_ms, f.type, f.name, f.old, f.value, f.who[:200], f.why) for f in changes.figures],
    )


def read_kept(db: sqlite3.Connection, site: int) -> AlarmsKept:
    rows = db.execute("SELECT key, content FROM alarm WHERE site_id = ?", (site,)).fetchall()
    newest = db.execute("SELECT max(number) FROM alarm_log WHERE site_id = ?", (site,)).fetchone()[0]
    return AlarmsKept(states=dict(rows), newest_number=newest or 0, figures=read_figures(db, site))


def read_not_normal(db: sqlite3.Connection, site: int) -> tuple[str, ...]:
    """The texts of all alarms that show anything but normal."""
    rows = db.execute("SELECT content FROM alarm WHERE site_id = ? AND shown <> 'norm' ORDER BY key", (site,))
    return tuple(str(row[0]) for row in rows.fetchall())


def read_figures(db: sqlite3.Connection, site: int) -> tuple[AlarmFigure, ...]:
    """Every number that was ever set, oldest first."""
    rows = db.execute(
        "SELECT type, name, old, value, who, why, at_ms FROM alarm_figure WHERE site_id = ?"
        " ORDER BY figure_id",
        (site,),
    ).fetchall()
    names = ("type", "name", "old", "value", "who", "why", "at_ms")
    return tuple(AlarmFigure(**dict(zip(names, row, strict=True))) for row in rows)


def read_log(
    db: sqlite3.Connection, site: int, from_ms: int, to_ms: int, limit: int, key: str | None
) -> tuple[AlarmTransition, ...]:
    """Transitions of a window, of one alarm or of all, oldest first; of too many the newest."""
    rows = db.execute(
        f"SELECT {_LOG} FROM alarm_log WHERE site_id = ? AND at_ms >= ? AND at_ms < ?"
        " AND (? IS NULL OR key = ?) ORDER BY number DESC LIMIT ?",
        (site, from_ms, to_ms, key, key, limit),
    ).fetchall()
    names = _LOG.split(", ")
    return tuple(
        AlarmTransition(**(dict(zip(names, row, strict=True)) | {"told": bool(row[-1])}))
        for row in reversed(rows)
    )


def prune(db: sqlite3.Connection, now_ms: int) -> int:
    """Old transitions, a bounded piece at a time; the newest stays, so that numbers go on."""
    return db.execute(
        "DELETE FROM alarm_log WHERE (site_id, number) IN (SELECT site_id, number FROM alarm_log AS old"
        " WHERE at_ms < ? AND number < (SELECT max(number) FROM alarm_log WHERE site_id = old.site_id)"
        " ORDER BY at_ms LIMIT ?)",
        (now_ms - KEEP_LOG_MS, ROWS_A_CALL),
    ).rowcount
