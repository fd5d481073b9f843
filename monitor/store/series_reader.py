"""What the sensors said: newest values, roll-ups and raw readings, never by a scan over the whole past."""

import sqlite3
from collections.abc import Sequence

from monitor.errors import BadInputError
from monitor.model.history import DAY_S, FIVE_MINUTES_S, HOUR_S, Newest, RawReading, RollUp, Series
from monitor.model.reading import QUANTITIES, TimeQuality
from monitor.store.connections import Connections
from monitor.store.ingest import QUALITY_CODES
from monitor.store.retention import accept_from_ms
from monitor.store.rolling import BUCKET_MS, TABLES, runs

POINTS_MAX = 100_000

_QUANTITY = {spec.code: quantity for quantity, spec in QUANTITIES.items()}
_PER_UNIT = {quantity: spec.stored_per_unit for quantity, spec in QUANTITIES.items()}
_QUALITY = {code: quality for quality, code in QUALITY_CODES.items()}
_SPANS_COARSE_FIRST_S = (DAY_S, HOUR_S, FIVE_MINUTES_S)

_SERIES = "SELECT series_id, node, channel, quantity, due_ms FROM series WHERE site_id = ? ORDER BY 1"
_LATEST = "SELECT series_id, time_ms, value, quality, arrival_ms FROM latest"
_NEWEST_RAW = """
SELECT time_ms, value, quality FROM reading
WHERE time_ms >= ? AND time_ms < ? AND series_id = ? ORDER BY time_ms DESC LIMIT 1
"""
# CROSS JOIN keeps the order: one look-up by primary key for each span.
_POINTS = """
WITH RECURSIVE span(start_ms) AS (
    SELECT :from_ms UNION ALL SELECT start_ms + :span_ms FROM span WHERE start_ms + :span_ms < :to_ms
)
SELECT r.start_ms, n, lowest, highest, total, covered_ms
FROM span CROSS JOIN {table} AS r ON r.start_ms = span.start_ms AND r.series_id = :series_id
"""
_NEWEST_SPAN = """
WITH RECURSIVE span(start_ms) AS (
    SELECT :start_ms UNION ALL SELECT start_ms - :span_ms FROM span WHERE start_ms - :span_ms >= :floor_ms
)
SELECT r.start_ms FROM span CROSS JOIN {table} AS r
ON r.start_ms = span.start_ms AND r.series_id = :series_id AND r.n > 0 LIMIT 1
"""
_RAW_SUMS = "SELECT sum(value), count(*) FROM reading WHERE time_ms >= ? AND time_ms < ? AND series_id = ?"
_ROLLED_SUMS = f"SELECT sum(total), sum(n) FROM ({_POINTS.format(table=TABLES[FIVE_MINUTES_S])})"

# Sums over spans, from five-minute roll-ups and, where one is not made yet, the raw readings.
_MEANS = """
WITH due(start_ms) AS (SELECT start_ms FROM rollup_due WHERE start_ms >= :from_ms AND start_ms < :to_ms)
SELECT start_ms - start_ms % :span_ms AS begin_ms, series_id, sum(total), sum(n) FROM (
    SELECT start_ms, series_id, total, n FROM rollup_5min
    WHERE start_ms >= :from_ms AND start_ms < :to_ms AND n > 0 AND start_ms NOT IN (SELECT start_ms FROM due)
    UNION ALL
    SELECT due.start_ms, series_id, value, 1 FROM due
    CROSS JOIN reading ON time_ms >= due.start_ms AND time_ms < due.start_ms + :bucket_ms
) GROUP BY begin_ms, series_id
"""
_HOURS = (
    "SELECT start_ms, series_id, total, n FROM rollup_hour WHERE start_ms >= ? AND start_ms < ? AND n > 0"
)

Row = tuple[int, int, int]  # time_ms, value, quality


