"""Roll-ups made anew from their readings, in bounded pieces and always in step with the rows that say so."""

import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator

from monitor.model.history import DAY_S, FIVE_MINUTES_S, HOUR_S, Progress
from monitor.store.rollups import HOLD_CAP_MS, RawRow, bucketed, hold_ms, usual_spacing_ms

TABLES = {FIVE_MINUTES_S: "rollup_5min", HOUR_S: "rollup_hour", DAY_S: "rollup_day"}
BUCKET_MS = FIVE_MINUTES_S * 1000
HOUR_MS = HOUR_S * 1000
DAY_MS = DAY_S * 1000
ROWS_A_PIECE = 50_000  # some 10 MB while they are added up
ROWS_A_CALL = 200_000
SPANS_A_CALL = 4_000
_SPACING_CHANGED = 0.5  # a learned spacing gives way to one that differs by more than this share

_DUE = "SELECT start_ms FROM rollup_due WHERE start_ms <= ? ORDER BY start_ms LIMIT ?"
_RAW = """
SELECT time_ms, series_id, value FROM reading WHERE time_ms >= ? AND time_ms < ? ORDER BY time_ms, series_id
"""
_PIECE_END = (
    "SELECT time_ms FROM reading WHERE time_ms >= ? AND time_ms < ? ORDER BY time_ms LIMIT 1 OFFSET ?"
)
_COARSER = """
INSERT INTO {coarse}
SELECT start_ms - start_ms % :span_ms AS start, series_id,
    sum(n), min(lowest), max(highest), sum(total), sum(covered_ms)
FROM {fine} WHERE start_ms >= :from_ms AND start_ms < :to_ms
GROUP BY start, series_id ORDER BY start, series_id
"""


def roll_up(db: sqlite3.Connection, now_ms: int) -> Progress:
    """Make the finished spans that are due anew, oldest first.

    The due rows are written with the readings and deleted with the roll-ups, so neither a late reading
    nor a crash can leave a roll-up that disagrees with its readings. What a span covers is judged by
    the `ut` known at this moment.
    """
    due = [row[0] for row in db.execute(_DUE, (now_ms - BUCKET_MS, SPANS_A_CALL)).fetchall()]
    rows, done = 0, set[int]()
    for from_ms, to_ms in runs(due, BUCKET_MS):
        while from_ms < to_ms and rows < ROWS_A_CALL:
            stop_ms = _piece_end_ms(db, from_ms, to_ms)
            rows += _roll_up_piece(db, from_ms, stop_ms)
            done.update(range(from_ms, stop_ms, BUCKET_MS))
            from_ms = stop_ms
    _refresh(db, HOUR_S, FIVE_MINUTES_S, done)
    _refresh(db, DAY_S, HOUR_S, done)
    return Progress(rows=rows, more=len(done) < len(due) or len(due) == SPANS_A_CALL)


def holds_ms(db: sqlite3.Connection) -> dict[int, int]:
    """For how long each series' readings hold."""
    rows = db.execute("SELECT series_id, due_ms, spacing_ms FROM series").fetchall()
    return {series_id: hold_ms(due_ms, spacing_ms) for series_id, due_ms, spacing_ms in rows}


def _roll_up_piece(db: sqlite3.Connection, from_ms: int, to_ms: int) -> int:
    undated = {row[0] for row in db.execute("SELECT series_id FROM series WHERE due_ms IS NULL").fetchall()}
    back_ms = HOLD_CAP_MS if undated else max(holds_ms(db).values(), default=0)
    rows = db.execute(_RAW, (from_ms - back_ms, to_ms)).fetchall()
    if undated:
        _learn_spacings(db, rows, undated)
    fresh = bucketed(rows, holds_ms(db), from_ms, to_ms, BUCKET_MS)
    db.execute("DELETE FROM rollup_5min WHERE start_ms >= ? AND start_ms < ?", (from_ms, to_ms))
    db.executemany("INSERT INTO rollup_5min VALUES (?, ?, ?, ?, ?, ?, ?)", fresh)
    db.execute("DELETE FROM rollup_due WHERE start_ms >= ? AND start_ms < ?", (from_ms, to_ms))
    return len(rows)


def _refresh(db: sqlite3.Connection, coarse_s: int, fine_s: int, done: Iterable[int]) -> None:
    """The coarser spans that hold the finished ones, from the next finer."""
    span_ms = coarse_s * 1000
    starts = sorted({start_ms - start_ms % span_ms for start_ms in done})
    sql = _COARSER.format(coarse=TABLES[coarse_s], fine=TABLES[fine_s])
    for from_ms, to_ms in runs(starts, span_ms):
        db.execute(f"DELETE FROM {TABLES[coarse_s]} WHERE start_ms >= ? AND start_ms < ?", (from_ms, to_ms))
        db.execute(sql, {"span_ms": span_ms, "from_ms": from_ms, "to_ms": to_ms})


def _learn_spacings(db: sqlite3.Connection, rows: list[RawRow], undated: set[int]) -> None:
    """How often those send that do not say when the next reading is due."""
    times_ms: dict[int, list[int]] = defaultdict(list)
    for time_ms, series_id, _ in rows:
        if series_id in undated:
            times_ms[series_id].append(time_ms)
    learned = [(usual_spacing_ms(times), series_id) for series_id, times in times_ms.items()]
    db.executemany(
        "UPDATE series SET spacing_ms = ?1 WHERE series_id = ?2"
        f" AND (spacing_ms IS NULL OR abs(spacing_ms - ?1) > {_SPACING_CHANGED} * spacing_ms)",
        [(spacing, series_id) for spacing, series_id in learned if spacing],
    )


def _piece_end_ms(db: sqlite3.Connection, from_ms: int, to_ms: int) -> int:
    """The edge of a span before which there are not too many readings for one piece."""
    row = db.execute(_PIECE_END, (from_ms, to_ms, ROWS_A_PIECE)).fetchone()
    return to_ms if row is None else max(from_ms + BUCKET_MS, row[0] - row[0] % BUCKET_MS)


def runs(starts: list[int], step: int) -> Iterator[tuple[int, int]]:
    """Ascending starts as stretches (from, to) without a gap."""
    if not starts:
        return
    from_ms = to_ms = starts[0]
    for start in starts:
        if start != to_ms:
            yield from_ms, to_ms
            from_ms = start
        to_ms = start + step
    yield from_ms, to_ms
