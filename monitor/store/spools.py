"""Spool events, the states computed from them, and the site's own figures, as rows."""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Sequence

from monitor.model.batch import Batch
from monitor.model.catalogue import OwnFigure
from monitor.model.inventory import Spool
from monitor.model.records import Withdrawn
from monitor.model.spool_event import (
    Bagged,
    Checkpoint,
    Dried,
    Moved,
    Opened,
    Sign,
    Signs,
    Spoiled,
    SpoolEvent,
    SpoolHistory,
    Used,
    Weighed,
    What,
)
from monitor.store.records import record_row, told_in
from monitor.store.thinning import thinned

_KINDS: dict[str, type[What]] = {
    each.kind: each for each in (Moved, Bagged, Opened, Used, Weighed, Dried, Spoiled, Withdrawn)
}
_EVENT = "INSERT OR IGNORE INTO spool_event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_EVENTS = (
    "SELECT event_id, spool, at_ms, entered_ms, who, kind, body, replaces FROM spool_event"
    " WHERE site_id = ? ORDER BY event_id"
)
_VERSIONS = """
SELECT key, from_ms, body FROM item WHERE site_id = ? AND kind = 'spool' AND from_ms <= ? ORDER BY from_ms
"""
_CHECKPOINT = "INSERT OR REPLACE INTO spool_checkpoint VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_NEWEST = """
SELECT spool, max(at_ms), content, mean_p10_pct, mean_p50_pct, mean_p90_pct, outer_p10_pct, outer_p50_pct,
    outer_p90_pct
FROM spool_checkpoint WHERE site_id = ? AND at_ms <= ?{whole} GROUP BY spool
"""
# A row without content tells the water of a spool when it was moved; nothing can go on from it.
_WHOLE, _MOVE = " AND content <> x''", "content = x''"
_COURSE = """
SELECT spool, at_ms, x'', mean_p10_pct, mean_p50_pct, mean_p90_pct, outer_p10_pct, outer_p50_pct,
    outer_p90_pct
FROM spool_checkpoint WHERE site_id = ? AND at_ms >= ? AND at_ms <= ? AND spool = ? ORDER BY at_ms
"""


def write(db: sqlite3.Connection, site: int, batch: Batch) -> int | None:
    """Events and figures, and away with every computed state that they make untrue.

    Returns the time from which on the events change what is known [ms]; None where there are none.
    """
    oldest_ms = None
    for figure in batch.figures:
        db.execute(
            "INSERT INTO own_figure (site_id, at_ms, material, figure, value, who, why)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (site, round((figure.at_s or 0.0) * 1000), figure.material, figure.figure, figure.value,
             figure.who, figure.why),
        )  # fmt: skip
    if batch.inventory is not None or batch.figures:
        db.execute("DELETE FROM spool_checkpoint WHERE site_id = ?", (site,))
    for event in batch.events:
        db.execute(_EVENT, record_row(site, event.spool, event))
        begins_ms = _begins_ms(db, event)
        oldest_ms = begins_ms if oldest_ms is None else min(oldest_ms, begins_ms)
        db.execute(
            "DELETE FROM spool_checkpoint WHERE site_id = ? AND spool = ? AND at_ms > ?",
            (site, event.spool, begins_ms),
        )
    return oldest_ms


def forget_after(db: sqlite3.Connection, site: int, oldest_ms: int) -> None:
    """Readings of this time came in: states computed without them are not true any more."""
    db.execute("DELETE FROM spool_checkpoint WHERE site_id = ? AND at_ms > ?", (site, oldest_ms))


def write_checkpoints(db: sqlite3.Connection, site: int, checkpoints: Iterable[Checkpoint]) -> None:
    db.executemany(
        _CHECKPOINT,
        [(site, row.at_ms, row.spool, row.content, *row.mean_pct, *row.outer_pct) for row in checkpoints],
    )


def prune_checkpoints(db: sqlite3.Connection, now_ms: int) -> int:
    """Thin out old states; returns how many went."""
    return thinned(db, "spool_checkpoint", now_ms, unless=_MOVE)


def newest_event_id(db: sqlite3.Connection) -> int:
    return int(db.execute("SELECT coalesce(max(event_id), 0) FROM spool_event").fetchone()[0])


def read_histories(db: sqlite3.Connection, site: int, at_ms: int) -> dict[str, SpoolHistory]:
    """What was stated about each spool; of the inventory's versions those up to a time."""
    versions: dict[str, list[tuple[int, Spool | None]]] = defaultdict(list)
    for key, from_ms, body in db.execute(_VERSIONS, (site, at_ms)).fetchall():
        versions[key].append((from_ms, None if body is None else Spool(**json.loads(body))))
    events: dict[str, list[SpoolEvent]] = defaultdict(list)
    for row in db.execute(_EVENTS, (site,)).fetchall():
        events[row[1]].append(_event(row))
    return {
        key: SpoolHistory(versions=tuple(rows), events=tuple(events.get(key, ())))
        for key, rows in versions.items()
    }


