"""Questions are answered as a plain look through all readings would, without looking through them all."""

import sqlite3
import tempfile
import threading
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import BadInputError
from monitor.model.batch import Batch
from monitor.model.history import RollUp
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store import series_reader
from monitor.store.reader import Reader
from monitor.store.store import Store

START_MS = 1_767_225_600_000
FOUR_DAYS_S = 4 * 86_400
moments = st.tuples(st.sampled_from("abc"), st.integers(0, FOUR_DAYS_S) | st.integers(0, 900))
asked = st.lists(st.integers(-10, FOUR_DAYS_S + 10) | st.integers(-10, 1000), min_size=1, max_size=8)


def _apply(store, offered):
    readings = [
        Reading(
            node="n",
            channel=channel,
            quantity=Quantity.HUMIDITY,
            time_ms=START_MS + at_s * 1000,
            value=at_s % 97 / 4,
            quality=TimeQuality.SYNCED,
        )
        for channel, at_s in offered
    ]
    store.apply(Batch(readings=readings, due_s={("n", "a"): 60.0}, newest_ms=START_MS))


@settings(max_examples=60, deadline=None)
@given(early=st.lists(moments, max_size=30), late=st.lists(moments, max_size=10), at_s=asked)
def test_the_newest_at_any_time_equals_a_look_through_all_readings(early, late, at_s):
    """`status --at` must find the newest reading also of sensors that were silent for days by then."""
    with tempfile.TemporaryDirectory() as folder, closing(Store(Path(folder) / "s.db")) as store:
        _apply(store, early)
        store.roll_up(START_MS + FOUR_DAYS_S * 2000)
        _apply(store, late)  # not rolled up
        with closing(Reader(Path(folder) / "s.db")) as reader:
            for at in at_s:
                found = {n.series.channel: n.time_ms for n in reader.latest(START_MS + at * 1000)}
                before = [(channel, moment) for channel, moment in early + late if moment <= at]
                assert found == {channel: START_MS + moment * 1000 for channel, moment in sorted(before)}


@settings(max_examples=60, deadline=None)
@given(early=st.lists(moments, max_size=30), late=st.lists(moments, max_size=10), at_s=asked)
def test_the_mean_over_any_window_equals_the_mean_of_its_readings(early, late, at_s):
    """Roll-ups, readings that are not rolled up and cut spans at both ends must add up to the same."""
    with tempfile.TemporaryDirectory() as folder, closing(Store(Path(folder) / "s.db")) as store:
        _apply(store, early)
        store.roll_up(START_MS + FOUR_DAYS_S * 2000)
        _apply(store, late)
        with closing(Reader(Path(folder) / "s.db")) as reader:
            ids = {series.channel: series.series_id for series in reader.series()}
            for channel, series_id in ids.items():
                for from_s, to_s in zip([0, *at_s], [*at_s, FOUR_DAYS_S], strict=True):
                    moments_in = {m for c, m in early + late if c == channel and from_s <= m < to_s}
                    values = [moment % 97 / 4 for moment in moments_in]
                    mean = reader.mean_over(series_id, START_MS + from_s * 1000, START_MS + to_s * 1000)
                    assert mean == (pytest.approx(sum(values) / len(values)) if values else None)


def test_points_are_the_roll_ups_that_begin_in_the_window(
    store, reader, reading, batch, roll_up_all, start_ms
):
    """A chart's window seldom begins on the edge of a span."""
    store.apply(
        batch(*(reading(at_s, at_s / 60) for at_s in range(0, 1200, 60)), reading(30, channel="other"))
    )
    roll_up_all(store)
    ids = {series.channel: series.series_id for series in reader.series()}
    points = reader.points(ids["air"], start_ms + 1, start_ms + 600_001, 300)
    assert points == (
        RollUp(start_ms=start_ms + 300_000, n=5, lowest=5.0, highest=9.0, mean=7.0, covered_ms=300_000),
        RollUp(start_ms=start_ms + 600_000, n=5, lowest=10.0, highest=14.0, mean=12.0, covered_ms=300_000),
    )
    assert reader.points(ids["air"], start_ms + 1, start_ms + 2, 300) == ()


def test_a_silent_time_is_a_gap_not_a_value(store, reader, reading, batch, roll_up_all, start_ms):
    """A-36: a gap is drawn as a gap."""
    store.apply(batch(reading(0), reading(3000)))
    roll_up_all(store)
    points = reader.points(1, start_ms, start_ms + 3_600_000, 300)
    assert [(point.start_ms - start_ms, point.covered_ms) for point in points] == [
        (0, 60_000),
        (3_000_000, 60_000),
    ]


@pytest.mark.parametrize(("span_s", "to_ms"), [(60, 10**13), (300, 10**15)])
def test_a_question_without_bounds_is_refused(store, reader, reading, batch, span_s, to_ms):
    """One request must not hold a page's thread for minutes."""
    store.apply(batch(reading(0)))
    with pytest.raises(BadInputError):
        reader.points(1, 0, to_ms, span_s)


def test_a_series_that_is_not_there_is_named(reader):
    """A mistyped number must not look like silence."""
    with pytest.raises(BadInputError, match="no series 99"):
        reader.points(99, 0, 300_000, 300)


def _scanned(db, sql, marks):
    plan = db.execute("EXPLAIN QUERY PLAN " + sql, marks).fetchall()
    return {row[3] for row in plan if row[3].startswith("SCAN")}


def test_charts_and_look_backs_never_scan_other_series(store, database, reading, batch):
    """With 28 series in time order a scan reads 28 times too much; look-ups by key read one row each."""
    store.apply(batch(reading(0)))
    window = {"series_id": 1, "from_ms": 0, "to_ms": 10, "span_ms": 5, "start_ms": 5, "floor_ms": 0}
    with closing(sqlite3.connect(database)) as db:
        for sql in (series_reader._POINTS, series_reader._NEWEST_SPAN):
            scanned = _scanned(db, sql.format(table="rollup_5min"), window)
            assert scanned == {"SCAN CONSTANT ROW", "SCAN span"}  # the list of starts, and no table


def test_a_reader_cannot_write(reader):
    """Pages and commands only ask; there is one writer."""
    with reader._snapshot() as db, pytest.raises(sqlite3.OperationalError, match="readonly"):
        db.execute("DELETE FROM reading")


def test_readers_in_threads_do_not_pin_the_log_or_see_half_a_batch(store, reader, database, reading, batch):
    """Each batch writes two series the same value; no reader may ever see them differ."""
    stop, torn = threading.Event(), []

    def look():
        while not stop.is_set():
            if len({newest.value for newest in reader.latest()}) > 1:
                torn.append(True)

    threads = [threading.Thread(target=look) for _ in range(3)]
    for thread in threads:
        thread.start()
    for at_s in range(600):
        store.apply(batch(reading(at_s, at_s / 10), reading(at_s, at_s / 10, channel="twin")))
    stop.set()
    for thread in threads:
        thread.join()
    assert not torn
    assert Path(f"{database}-wal").stat().st_size < 12_000_000
