"""After a cut of power or a kill the file holds whole batches, oldest first, and every acknowledged one."""

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from monitor.model.batch import Batch, Quarantined
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store.reader import Reader
from monitor.store.store import Store

START_MS = 1_767_225_600_000
BATCHES = 80
CHANNELS = 3
FAR_MS = START_MS + 10 * 86_400_000

_KILLED = """
import sys
from pathlib import Path
from monitor.model.batch import Batch
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store.store import Store

store = Store(Path(sys.argv[1]), "lab")
number = 0
while True:
    number += 1
    readings = [
        Reading(node="n", channel=f"c{c}", quantity=Quantity.TEMPERATURE,
                time_ms=1767225600000 + number * 10000, value=20.0, quality=TimeQuality.SYNCED)
        for c in range(3)
    ]
    store.apply(Batch(readings=readings, counters={"batch": number}, newest_ms=number))
    if number % 7 == 0:
        store.roll_up(1767225600000 + number * 10000)
    print(number, flush=True)
"""


def _batch(number):
    """Each table that a batch touches can be told from its number alone."""
    readings = [
        Reading(
            node="n",
            channel=f"c{channel}",
            quantity=Quantity.TEMPERATURE,
            time_ms=START_MS + number * 60_000,
            value=float(number),
            quality=TimeQuality.SYNCED,
        )
        for channel in range(CHANNELS)
    ]
    return Batch(
        readings=readings,
        due_s={("n", f"c{channel}"): 90.0 for channel in range(CHANNELS)},
        seen={("n", "boot"): [(1, number)]},
        quarantined=[Quarantined(at_ms=number, topic="t", reason="r", payload=b"x" * 50)],
        counters={"batch": number},
        newest_ms=number,
    )


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A database whose commits are all still in the log, as copies of both files."""
    folder = tmp_path_factory.mktemp("written")
    path = folder / "site.db"
    with closing(Store(path, "lab")) as store:
        # Into the main file before the first batch: what was synced there cannot be torn by a later cut.
        store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        for number in range(1, BATCHES + 1):
            store.apply(_batch(number))
            if number % 9 == 0:
                store.roll_up(START_MS + number * 60_000)
        return path.read_bytes(), (folder / "site.db-wal").read_bytes()


def _damaged(wal, chance):
    """The log as a power cut may leave it: shortened, torn, or with its end as zeros or rubbish."""
    at = chance.randrange(len(wal))
    kind = chance.choice(("cut", "zeros", "rubbish", "hole"))
    if kind == "cut":
        return wal[:at]
    if kind == "zeros":
        return wal[:at] + bytes(len(wal) - at)
    if kind == "rubbish":
        return wal[:at] + chance.randbytes(len(wal) - at)
    end = min(len(wal), at + 4096)
    return wal[:at] + bytes(end - at) + wal[end:]  # one block never reached the card, later ones did


def _assert_whole_batches(path):
    with closing(Store(path)) as store, closing(Reader(path)) as reader:
        stored = store.load()
        last = stored.counters.get("batch", 0)
        numbers = list(range(1, last + 1))
        ids = [series.series_id for series in reader.series()]
        raw = reader.raw(ids, 0, FAR_MS) if ids else ()
        assert [r.value for r in raw] == [float(n) for n in numbers for _ in range(CHANNELS)]
        assert stored.newest_ms == last
        assert stored.seen == ({("n", "boot"): [(1, last)]} if last else {})
        assert [item.at_ms for item in reader.quarantine(1000)] == numbers[::-1]
        assert {newest.value for newest in reader.latest()} == ({float(last)} if last else set())
        store.roll_up(FAR_MS)
        for series_id in ids:
            points = reader.points(series_id, START_MS, FAR_MS, 300)
            assert sum(point.n for point in points) == last
            assert sum(point.covered_ms for point in points) == (last - 1) * 60_000 + 90_000
        store.check()
    return last


@pytest.mark.parametrize("seed", range(60))
def test_a_cut_or_torn_log_leaves_whole_batches_oldest_first(written, tmp_path, seed):
    """Batches are one transaction each: readings without their `seen` would come again, or never."""
    main, wal = written
    path = tmp_path / "site.db"
    path.write_bytes(main)
    (tmp_path / "site.db-wal").write_bytes(_damaged(wal, random.Random(seed)))
    assert 0 <= _assert_whole_batches(path) <= BATCHES


def test_the_whole_log_brings_every_batch_back(written, tmp_path):
    """Holds the test above to its word: without damage nothing is missing."""
    main, wal = written
    path = tmp_path / "site.db"
    path.write_bytes(main)
    (tmp_path / "site.db-wal").write_bytes(wal)
    assert _assert_whole_batches(path) == BATCHES


@pytest.mark.parametrize("acknowledged_wanted", [1, 40, 400])
def test_a_killed_writer_loses_no_acknowledged_batch(tmp_path, acknowledged_wanted):
    """`kill -9` between any two instructions, also after the log was moved into the main file."""
    path = tmp_path / "site.db"
    with subprocess.Popen(
        [sys.executable, "-c", _KILLED, str(path)], stdout=subprocess.PIPE, text=True
    ) as child:
        acknowledged = 0
        while acknowledged < acknowledged_wanted:
            acknowledged = int(child.stdout.readline())
        os.kill(child.pid, signal.SIGKILL)
        acknowledged = max([acknowledged, *(int(line) for line in child.stdout.read().splitlines() if line)])
    with closing(Reader(path)) as reader:  # read-only and first: it must bring the log back by itself
        in_file = reader.counters()["batch"]
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM reading").fetchone() == (in_file * 3,)
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert acknowledged <= in_file <= acknowledged + 1


def test_a_copy_taken_in_the_middle_of_the_log_being_moved_is_whole(tmp_path):
    """Both files as they were at some moment, with part of the log in the main file already."""
    source = tmp_path / "source.db"
    with closing(Store(source, "lab")) as store:
        store._db.execute("PRAGMA wal_autocheckpoint = 20").fetchall()
        for number in range(1, BATCHES + 1):
            store.apply(_batch(number))
            if number % 13:
                continue
            copy = tmp_path / f"copy-{number}.db"
            shutil.copy(source, copy)
            shutil.copy(f"{source}-wal", f"{copy}-wal")
            assert _assert_whole_batches(copy) == number
