"""Roll-ups agree with what is counted from the raw readings by hand, whatever order those came in."""

import sqlite3
import tempfile
from collections import defaultdict
from contextlib import closing
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.model.batch import Batch
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store import rolling
from monitor.store.rollups import HOLD_CAP_MS, HOLD_UNKNOWN_MS, bucketed, hold_ms, usual_spacing_ms
from monitor.store.store import Store

START_MS = 1_767_225_600_000
TICK_S = 10  # all times and holds of these cases are multiples of it, so cover can be counted in ticks
SPANS_S = {300: "rollup_5min", 3600: "rollup_hour", 86400: "rollup_day"}
DUE_S = {"a": 60.0, "b": 600.0, "c": 7200.0}  # the last beyond the cap of an hour

offers = st.lists(
    st.tuples(
        st.sampled_from(sorted(DUE_S)),
        st.integers(0, 26 * 360) | st.integers(0, 60),  # ticks: over more than a day, or close together
        st.integers(0, 9),
    ),
    max_size=40,
)
steps = st.lists(st.tuples(offers, st.booleans()), min_size=1, max_size=5)


def _reading(channel, tick, value):
    return Reading(
        node="n1",
        channel=channel,
        quantity=Quantity.TEMPERATURE,
        time_ms=START_MS + tick * TICK_S * 1000,
        value=value / 2,
        quality=TimeQuality.SYNCED,
    )


