"""What the database costs: readings a second, bytes a reading, how long questions take on a month of them."""

import json
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path

from monitor.model.batch import Batch
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.store.backup import backup
from monitor.store.reader import Reader
from monitor.store.store import Store

START_MS = 1_767_225_600_000
BOXES = 16
QUANTITIES = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
SERIES = BOXES * len(QUANTITIES)
FAR_MS = START_MS + 1000 * 86_400_000


def run() -> dict[str, float]:
    """One run each: quote ratios and bytes rather than rates."""
    found: dict[str, float] = {}
    for every_s in (10, 300):
        found[f"path_readings_per_s_every_{every_s}_s"] = _rate(every_s)
    for commit_s in (10, 60):
        found[f"bytes_per_reading_commit_each_{commit_s}_s"] = _bytes_per_reading(commit_s)
    return found | _month()


def _readings(every_s: float) -> Iterator[Reading]:
    time_ms = START_MS
    while True:
        for box in range(BOXES):
            for quantity in QUANTITIES:
                yield Reading(
                    node=f"n{box // 2}",
                    channel=f"b{box}",
                    quantity=quantity,
                    time_ms=time_ms + box * 137,
                    value=20.0 + (time_ms // 1000 + box) % 97 / 10,
                    quality=TimeQuality.SYNCED,
                )
        time_ms += round(every_s * 1000)


def _fill(store: Store, readings: Iterator[Reading], count: int, *, a_batch: int, every_s: float) -> None:
    """As the worker does: commit, and a roll-up for every 20,000 readings."""
    due = {(f"n{box // 2}", f"b{box}"): 2.0 * every_s for box in range(BOXES)}
    since = 0
    for number in range(count // a_batch):
        some = list(islice(readings, a_batch))
        counters = {"readings": number * a_batch, "packs": number}
        seen = {("n1", "boot"): [(1, number + 1)]}
        store.apply(Batch(readings=some, due_s=due, counters=counters, seen=seen, newest_ms=some[-1].time_ms))
        since += a_batch
        if since >= 20_000:
            store.roll_up(FAR_MS)
            since = 0
    while store.roll_up(FAR_MS).more:
        pass


def _rate(every_s: float, count: int = 200_000) -> float:
    readings = _readings(every_s)
    with tempfile.TemporaryDirectory() as folder, closing(Store(Path(folder) / "s.db")) as store:
        begun_s = time.perf_counter()
        _fill(store, readings, count, a_batch=500, every_s=every_s)
        return count / (time.perf_counter() - begun_s)


def _bytes_per_reading(commit_s: float, hours: int = 6) -> float:
    """A plain day: a reading every 10 s, a commit every `commit_s`, roll-ups every 5 minutes."""
    readings = _readings(10)
    with tempfile.TemporaryDirectory() as folder, closing(Store(Path(folder) / "s.db")) as store:
        _fill(store, readings, 200_000, a_batch=500, every_s=10)
        a_batch = round(SERIES * commit_s / 10)
        commits = round(hours * 3600 / commit_s)
        written = _bytes_written()
        for number in range(commits):
            some = list(islice(readings, a_batch))
            seen = {("n1", "boot"): [(1, number + 1000)]}
            store.apply(
                Batch(readings=some, seen=seen, counters={"packs": number}, newest_ms=some[-1].time_ms)
            )
            if number * commit_s % 300 == 0:
                store.roll_up(some[-1].time_ms)
        return (_bytes_written() - written) / (commits * a_batch)


def _month() -> dict[str, float]:
    """A million readings: questions, a copy, and deleting them again."""
    count, every_s = 1_000_000, 60.0
    readings = _readings(every_s)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.db"
        with closing(Store(path)) as store:
            _fill(store, readings, count, a_batch=500, every_s=every_s)
            end_ms = START_MS + round(count / SERIES * every_s * 1000)
            middle_ms = (START_MS + end_ms) // 2
            found = {"bytes_of_file_per_reading": path.stat().st_size / count}
            with closing(Reader(path)) as reader:
                found |= {
                    "latest_ms": _took_ms(lambda: reader.latest()),
                    "latest_at_middle_ms": _took_ms(lambda: reader.latest(middle_ms)),
                    "points_day_of_5_min_ms": _took_ms(
                        lambda: reader.points(1, middle_ms, middle_ms + 86_400_000, 300)
                    ),
                    "points_three_weeks_of_hours_ms": _took_ms(
                        lambda: reader.points(1, START_MS, end_ms, 3600)
                    ),
                    "mean_over_a_day_ms": _took_ms(
                        lambda: reader.mean_over(1, middle_ms + 1, middle_ms + 86_400_001)
                    ),
                    "raw_hour_ms": _took_ms(lambda: reader.raw([1], middle_ms, middle_ms + 3_600_000)),
                }
            found["backup_s"] = _took_ms(lambda: backup(path, Path(folder) / "copy.db")) / 1000
            found["quick_check_s"] = _took_ms(store.check) / 1000
            found["prune_100000_s"] = _took_ms(lambda: store.prune(FAR_MS)) / 1000
    return found


def _took_ms(act: Callable[[], object]) -> float:
    begun_s = time.perf_counter()
    act()
    return (time.perf_counter() - begun_s) * 1000


def _bytes_written() -> int:
    lines = Path("/proc/self/io").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("wchar")).split()[1])


if __name__ == "__main__":
    print(json.dumps(run(), indent=1))
