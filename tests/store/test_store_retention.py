"""Old rows go in their order and never before what is made of them."""

from contextlib import closing

import pytest

from monitor.model.history import Applied, Retention
from monitor.store import retention
from monitor.store.reader import Reader
from monitor.store.store import Store

DAY_S = 86_400
DAY_MS = DAY_S * 1000


@pytest.fixture
def store(database):
    keep = Retention(raw_days=2, five_minute_days=4, hour_days=6)
    with closing(Store(database, "lab", keep=keep)) as opened:
        yield opened


@pytest.fixture
def filled(store, reading, batch, roll_up_all):
    """Ten days, a reading an hour, all rolled up."""
    store.apply(
        batch(*(reading(at_s, value=at_s / DAY_S) for at_s in range(0, 10 * DAY_S, 3600)), due_s=3600.0)
    )
    roll_up_all(store)
    return store


def _prune_all(store, now_ms):
    while store.prune(now_ms).more:
        pass


def _oldest(query):
    tables = {
        "reading": "time_ms",
        "rollup_5min": "start_ms",
        "rollup_hour": "start_ms",
        "rollup_day": "start_ms",
    }
    return [query(f"SELECT min({column}) FROM {table}")[0][0] for table, column in tables.items()]


def test_each_kind_of_row_is_kept_for_its_time(filled, query, start_ms):
    """A card of 8 GB must last for years, and days are worth keeping for ever."""
    now_ms = start_ms + 10 * DAY_MS
    _prune_all(filled, now_ms)
    assert _oldest(query) == [now_ms - 2 * DAY_MS, now_ms - 4 * DAY_MS, now_ms - 6 * DAY_MS, start_ms]


def test_pruning_is_bounded_and_ends_at_the_same_place(filled, query, start_ms, monkeypatch):
    """The writer must not stand still while a year is deleted."""
    monkeypatch.setattr(retention, "ROWS_A_CALL", 11)
    now_ms = start_ms + 10 * DAY_MS
    first = filled.prune(now_ms)
    assert first.more
    assert first.rows <= 3 * 12 * 2
    _prune_all(filled, now_ms)
    assert _oldest(query) == [now_ms - 2 * DAY_MS, now_ms - 4 * DAY_MS, now_ms - 6 * DAY_MS, start_ms]


def test_readings_that_are_not_rolled_up_are_not_deleted(store, reading, batch, query, start_ms, roll_up_all):
    """After months without power everything is old before it was ever rolled up."""
    store.apply(batch(*(reading(at_s) for at_s in range(0, DAY_S, 3600))))
    _prune_all(store, start_ms + 100 * DAY_MS)
    assert query("SELECT count(*) FROM reading") == [(24,)]
    roll_up_all(store)
    _prune_all(store, start_ms + 100 * DAY_MS)
    assert query("SELECT count(*) FROM reading") == [(0,)]
    assert query("SELECT n FROM rollup_day") == [(24,)]


def test_a_reading_later_than_what_is_kept_cannot_spoil_an_old_roll_up(
    filled, reading, batch, query, start_ms, roll_up_all
):
    """Its span made anew from what is left would say 1 reading where there were many; refused and counted."""
    now_ms = start_ms + 10 * DAY_MS
    _prune_all(filled, now_ms)
    tables = ("rollup_5min", "rollup_hour", "rollup_day")
    before = [query(f"SELECT * FROM {table}") for table in tables]
    late = batch(reading(DAY_S + 7), reading(8 * DAY_S - 1), newest_ms=now_ms)
    assert filled.apply(late) == Applied(too_late=2)
    assert filled.apply(late) == Applied(too_late=2)
    roll_up_all(filled)
    assert [query(f"SELECT * FROM {table}") for table in tables] == before
    assert query("SELECT value FROM counter WHERE name = 'too_late'") == [(2,)]
    assert query("SELECT count(*) FROM quarantine") == [(1,)]


def test_late_readings_at_the_edge_of_what_is_kept_are_rolled_up_right(
    filled, reading, batch, query, start_ms, roll_up_all
):
    """Just inside, every neighbour that the roll-up needs must still be there."""
    _prune_all(filled, start_ms + 10 * DAY_MS)
    (edge_ms,) = query("SELECT accept_from_ms FROM kept")[0]
    before = query("SELECT sum(n), sum(covered_ms) FROM rollup_day")[0]
    edge_s = (edge_ms - start_ms) / 1000
    assert filled.apply(batch(reading(edge_s - 0.001), due_s=3600.0)).too_late == 1
    assert filled.apply(batch(reading(edge_s), due_s=3600.0)).stored == 1
    roll_up_all(filled)
    assert query("SELECT sum(n), sum(covered_ms) FROM rollup_day") == [(before[0] + 1, before[1])]


def test_old_readings_come_in_where_nothing_was_deleted(store, reading, batch, query, start_ms, roll_up_all):
    """An old capture fed into a new database is not refused for its age."""
    _prune_all(store, start_ms + 500 * DAY_MS)
    assert store.apply(batch(reading(0), reading(60))).stored == 2
    roll_up_all(store)
    assert query("SELECT n FROM rollup_day") == [(2,)]


def test_the_newest_reading_of_a_silent_sensor_stays_known(filled, database, start_ms):
    """A box whose sensor died two months ago shows its age, not nothing."""
    _prune_all(filled, start_ms + 60 * DAY_MS)
    with closing(Reader(database)) as reader:
        (newest,) = reader.latest()
        assert newest.time_ms == start_ms + 10 * DAY_MS - 3_600_000
        assert reader.latest(start_ms + 5 * DAY_MS) == ()
        assert len(reader.points(newest.series.series_id, start_ms, start_ms + 10 * DAY_MS, DAY_S)) == 10
