"""Alarms as rows: once is enough, nothing is changed afterwards, old lines go and numbers go on."""

import sqlite3
from contextlib import closing

import pytest

from monitor.errors import StoreError
from monitor.model.alarm_change import AlarmChanges, AlarmFigure, AlarmTransition, KeptAlarm
from monitor.model.batch import Batch
from monitor.store.alarms import KEEP_LOG_MS
from monitor.store.reader import Reader
from monitor.store.store import Store

AT_MS = 1_790_000_000_000


def _line(number, at_ms=AT_MS, **more):
    plain = {
        "number": number,
        "at_ms": at_ms,
        "key": "humidity_high-b1",
        "type": "humidity_high",
        "place": "b1",
        "activation": "a-1",
        "what": "activated",
        "was": "norm",
        "now": "unack",
        "priority": "low",
        "who": "monitor",
        "told": True,
    }
    return AlarmTransition(**(plain | more))


def _batch():
    figure = AlarmFigure(
        type="humidity_high", name="deadband", old=2.0, value=None, who="Kim", why="noisy", at_ms=AT_MS
    )
    return Batch(
        alarms=AlarmChanges(
            states={
                "humidity_high-b1": KeptAlarm(shown="unack", content="{}"),
                "-desk": KeptAlarm(shown="norm", content="[]"),
            },
            log=[_line(1, waited_s=600.5), _line(2, what="cleared")],
            figures=[figure],
        )
    )


@pytest.fixture
def store(tmp_path):
    with closing(Store(tmp_path / "a.db", "lab")) as made:
        yield made


@pytest.fixture
def reader(tmp_path):
    with closing(Reader(tmp_path / "a.db", "lab")) as made:
        yield made


def test_what_was_written_is_read_again_and_once_is_enough(store, reader):
    """A batch that is tried again writes nothing twice."""
    store.apply(_batch())
    store.apply(_batch())
    kept = store.load().alarms
    assert kept.states == {"humidity_high-b1": "{}", "-desk": "[]"}
    assert kept.newest_number == 2
    assert kept.figures == tuple(_batch().alarms.figures)
    assert reader.alarms() == ("{}",)
    assert reader.alarm_log(0, AT_MS + 1) == tuple(_batch().alarms.log)
    assert reader.alarm_figures() == kept.figures


def test_of_too_many_lines_the_newest_are_read(store, reader):
    store.apply(_batch())
    assert [line.number for line in reader.alarm_log(0, AT_MS + 1, limit=1)] == [2]


def test_the_lines_of_one_alarm_are_read_for_themselves(store, reader):
    """Many lines of others push none of them out."""
    others = [_line(number, key="other-b1") for number in range(2, 8)]
    store.apply(Batch(alarms=AlarmChanges(log=[_line(1), *others])))
    (line,) = reader.alarm_log(0, 2**62, 3, _line(1).key)
    assert line == _line(1)


@pytest.mark.parametrize("table", ["alarm_log", "alarm_figure"])
def test_lines_are_never_changed(store, tmp_path, table):
    """A-13, A-32."""
    store.apply(_batch())
    with closing(sqlite3.connect(tmp_path / "a.db")) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(f"UPDATE {table} SET who = 'nobody'")


def test_old_lines_go_and_numbers_go_on(store, reader):
    store.apply(Batch(alarms=AlarmChanges(log=[_line(1), _line(2)])))
    store.prune(AT_MS + KEEP_LOG_MS + 1)
    assert [line.number for line in reader.alarm_log(0, 2**62)] == [2]
    assert store.load().alarms.newest_number == 2


def test_a_text_beyond_its_bound_is_refused_whole(store):
    """A bounded column: nothing of such a batch is written."""
    batch = _batch()
    batch.alarms.states["big-b1"] = KeptAlarm(shown="norm", content="x" * 70_000)
    with pytest.raises(StoreError):
        store.apply(batch)
    assert store.load().alarms.states == {}
