"""How cost grows from 1 to 1,000 boxes: taking a round of readings, and answering the first page."""

import tempfile
import time
from contextlib import closing
from pathlib import Path

from support.packs import pack

from monitor.model.arrival import Arrival
from monitor.model.inventory import Box, Inventory, Room
from monitor.service.engine import Engine
from monitor.service.queries import Queries
from monitor.store.reader import Reader
from monitor.store.store import Store
from web import create_app

START_S = 1_795_000_000
ROUNDS = 60


def run():
    results = {}
    for boxes in (1, 10, 100, 1_000):
        took_ms, page_ms = _one(boxes)
        results[f"{boxes} boxes: ms a round of readings"] = round(took_ms, 2)
        results[f"{boxes} boxes: ms a first page"] = round(page_ms, 1)
    return results


def _one(boxes):
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "fleet.db"
        with closing(Store(path, "lab")) as store:
            engine = Engine("lab", store.load())
            engine.change_inventory(_inventory(boxes), START_S)
            began_s = time.perf_counter()
            for number in range(ROUNDS):
                for box in range(boxes):
                    at_s = START_S + 60 * number
                    payload = pack(number, at_s, 12, f"b{box}", boot=f"n{box}").encode()
                    topic = f"sorbwatch/lab/node/n{box}/senml"
                    engine.handle(Arrival(topic=topic, payload=payload, wall_s=at_s + 1, mono_s=at_s + 1))
                store.apply(engine.take_batch())
            while store.roll_up((START_S + 60 * ROUNDS) * 1000).more:
                pass
            took_ms = 1000 * (time.perf_counter() - began_s) / ROUNDS
            return took_ms, _page_ms(path)


def _page_ms(path):
    with closing(Reader(path, "lab")) as reader:
        now_s = [START_S + 60.0 * ROUNDS]
        queries = Queries(reader, now_s=lambda: now_s[0], zone="UTC")
        client = create_app(queries, look_only=True, hosts=frozenset(), zone="UTC").test_client()
        times_ms = []
        for _ in range(5):
            queries.changed()
            began_s = time.perf_counter()
            assert client.get("/").status_code == 200
            times_ms.append(1000 * (time.perf_counter() - began_s))
        return sorted(times_ms)[2]


def _inventory(count):
    boxes = {
        f"b{n}": Box(key=f"b{n}", name=f"Box {n}", room="hall", volume_l=10, channel=f"n{n}/b{n}")
        for n in range(count)
    }
    return Inventory(rooms={"hall": Room(key="hall", name="Hall")}, boxes=boxes)