def _counted_by_hand(raw, hold_ticks, span_s):
    """From {(channel, tick): value}: sets of covered ticks and lists of values, nothing clever."""
    span_ticks = span_s // TICK_S
    values, covered = defaultdict(list), defaultdict(set)
    for (channel, tick), value in raw.items():
        values[channel, tick // span_ticks].append(value)
        for held in range(tick, tick + hold_ticks[channel]):
            covered[channel, held // span_ticks].add(held)
    return {
        (START_MS + index * span_s * 1000, channel): (
            len(values[channel, index]),
            min(values[channel, index], default=None),
            max(values[channel, index], default=None),
            sum(values[channel, index]) if values[channel, index] else None,
            len(covered[channel, index]) * TICK_S * 1000,
        )
        for channel, index in set(values) | set(covered)
    }


def _in_the_file(path, table):
    sql = (
        "SELECT start_ms, channel, n, lowest, highest, total, covered_ms"
        f" FROM {table} JOIN series USING (series_id)"
    )
    with closing(sqlite3.connect(path)) as db:
        return {row[:2]: row[2:] for row in db.execute(sql).fetchall()}


@settings(max_examples=60, deadline=None)
@given(steps=steps)
def test_roll_ups_equal_a_count_by_hand_for_any_order_of_arrival(steps):
    """C-03: late, repeated and reordered readings leave the same roll-ups as a clean run."""
    with tempfile.TemporaryDirectory() as folder:
        path, raw = Path(folder) / "site.db", {}
        with closing(Store(path)) as store:
            for offered, roll_up in steps:
                readings = [_reading(*offer) for offer in offered]
                due = {("n1", channel): due_s for channel, due_s in DUE_S.items()}
                store.apply(Batch(readings=readings, due_s=due, newest_ms=START_MS))
                for channel, tick, value in offered:
                    raw.setdefault((channel, tick), value * 500)  # the first of a moment wins
                if roll_up:
                    store.roll_up(START_MS + 13 * 3_600_000)  # in the middle of it all
            while store.roll_up(START_MS + 3 * 86_400_000).more:
                pass
        hold_ticks = {channel: round(min(due_s, 3600) / TICK_S) for channel, due_s in DUE_S.items()}
        for span_s, table in SPANS_S.items():
            assert _in_the_file(path, table) == _counted_by_hand(raw, hold_ticks, span_s)


def test_many_readings_are_rolled_up_in_pieces_without_loss(store, reading, batch, query, monkeypatch):
    """A long catch-up must not hold the writer for minutes, nor may its pieces overlap or leave gaps."""
    monkeypatch.setattr(rolling, "ROWS_A_PIECE", 7)
    monkeypatch.setattr(rolling, "ROWS_A_CALL", 20)
    store.apply(batch(*(reading(at_s, value=at_s % 7) for at_s in range(0, 7200, 60))))
    calls = 1
    while store.roll_up(1_768_000_000_000).more:
        calls += 1
    assert calls > 3
    assert query("SELECT count(*), sum(n), sum(covered_ms) FROM rollup_5min") == [(24, 120, 7_200_000)]
    assert query("SELECT n, covered_ms FROM rollup_hour") == [(60, 3_600_000)] * 2


def test_rolling_up_again_changes_nothing(store, reading, batch, query, roll_up_all):
    """A crash between a commit and its answer makes the worker ask again."""
    store.apply(batch(*(reading(at_s) for at_s in range(0, 4000, 60))))
    roll_up_all(store)
    before = [query(f"SELECT * FROM {table}") for table in SPANS_S.values()]
    store.apply(batch(*(reading(at_s) for at_s in range(0, 4000, 60))))
    roll_up_all(store)
    assert [query(f"SELECT * FROM {table}") for table in SPANS_S.values()] == before


def test_a_span_that_is_not_over_yet_waits(store, reading, batch, query, start_ms):
    """Each roll-up is written once in the plain case: the card is spared."""
    store.apply(batch(reading(10)))
    store.roll_up(start_ms + 299_999)
    assert query("SELECT count(*) FROM rollup_5min") == [(0,)]
    store.roll_up(start_ms + 300_000)
    assert query("SELECT n FROM rollup_5min") == [(1,)]


def test_readings_in_step_mark_one_span_as_due_not_one_a_series(store, reading, batch, query):
    """The mark is written with the readings, so it must cost next to nothing."""
    channels = [f"c{number}" for number in range(50)]
    store.apply(batch(*(reading(10, channel=channel) for channel in channels)))
    store.apply(batch(*(reading(20, channel=channel) for channel in channels)))
    assert query("SELECT count(*) FROM rollup_due WHERE start_ms = 1767225600000") == [(1,)]
    assert query("SELECT count(*) FROM rollup_due")[0][0] <= 13  # an hour ahead: `ut` was not known at first


def test_what_one_reading_covers_reaches_into_the_next_span():
    """A sensor that speaks every ten minutes is no gap in every second five minutes."""
    rows = bucketed([(290_000, 1, 5)], {1: 600_000}, 0, 900_000, 300_000)
    assert rows == [
        (0, 1, 1, 5, 5, 5, 10_000),
        (300_000, 1, 0, None, None, None, 300_000),
        (600_000, 1, 0, None, None, None, 290_000),
    ]


def test_a_reading_from_before_the_window_covers_but_does_not_count():
    """Each reading belongs to one span only, or water would be counted twice."""
    assert bucketed([(-50_000, 1, 5)], {1: 100_000}, 0, 300_000, 300_000) == [
        (0, 1, 0, None, None, None, 50_000)
    ]


def test_without_due_time_the_hold_is_learned_from_the_spacing(store, reading, batch, query, roll_up_all):
    """C-13: a node that sends no `ut` still has gaps that are gaps."""
    store.apply(batch(*(reading(at_s) for at_s in range(0, 600, 30)), due_s=None))
    roll_up_all(store)
    assert query("SELECT due_ms, spacing_ms FROM series") == [(None, 30_000)]
    assert query("SELECT sum(covered_ms) FROM rollup_5min") == [(570_000 + 60_000,)]


def test_holds_are_bounded():
    """What a reading can change must stay within an hour of it."""
    assert hold_ms(None, None) == HOLD_UNKNOWN_MS
    assert hold_ms(None, 60_000) == 120_000
    assert hold_ms(90_000, 60_000) == 90_000
    assert hold_ms(10**9, None) == hold_ms(None, 10**9) == HOLD_CAP_MS
    assert usual_spacing_ms([0, 10, 20]) is None
    assert usual_spacing_ms([0, 10, 20, 500]) == 10
