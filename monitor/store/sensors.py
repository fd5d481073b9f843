"""What was told and found of sensors, as rows."""

import sqlite3
from collections import defaultdict
from collections.abc import Sequence

from monitor.model.batch import Batch
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import (
    MOVES_AIR,
    Back,
    Checked,
    Compared,
    Corner,
    CorrectionSet,
    InJar,
    Installed,
    Mapped,
    Seated,
    SensorEvent,
    SensorWhat,
)
from monitor.store.records import record_row, told_in

_KINDS: dict[str, type[SensorWhat]] = {
    each.kind: each
    for each in (Installed, InJar, Back, Checked, Compared, CorrectionSet, Mapped, Seated, Withdrawn)
}
_LISTS = {Compared.kind: "others", CorrectionSet.kind: "checks"}  # members that JSON gives back as lists
_COLUMNS = "event_id, channel, at_ms, entered_ms, who, kind, body, replaces"


_INSERT = "INSERT OR IGNORE INTO sensor_event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"


def write(db: sqlite3.Connection, site: int, batch: Batch) -> int | None:
    """The events; returns from when on they change the air that was read [ms], None where they do not."""
    changed_ms: list[int] = []
    for event in batch.sensor_events:
        db.execute(_INSERT, record_row(site, event.channel, event))
        replaced = db.execute(
            "SELECT at_ms FROM sensor_event WHERE event_id = ?", (event.replaces,)
        ).fetchone()
        if isinstance(event.what, MOVES_AIR):
            begins_ms = round(event.at_s * 1000)
            changed_ms.append(begins_ms if replaced is None else min(begins_ms, replaced[0]))
    return min(changed_ms, default=None)


def newest_event_id(db: sqlite3.Connection) -> int:
    return int(db.execute("SELECT coalesce(max(event_id), 0) FROM sensor_event").fetchone()[0])


def read_events(db: sqlite3.Connection, site: int) -> dict[str, tuple[SensorEvent, ...]]:
    """All records, by channel, in the order in which they were entered."""
    found: dict[str, list[SensorEvent]] = defaultdict(list)
    rows = db.execute(f"SELECT {_COLUMNS} FROM sensor_event WHERE site_id = ? ORDER BY event_id", (site,))
    for row in rows.fetchall():
        found[row[1]].append(_event(row))
    return {channel: tuple(events) for channel, events in found.items()}


def _event(row: Sequence[object]) -> SensorEvent:
    channel, told, kind, members = told_in(row)
    if kind in _LISTS:
        members[_LISTS[kind]] = tuple(members[_LISTS[kind]])
    if kind == Mapped.kind:
        members["corners"] = tuple(Corner(**corner) for corner in members["corners"])
    return SensorEvent(channel=channel, what=_KINDS[kind](**members), **told)
