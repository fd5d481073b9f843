"""What was told of boxes, the states computed of them, and what was noticed, as rows."""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Sequence

from monitor.model.batch import Batch
from monitor.model.box_event import (
    BoxCheckpoint,
    BoxEvent,
    BoxHistory,
    BoxWhat,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Noticed,
    Recharged,
)
from monitor.model.inventory import Box
from monitor.model.records import Withdrawn
from monitor.store.records import record_row, told_in
from monitor.store.thinning import thinned
from monitor.store.versions import box_of

_KINDS: dict[str, type[BoxWhat]] = {
    each.kind: each for each in (Recharged, ChargeWeighed, NothingDone, Withdrawn)
}
_INSERT = "INSERT OR IGNORE INTO box_event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_COLUMNS = "event_id, box, at_ms, entered_ms, who, kind, body, replaces"
_VERSIONS = """
SELECT key, from_ms, body FROM item WHERE site_id = ? AND kind = 'box' AND from_ms <= ? ORDER BY from_ms
"""
_NEWEST = """
SELECT box, max(at_ms), content, loading_p10_pct, loading_p50_pct, loading_p90_pct
FROM box_checkpoint WHERE site_id = ? AND at_ms <= ? GROUP BY box
"""
_COURSE = """
SELECT box, at_ms, x'', loading_p10_pct, loading_p50_pct, loading_p90_pct
FROM box_checkpoint WHERE site_id = ? AND at_ms >= ? AND at_ms <= ? AND box = ? ORDER BY at_ms
"""
_NOTICED = """
SELECT box, at_ms, kind, water_g, step_pct, found_ms FROM box_noticed
WHERE site_id = ? AND at_ms >= ? AND found_ms <= ? ORDER BY at_ms
"""


def write(db: sqlite3.Connection, site: int, batch: Batch) -> None:
    """Events, and away with every computed state that they, figures or an inventory make untrue."""
    if batch.inventory is not None or batch.figures:
        forget_after(db, site, -1)
    for event in batch.box_events:
        replaced = db.execute("SELECT at_ms FROM box_event WHERE event_id = ?", (event.replaces,)).fetchone()
        db.execute(_INSERT, record_row(site, event.box, event))
        begins_ms = round(event.at_s * 1000)
        _forget(db, site, begins_ms if replaced is None else min(begins_ms, replaced[0]), event.box)


def forget_after(db: sqlite3.Connection, site: int, oldest_ms: int) -> None:
    """Something before now is known otherwise: states computed of any box after it are not true any more."""
    db.execute("DELETE FROM box_checkpoint WHERE site_id = ? AND at_ms > ?", (site, oldest_ms))
    db.execute("DELETE FROM box_noticed WHERE site_id = ? AND found_ms > ?", (site, oldest_ms))


def _forget(db: sqlite3.Connection, site: int, oldest_ms: int, box: str) -> None:
    of_box = (site, oldest_ms, box)
    db.execute("DELETE FROM box_checkpoint WHERE site_id = ? AND at_ms > ? AND box = ?", of_box)
    db.execute("DELETE FROM box_noticed WHERE site_id = ? AND found_ms > ? AND box = ?", of_box)


def write_states(
    db: sqlite3.Connection, site: int, states: Iterable[BoxCheckpoint], noticed: Iterable[Noticed]
) -> None:
    db.executemany(
        "INSERT OR REPLACE INTO box_checkpoint VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(site, row.at_ms, row.box, row.content, *row.loading_pct) for row in states],
    )
    db.executemany(
        "INSERT OR REPLACE INTO box_noticed VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(site, n.box, n.at_ms, n.kind, n.found_ms, n.water_g, n.step_pct) for n in noticed],
    )


def prune(db: sqlite3.Connection, now_ms: int) -> int:
    """Thin out old states; returns how many went. What was noticed is little and is kept."""
    return thinned(db, "box_checkpoint", now_ms)


def newest_event_id(db: sqlite3.Connection) -> int:
    return int(db.execute("SELECT coalesce(max(event_id), 0) FROM box_event").fetchone()[0])


def read_histories(db: sqlite3.Connection, site: int, at_ms: int) -> dict[str, BoxHistory]:
    """What was stated about each box; of the inventory's versions those up to a time."""
    versions: dict[str, list[tuple[int, Box | None]]] = defaultdict(list)
    for key, from_ms, body in db.execute(_VERSIONS, (site, at_ms)).fetchall():
        versions[key].append((from_ms, None if body is None else box_of(json.loads(body))))
    events: dict[str, list[BoxEvent]] = defaultdict(list)
    rows = db.execute(f"SELECT {_COLUMNS} FROM box_event WHERE site_id = ? ORDER BY event_id", (site,))
    for row in rows.fetchall():
        events[row[1]].append(_event(row))
    return {
        key: BoxHistory(versions=tuple(found), events=tuple(events.get(key, ())))
        for key, found in versions.items()
    }


def read_checkpoints(db: sqlite3.Connection, site: int, at_ms: int) -> dict[str, BoxCheckpoint]:
    """The newest state of each box at or before a time."""
    return {row[0]: _checkpoint(row) for row in db.execute(_NEWEST, (site, at_ms)).fetchall()}


def read_course(
    db: sqlite3.Connection, site: int, box: str, from_ms: int, to_ms: int
) -> tuple[BoxCheckpoint, ...]:
    """A box's states in a window, without their content."""
    return tuple(_checkpoint(row) for row in db.execute(_COURSE, (site, from_ms, to_ms, box)).fetchall())


def read_noticed(db: sqlite3.Connection, site: int, from_ms: int, found_ms: int) -> tuple[Noticed, ...]:
    """What happened from a time on, as far as readings up to another time told it."""
    return tuple(
        Noticed(box=box, at_ms=at_ms, kind=kind, water_g=water_g, step_pct=step_pct, found_ms=found)
        for box, at_ms, kind, water_g, step_pct, found in db.execute(
            _NOTICED, (site, from_ms, found_ms)
        ).fetchall()
    )


def _event(row: Sequence[object]) -> BoxEvent:
    box, told, kind, members = told_in(row)
    what: BoxWhat
    what = (
        ColourSeen(colour=Colour(members["colour"])) if kind == ColourSeen.kind else _KINDS[kind](**members)
    )
    return BoxEvent(box=box, what=what, **told)


def _checkpoint(row: Sequence[object]) -> BoxCheckpoint:
    box, at_ms, content, low, middle, high = row
    return BoxCheckpoint(
        box=str(box),
        at_ms=int(str(at_ms)),
        content=bytes(content) if isinstance(content, bytes) else b"",
        loading_pct=(float(str(low)), float(str(middle)), float(str(high))),
    )