class SeriesReader(Connections):
    """Questions about readings. Times are Unix milliseconds UTC, from inclusive, to exclusive."""

    def series(self) -> tuple[Series, ...]:
        """Every quantity of every channel ever heard at this site."""
        with self._snapshot() as db:
            return tuple(self._series(db).values())

    def latest(self, at_ms: int | None = None) -> tuple[Newest, ...]:
        """The newest reading of each series, or the newest at or before a time.

        A series whose raw readings of that time are not kept any more is left out.
        """
        with self._snapshot() as db:
            series = self._series(db)
            found = []
            for series_id, time_ms, value, quality, arrival_ms in db.execute(_LATEST).fetchall():
                if series_id not in series:
                    continue
                if at_ms is None or time_ms <= at_ms:
                    found.append(_newest(series[series_id], (time_ms, value, quality), arrival_ms))
                    continue
                row = _newest_before(db, series_id, at_ms + 1)
                if row is not None:
                    found.append(_newest(series[series_id], row, None))
            return tuple(found)

    def worst_quality(self, series_id: int, from_ms: int, to_ms: int) -> TimeQuality | None:
        """How the worst of the raw readings of a window got its time; None where none is kept."""
        with self._snapshot() as db:
            row = db.execute(
                "SELECT max(quality) FROM reading WHERE time_ms >= ? AND time_ms < ? AND series_id = ?",
                (from_ms, to_ms, series_id),
            ).fetchone()
        return None if row[0] is None else _QUALITY[row[0]]

    def points(self, series_id: int, from_ms: int, to_ms: int, span_s: int) -> tuple[RollUp, ...]:
        """Roll-ups of the spans that begin in the window, oldest first; what is not there is a gap.

        The newest span appears once it is over and rolled up.
        """
        if span_s not in TABLES:
            raise BadInputError(f"span must be one of {', '.join(map(str, TABLES))} seconds, not {span_s}")
        span_ms = span_s * 1000
        from_ms = -(-from_ms // span_ms) * span_ms
        if to_ms - from_ms > POINTS_MAX * span_ms:
            raise BadInputError(
                f"at most {POINTS_MAX} points at once: ask for a shorter time or a longer span"
            )
        if from_ms >= to_ms:
            return ()
        with self._snapshot() as db:
            per_unit = _per_unit(db, series_id)
            rows = db.execute(
                _POINTS.format(table=TABLES[span_s]), _window(series_id, from_ms, to_ms, span_ms)
            )
            return tuple(_roll_up(row, per_unit) for row in rows.fetchall())

    def raw(self, series_ids: Sequence[int], from_ms: int, to_ms: int) -> tuple[RawReading, ...]:
        """Readings as they came, in time order; reads all series of the window, so ask for short ones."""
        marks = ", ".join("?" * len(series_ids))
        sql = (
            "SELECT time_ms, series_id, value, quality FROM reading WHERE time_ms >= ? AND time_ms < ?"
            f" AND series_id IN ({marks}) ORDER BY time_ms, series_id"
        )
        with self._snapshot() as db:
            series = self._series(db)
            rows = db.execute(sql, (from_ms, to_ms, *series_ids)).fetchall()
            return tuple(_raw(row, series[row[1]]) for row in rows)

    def means(self, from_ms: int, to_ms: int, span_ms: int) -> dict[tuple[int, int], float]:
        """Mean of each series over each span of a window that has a reading, by (series id, start).

        The window and the span are whole multiples of five minutes. Where only hours are kept any more,
        an hour's mean stands for each span in it.
        """
        with self._snapshot() as db:
            per_unit = {key: _PER_UNIT[item.quantity] for key, item in self._series(db).items()}
            fine_ms = db.execute("SELECT min(start_ms) FROM rollup_5min").fetchone()[0]
            found: dict[tuple[int, int], float] = {}
            if fine_ms is not None and from_ms < fine_ms:
                for start_ms, series_id, total, n in db.execute(_HOURS, (from_ms, to_ms)).fetchall():
                    for each_ms in range(start_ms, start_ms + HOUR_S * 1000, span_ms):
                        if series_id in per_unit:
                            found[series_id, each_ms] = total / n / per_unit[series_id]
            where = {"from_ms": from_ms, "to_ms": to_ms, "span_ms": span_ms, "bucket_ms": BUCKET_MS}
            for start_ms, series_id, total, n in db.execute(_MEANS, where).fetchall():
                if series_id in per_unit:
                    found[series_id, start_ms] = total / n / per_unit[series_id]
            return found

    def oldest_ms(self) -> int | None:
        """When anything was first heard, to five minutes, later to the day; None before any."""
        with self._snapshot() as db:
            day_ms = db.execute("SELECT min(start_ms) FROM rollup_day").fetchone()[0]
            fine_ms = db.execute(
                "SELECT min(start_ms) FROM rollup_5min WHERE start_ms < ?", ((day_ms or 0) + DAY_S * 1000,)
            ).fetchone()[0]
            due_ms = db.execute("SELECT min(start_ms) FROM rollup_due").fetchone()[0]
            known = [ms for ms in (fine_ms if fine_ms is not None else day_ms, due_ms) if ms is not None]
            return min(known, default=None)

    def mean_over(self, series_id: int, from_ms: int, to_ms: int) -> float | None:
        """Mean of the readings in a window, as far back as five-minute roll-ups are kept; None without any.

        Whole spans count by their roll-ups; what is not rolled up, and the ends, by raw readings.
        """
        with self._snapshot() as db:
            total = n = 0
            for start_ms, stop_ms, is_rolled_up in _stretches(db, from_ms, to_ms):
                if is_rolled_up:
                    row = db.execute(
                        _ROLLED_SUMS, _window(series_id, start_ms, stop_ms, BUCKET_MS)
                    ).fetchone()
                else:
                    row = db.execute(_RAW_SUMS, (start_ms, stop_ms, series_id)).fetchone()
                total, n = total + (row[0] or 0), n + (row[1] or 0)
            return total / n / _per_unit(db, series_id) if n else None

    def _series(self, db: sqlite3.Connection) -> dict[int, Series]:
        rows = db.execute(_SERIES, (self._site_id,)).fetchall()
        return {
            series_id: Series(
                series_id=series_id,
                node=node,
                channel=channel,
                quantity=_QUANTITY[code],
                due_s=None if due_ms is None else due_ms / 1000,
            )
            for series_id, node, channel, code, due_ms in rows
        }


def _newest_before(db: sqlite3.Connection, series_id: int, end_ms: int) -> Row | None:
    """Roll-ups tell where to look; spans that are not rolled up yet are looked at themselves."""
    candidates = [_search(db, series_id, _oldest_ms(db), end_ms, _SPANS_COARSE_FIRST_S)]
    for start_ms, stop_ms in runs(_due(db, 0, end_ms), BUCKET_MS):
        candidates.append(db.execute(_NEWEST_RAW, (start_ms, min(stop_ms, end_ms), series_id)).fetchone())
    return max((row for row in candidates if row is not None), default=None)


def _search(
    db: sqlite3.Connection, series_id: int, floor_ms: int, end_ms: int, spans_s: tuple[int, ...]
) -> Row | None:
    """Down from days to hours to five minutes, then the raw rows of that span."""
    if not spans_s:
        row: Row | None = db.execute(_NEWEST_RAW, (floor_ms, end_ms, series_id)).fetchone()
        return row
    span_ms = spans_s[0] * 1000
    sql = _NEWEST_SPAN.format(table=TABLES[spans_s[0]])
    start_ms = (end_ms - 1) // span_ms * span_ms
    while start_ms >= floor_ms:
        where = {"start_ms": start_ms, "span_ms": span_ms, "floor_ms": floor_ms, "series_id": series_id}
        span = db.execute(sql, where).fetchone()
        if span is None:
            return None
        found = _search(db, series_id, span[0], min(span[0] + span_ms, end_ms), spans_s[1:])
        if found is not None:
            return found
        start_ms = span[0] - span_ms
    return None


def _oldest_ms(db: sqlite3.Connection) -> int:
    """The first day that may still have raw readings."""
    first_ms = db.execute("SELECT min(start_ms) FROM rollup_day").fetchone()[0]
    kept_ms = accept_from_ms(db) - 2 * DAY_S * 1000
    oldest_ms = max(first_ms or 0, kept_ms)
    return oldest_ms - oldest_ms % (DAY_S * 1000)


def _stretches(db: sqlite3.Connection, from_ms: int, to_ms: int) -> list[tuple[int, int, bool]]:
    """The window as stretches (from, to, told by roll-ups?)."""
    first_ms, last_ms = -(-from_ms // BUCKET_MS) * BUCKET_MS, to_ms // BUCKET_MS * BUCKET_MS
    if first_ms >= last_ms:
        return [(from_ms, to_ms, False)]
    stretches = [(from_ms, first_ms, False)]
    for start_ms, stop_ms in runs(_due(db, first_ms, last_ms), BUCKET_MS):
        stretches += [(first_ms, start_ms, True), (start_ms, stop_ms, False)]
        first_ms = stop_ms
    stretches += [(first_ms, last_ms, True), (last_ms, to_ms, False)]
    return [stretch for stretch in stretches if stretch[0] < stretch[1]]


def _due(db: sqlite3.Connection, from_ms: int, to_ms: int) -> list[int]:
    sql = "SELECT start_ms FROM rollup_due WHERE start_ms >= ? AND start_ms < ? ORDER BY start_ms"
    return [row[0] for row in db.execute(sql, (from_ms, to_ms)).fetchall()]


def _window(series_id: int, from_ms: int, to_ms: int, span_ms: int) -> dict[str, int]:
    return {"series_id": series_id, "from_ms": from_ms, "to_ms": to_ms, "span_ms": span_ms}


def _per_unit(db: sqlite3.Connection, series_id: int) -> int:
    row = db.execute("SELECT quantity FROM series WHERE series_id = ?", (series_id,)).fetchone()
    if row is None:
        raise BadInputError(f"there is no series {series_id}")
    return _PER_UNIT[_QUANTITY[row[0]]]


def _newest(series: Series, row: Row, arrival_ms: int | None) -> Newest:
    time_ms, value, quality = row
    return Newest(
        series=series,
        time_ms=time_ms,
        value=value / _PER_UNIT[series.quantity],
        quality=_QUALITY[quality],
        arrival_ms=arrival_ms,
    )


def _raw(row: tuple[int, int, int, int], series: Series) -> RawReading:
    time_ms, series_id, value, quality = row
    return RawReading(
        series_id=series_id,
        time_ms=time_ms,
        value=value / _PER_UNIT[series.quantity],
        quality=_QUALITY[quality],
    )


def _roll_up(row: tuple[int, int, int | None, int | None, int | None, int], per_unit: int) -> RollUp:
    start_ms, n, lowest, highest, total, covered_ms = row
    return RollUp(
        start_ms=start_ms,
        n=n,
        lowest=None if lowest is None else lowest / per_unit,
        highest=None if highest is None else highest / per_unit,
        mean=None if total is None else total / n / per_unit,
        covered_ms=covered_ms,
    )
