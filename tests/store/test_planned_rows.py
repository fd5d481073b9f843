"""Planned starts as rows: what goes in comes out, what an earlier release wrote is read or told."""

import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

from monitor.model.batch import Batch
from monitor.model.planned_start import PlannedStart, PlannedState, SeenSpool, UnreadableStart
from monitor.store.connection import open_writer
from monitor.store.migrate import migrate, migrations
from monitor.store.reader import Reader
from monitor.store.store import Store

START = PlannedStart(
    number=3, oven="kiln", load=("grey", "blue"), is_tray=False, setpoint_c=55.5, duration_s=7200.0, needed_s=7300.5,
    limited_by="the reel of grey", unattended=True, start_s=1_790_000_000.25, due_s=1_790_050_000.0, who="Mira ✓",
    planned_s=1_789_990_000.5, target_pct=0.05, changed_s=1_789_990_000.5,
    spools=(SeenSpool(key="grey", place="crate", left_g=812.5), SeenSpool(key="blue", place=None, left_g=None)),
)  # fmt: skip
# As this release writes them. Later releases must go on reading these, or list them.
TODAY = (
    '{"load": ["grey"], "is_tray": false, "setpoint_c": 55.0, "duration_s": 7200.0, "needed_s": 7200.0, '
    '"limited_by": "grey", "unattended": true, "due_s": null, "target_pct": null, "dry_g": null, '
    '"loading_pct": null, "spools": [["grey", "kiln", 800.0]]}'
)
ROW = "INSERT INTO planned_start VALUES (1, ?, 'kiln', 1790000000000, 1789990000000, 'Mira', ?, ?, 1789990000000, '', NULL)"


def kept(store, *starts):
    store.apply(Batch(planned={start.number: start for start in starts}, newest_ms=1))


@pytest.fixture
def reader(store, database):  # noqa: ARG001 - which makes it
    with closing(Reader(database, "lab")) as opened:
        yield opened


def test_what_was_planned_is_read_as_it_was_written(store, reader):
    """Exactly what the person saw, to the digit; twice written is once."""
    tray = replace(
        START, number=4, is_tray=True, load=("silica_gel_orange",), spools=(), dry_g=300.0, loading_pct=9.0
    )
    for _ in range(2):
        kept(store, START, tray)
    assert reader.planned_starts() == (START, tray)
    assert reader.planned_start(3) == START
    assert reader.planned_start(99) is None
    assert store.load().newest_planned == 4


def test_only_what_became_of_it_changes(store, reader):
    """What was agreed to is never rewritten, whatever a later batch says."""
    kept(store, START)
    kept(
        store,
        replace(START, setpoint_c=99.0, load=("other",), state=PlannedState.ASKED, why="Moved.", cycle="c1"),
    )
    row = reader.planned_start(3)
    assert (row.setpoint_c, row.load) == (55.5, ("grey", "blue"))
    assert (row.state, row.why, row.cycle) == (PlannedState.ASKED, "Moved.", "c1")


@pytest.mark.parametrize("state", list(PlannedState))
def test_the_open_ones_are_listed_and_the_others_kept(store, reader, state):
    """Started and withdrawn ones are history; numbers are never used again."""
    kept(store, replace(START, state=state))
    assert [row.number for row in reader.planned_starts()] == (
        [3] if state in ("planned", "asked", "missed") else []
    )
    assert reader.planned_start(3).state is state
    assert store.load().newest_planned == 3


def test_a_database_of_the_previous_release_opens_and_its_rows_are_there_or_listed(tmp_path):
    """Report 11: upgraded in place; of rows, what is good is read and what is not is told, none is dropped."""
    path, folder = tmp_path / "old.db", tmp_path / "schema"
    folder.mkdir()
    files = migrations()
    mine = next(number for number, file in files.items() if file.name.endswith("planned_starts.sql"))
    for number, file in files.items():
        if number < mine:
            (folder / file.name).write_text(file.read_text())
    with closing(open_writer(path)) as db:
        migrate(db, path, folder)
        assert db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'planned_start'").fetchone() == (
            0,
        )
    with closing(Store(path, "lab")), closing(sqlite3.connect(path)) as db:
        for number, content, state in (
            (1, TODAY, "planned"), (2, TODAY, "snoozed"), (3, TODAY.replace('"needed_s": 7200.0, ', ""), "planned"),
            (4, TODAY.replace("55.0", '"hot"'), "asked"), (5, "\x00", "planned"),
            (6, TODAY.replace('["grey"]', "[]"), "planned"), (7, TODAY.replace("7200.0", "1e999"), "planned"),
            (8, "[" * 20_000, "planned"),
        ):  # fmt: skip
            db.execute(ROW, (number, content, state))
        db.commit()
        with closing(Reader(path, "lab")) as reader:
            good, *unread = reader.planned_starts()
    assert isinstance(good, PlannedStart)
    assert (good.load, good.setpoint_c, good.start_s) == (("grey",), 55.0, 1_790_000_000.0)
    assert [row.number for row in unread] == [2, 3, 4, 5, 6, 7, 8]
    assert all(isinstance(row, UnreadableStart) and row.why for row in unread)
    assert "needed_s" in unread[1].why


def test_an_unreadable_one_can_be_withdrawn_as_it_stands(store, reader, database):
    """Its content stays for whoever can read it."""
    with closing(sqlite3.connect(database)) as db:
        db.execute(ROW, (7, "{", "planned"))
        db.commit()
    (row,) = reader.planned_starts()
    kept(store, row)
    assert reader.planned_starts() == ()
    with closing(sqlite3.connect(database)) as db:
        assert db.execute("SELECT content, state FROM planned_start").fetchall() == [("{", "withdrawn")]
