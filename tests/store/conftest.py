"""A small store and short ways to write to it."""

import sqlite3
from contextlib import closing

import pytest

from monitor.model.batch import Batch
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store.reader import Reader
from monitor.store.store import Store

START_MS = 1_767_225_600_000  # 2026-01-01, the start of a UTC day


@pytest.fixture
def start_ms():
    return START_MS


@pytest.fixture
def reading():
    """A reading `at_s` seconds after the start."""

    def make(
        at_s, value=20.0, channel="air", quantity=Quantity.TEMPERATURE, quality=TimeQuality.SYNCED, node="n1"
    ):
        return Reading(
            node=node,
            channel=channel,
            quantity=quantity,
            time_ms=START_MS + round(at_s * 1000),
            value=value,
            quality=quality,
        )

    return make


@pytest.fixture
def batch():
    """A batch of readings, all of whose channels are due every `due_s`."""

    def make(*readings, due_s=60.0, **members):
        members.setdefault("newest_ms", max((r.time_ms for r in readings), default=START_MS))
        due = {(r.node, r.channel): due_s for r in readings} if due_s else {}
        return Batch(readings=list(readings), due_s=due, **members)

    return make


@pytest.fixture
def database(tmp_path):
    return tmp_path / "site.db"


@pytest.fixture
def store(database):
    with closing(Store(database, "lab")) as opened:
        yield opened


@pytest.fixture
def reader(store, database):
    with closing(Reader(database, store.site)) as opened:
        yield opened


@pytest.fixture
def query(database):
    """Look at the file itself, past the code under test."""

    def ask(sql, *args):
        with closing(sqlite3.connect(database)) as db:
            return db.execute(sql, args).fetchall()

    return ask


@pytest.fixture
def roll_up_all():
    def run(store, now_ms=START_MS + 400 * 86_400_000):
        while store.roll_up(now_ms).more:
            pass

    return run
