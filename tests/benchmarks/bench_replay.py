"""Readings a second that a replay takes, with storage and roll-ups; bytes written per reading."""

import resource
import tempfile
import time
from contextlib import closing
from pathlib import Path

from support.packs import pack

from monitor.model.arrival import Arrival
from monitor.service.engine import Engine
from monitor.service.replay import replay
from monitor.store.store import Store
from monitor.wire.capture import Captured, CaptureWriter, read_capture

BOXES, PACKS = 16, 2_500
START_S = 1_790_000_000


def run():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with CaptureWriter(folder / "capture.jsonl") as writer:
            for number in range(PACKS):
                for box in range(BOXES):
                    at_s = START_S + 60 * number + box
                    payload = pack(number, at_s, 10 + number % 30, f"b{box}", boot=f"n{box}").encode()
                    topic = f"sorbwatch/lab/node/n{box}/senml"
                    writer.write(Captured(at_s=at_s + 0.2, topic=topic, retain=False, payload=payload))
        with closing(Store(folder / "replay.db", "lab")) as store:
            before = _written_bytes()
            began_s = time.perf_counter()
            done = replay(_arrivals(folder / "capture.jsonl"), Engine("lab", store.load()), store)
            took_s = time.perf_counter() - began_s
            written = _written_bytes() - before
    return {
        "readings": done.stored_readings,
        "readings a second (goal 20000)": round(done.stored_readings / took_s),
        "bytes written per reading, batches of 1000": round(written / done.stored_readings),
        "peak memory [MB]": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }


def _arrivals(path):
    for line in read_capture(path):
        yield Arrival(topic=line.topic, payload=line.payload, wall_s=line.at_s, mono_s=line.at_s)


def _written_bytes():
    """What this process handed to the file system."""
    for line in Path("/proc/self/io").read_text().splitlines():
        if line.startswith("wchar:"):
            return int(line.split()[1])
    raise RuntimeError("the kernel does not count what is written")
