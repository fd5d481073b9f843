"""Readings into rows: checked at the door, the first of a moment wins, stale roll-ups marked due."""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field

from monitor.model.batch import Quarantined
from monitor.model.history import FIVE_MINUTES_S, Applied
from monitor.model.reading import Reading, TimeQuality
from monitor.store.series_book import SeriesBook

QUALITY_CODES = {
    TimeQuality.SYNCED: 0,
    TimeQuality.ESTIMATED: 1,
    TimeQuality.ARRIVAL: 2,
    TimeQuality.SUSPECT: 3,
}
BUCKET_MS = FIVE_MINUTES_S * 1000

ReadingRow = tuple[int, int, int, int]  # time_ms, series_id, value, quality
_INSERT = "INSERT INTO reading VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING"
_DUE = "INSERT INTO rollup_due VALUES (?) ON CONFLICT DO NOTHING"
_LATEST = """
INSERT INTO latest VALUES (?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET time_ms = excluded.time_ms, value = excluded.value, quality = excluded.quality,
    arrival_ms = excluded.arrival_ms WHERE excluded.time_ms > latest.time_ms
"""


@dataclass(slots=True)
class Sorted:
    """The readings of a batch after the door."""

    rows: list[ReadingRow] = field(default_factory=list)
    newest: dict[int, ReadingRow] = field(default_factory=dict)  # by series
    reach_ms: dict[int, int] = field(default_factory=dict)  # five-minute span to the end of what it changes
    too_late: list[Reading] = field(default_factory=list)
    unusable: list[Reading] = field(default_factory=list)
    conflicts: list[ReadingRow] = field(default_factory=list)  # found when written


def sort_readings(readings: Iterable[Reading], book: SeriesBook, accept_from_ms: int) -> Sorted:
    """Tell what can be stored from what cannot; one pass, because this is the hot path."""
    out = Sorted()
    entries, rows, newest, reaches = book.entries, out.rows, out.newest, out.reach_ms
    for reading in readings:
        name = (reading.node, reading.channel, reading.quantity)
        entry = entries.get(name) or book.add(name)
        value, time_ms = reading.value, reading.time_ms
        if not entry.lowest <= value <= entry.highest:  # not for nan either
            out.unusable.append(reading)
            continue
        if time_ms < accept_from_ms:
            out.too_late.append(reading)
            continue
        series_id = entry.series_id
        row = (time_ms, series_id, round(value * entry.stored_per_unit), QUALITY_CODES[reading.quality])
        rows.append(row)
        held = newest.get(series_id)
        if held is None or time_ms > held[0]:
            newest[series_id] = row
        bucket_ms = time_ms - time_ms % BUCKET_MS
        if reaches.get(bucket_ms, 0) < time_ms + entry.reach_ms:
            reaches[bucket_ms] = time_ms + entry.reach_ms
    return out


def write_readings(db: sqlite3.Connection, out: Sorted, arrival_ms: int) -> Applied:
    """Store the rows, the newest of each series, and which spans are to be rolled up anew."""
    before = db.total_changes
    db.executemany(_INSERT, out.rows)
    stored = db.total_changes - before
    known = len(out.rows) - stored
    out.conflicts = _conflicts(db, out.rows) if known else []
    db.executemany(
        _LATEST,
        [(series_id, row[0], row[2], row[3], arrival_ms) for series_id, row in out.newest.items()],
    )
    if stored:
        db.executemany(_DUE, [(ms,) for ms in _due(out.reach_ms)])
    return Applied(
        stored=stored,
        duplicates=known - len(out.conflicts),
        conflicts=len(out.conflicts),
        too_late=len(out.too_late),
        unusable=len(out.unusable),
    )


def notes(out: Sorted, book: SeriesBook, at_ms: int) -> list[tuple[str, int, Quarantined]]:
    """For each reason one line of quarantine with its counter, so that nothing vanishes unsaid."""
    found: list[tuple[str, int, Quarantined]] = []
    for counter, readings, reason in (
        ("too_late", out.too_late, "older than the raw readings that are kept: not stored"),
        ("unusable", out.unusable, "not a number or out of range: not stored"),
    ):
        if readings:
            topic = f"node/{readings[0].node}/senml"
            found.append((counter, len(readings), _note(at_ms, topic, len(readings), reason, readings[0])))
    if out.conflicts:
        node, channel, quantity = book.name_of(out.conflicts[0][1])
        reason = f"unlike what is stored for their moment ({channel}/{quantity} first): the first one stays"
        note = _note(at_ms, f"node/{node}/senml", len(out.conflicts), reason, out.conflicts[0])
        found.append(("conflicts", len(out.conflicts), note))
    return found


def _note(at_ms: int, topic: str, count: int, reason: str, first: object) -> Quarantined:
    return Quarantined(
        at_ms=at_ms, topic=topic, reason=f"readings {reason}; {count} of them", payload=repr(first).encode()
    )


def _due(reach_ms: dict[int, int]) -> list[int]:
    """Every span in which a reading lies or whose cover it may change."""
    spans: set[int] = set()
    for bucket_ms, end_ms in reach_ms.items():
        spans.update(range(bucket_ms, end_ms, BUCKET_MS))
    return sorted(spans)


def _conflicts(db: sqlite3.Connection, rows: list[ReadingRow]) -> list[ReadingRow]:
    """The rows that say otherwise than what is stored for their moment."""
    stored = "SELECT value FROM reading WHERE time_ms = ? AND series_id = ?"
    return [row for row in rows if db.execute(stored, row[:2]).fetchone()[0] != row[2]]