def read_checkpoints(db: sqlite3.Connection, site: int, at_ms: int) -> dict[str, Checkpoint]:
    """The newest state of each spool at or before a time, to go on from."""
    rows = db.execute(_NEWEST.format(whole=_WHOLE), (site, at_ms)).fetchall()
    return {row[0]: _checkpoint(row) for row in rows}


def read_waters(db: sqlite3.Connection, site: int, at_ms: int) -> dict[str, Checkpoint]:
    """What each spool held, as of the newest state or move at or before a time."""
    rows = db.execute(_NEWEST.format(whole=""), (site, at_ms)).fetchall()
    return {row[0]: _checkpoint(row) for row in rows}


def read_course(
    db: sqlite3.Connection, site: int, spool: str, from_ms: int, to_ms: int
) -> tuple[Checkpoint, ...]:
    """A spool's states in a window, without their content."""
    return tuple(_checkpoint(row) for row in db.execute(_COURSE, (site, from_ms, to_ms, spool)).fetchall())


def read_figures(db: sqlite3.Connection, site: int) -> tuple[OwnFigure, ...]:
    """Every figure that was ever set here, the newest last."""
    rows = db.execute(
        "SELECT material, figure, value, who, why, at_ms FROM own_figure WHERE site_id = ?"
        " ORDER BY figure_id",
        (site,),
    ).fetchall()
    return tuple(
        OwnFigure(material=material, figure=figure, value=value, who=who, why=why, at_s=at_ms / 1000.0)
        for material, figure, value, who, why, at_ms in rows
    )


def _begins_ms(db: sqlite3.Connection, event: SpoolEvent) -> int:
    """From when on an event changes what is known: a drying begins before the moment it is told for."""
    begins_ms = round(_began_s(event) * 1000)
    if event.replaces is None:
        return begins_ms
    row = db.execute(
        "SELECT event_id, spool, at_ms, entered_ms, who, kind, body, replaces FROM spool_event"
        " WHERE event_id = ?",
        (event.replaces,),
    ).fetchone()
    return begins_ms if row is None else min(begins_ms, round(_began_s(_event(row)) * 1000))


def _began_s(event: SpoolEvent) -> float:
    hours = event.what.hours if isinstance(event.what, Dried) else 0.0
    return max(0.0, event.at_s - 3600.0 * hours)


def _event(row: Sequence[object]) -> SpoolEvent:
    spool, told, kind, members = told_in(row)
    what: What
    if kind == Signs.kind:
        what = Signs(seen=tuple(Sign(sign) for sign in members["seen"]))
    else:
        what = _KINDS[kind](**members)
    return SpoolEvent(spool=spool, what=what, **told)


def _checkpoint(row: Sequence[object]) -> Checkpoint:
    spool, at_ms, content, *figures = row
    low, middle, high, outer_low, outer_middle, outer_high = (float(str(value)) for value in figures)
    return Checkpoint(
        spool=str(spool),
        at_ms=int(str(at_ms)),
        content=bytes(content) if isinstance(content, bytes) else b"",
        mean_pct=(low, middle, high),
        outer_pct=(outer_low, outer_middle, outer_high),
    )
