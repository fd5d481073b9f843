"""Rows of sensors: every kind comes back as it was written, once, and wipes what it makes untrue."""

import pytest

from monitor.model.batch import Batch
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import (
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
)
from monitor.model.spool_event import Checkpoint
from monitor.store.spools import write_checkpoints

CHECKED = Checked(
    salt="lithium_chloride", temperature_c=22.5, reading_pct=9.1, shown_pct=9.1, reference_pct=11.3,
    uncertainty_pct=0.99, tolerance_pct=1.8,
)  # fmt: skip
KINDS = (
    Installed(serial="Ä-17 µ", tolerance_pct=1.0, interval_months=6),
    InJar(salt="lithium_chloride"),
    CHECKED,
    Back(),
    Compared(others=("n1/a", "n1/b"), shown_pct=44.0, others_pct=45.0, allowed_pct=2.5, is_odd=False),
    CorrectionSet(offset_pct=2.2, gain=0.98, uncertainty_pct=1.0, checks=(3,)),
    CorrectionSet(offset_pct=0.0, gain=1.0),
    Mapped(
        corners=(
            Corner(name="low", humidity_pct=15.5, hours=24.0),
            Corner(name="at the „bag“", humidity_pct=11.0, hours=24.0),
        ),
        spread_pct=4.5,
        is_uneven=True,
        is_short=False,
        sits_at="at the „bag“",
    ),
    Mapped(corners=(), spread_pct=0.0, is_uneven=False, is_short=True),
    Seated(sits_at="low"),
    Withdrawn(why="'; DROP TABLE sensor_event; --"),
)


def event(what, number, at_s=1_767_225_600.125, replaces=None):
    return SensorEvent(
        channel="n1/a",
        at_s=at_s,
        entered_s=at_s + 1.0,
        who="mara",
        what=what,
        event_id=number,
        replaces=replaces,
    )


def test_every_kind_comes_back_as_it_was_written(store, reader):
    """A record that changes on its way through the store is no record."""
    events = [event(what, number) for number, what in enumerate(KINDS, start=1)]
    store.apply(Batch(sensor_events=events, newest_ms=1))
    assert reader.sensor_events() == {"n1/a": tuple(events)}
    assert store.load().newest_sensor_event_id == len(KINDS)


def test_the_same_batch_twice_writes_once(store, reader):
    """A batch that is tried again after a busy database must not double a record."""
    batch = Batch(sensor_events=[event(CHECKED, 1)], newest_ms=1)
    store.apply(batch)
    store.apply(batch)
    assert len(reader.sensor_events()["n1/a"]) == 1


@pytest.mark.parametrize(
    ("what", "replaces", "left"),
    [
        (CHECKED, None, [1_000, 2_000]),
        (KINDS[4], None, [1_000, 2_000, 3_000]),
        (CorrectionSet(offset_pct=1.0, gain=1.0), None, [1_000, 2_000]),
        (InJar(salt="x"), None, [1_000, 2_000]),
        (Withdrawn(why="no"), 1, [1_000]),
    ],
)
def test_states_after_what_changes_the_air_are_gone(store, reader, what, replaces, left):
    """A kept state exists only while it is true: from the earlier of a record and what it replaces."""
    first = event(CorrectionSet(offset_pct=2.0, gain=1.0), 1, at_s=1.5)
    store.apply(Batch(sensor_events=[first], newest_ms=1))
    states = [
        Checkpoint(spool="s", at_ms=at_ms, content=b"x", mean_pct=(1.0, 2.0, 3.0), outer_pct=(1.0, 2.0, 3.0))
        for at_ms in (1_000, 2_000, 3_000)
    ]
    write_checkpoints(store._db, store._site_id, states)
    store._db.commit()
    store.apply(Batch(sensor_events=[event(what, 2, at_s=2.5, replaces=replaces)], newest_ms=1))
    assert [row.at_ms for row in reader.spool_course("s", 0, 10_000)] == left
