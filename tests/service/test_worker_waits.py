"""While the database cannot be written readings wait, and the alarms go on: that nothing is kept has to be told."""

import time

import pytest
from support.waiting import wait_for

from monitor.errors import StoreBusyError
from monitor.model.arrival import Arrival
from monitor.model.audit import AuditEntry, AuditKind
from monitor.service import worker as worker_module
from monitor.service.engine import Engine
from monitor.service.worker import CLOCK_BEHIND, CLOCK_FLOOR_S, Worker
from monitor.store.store import Store


class Clock:
    wall = CLOCK_FLOOR_S + 1_000.0

    def wall_s(self):
        return self.wall

    def mono_s(self):
        return 50.0


class HeldStore:
    """A real one that another program holds while `is_held`."""

    def __init__(self, store):
        self._store, self.is_held, self.applied = store, False, []

    def apply(self, batch):
        if self.is_held:
            raise StoreBusyError("held")
        self.applied.append(batch)
        return self._store.apply(batch)

    def __getattr__(self, name):
        return getattr(self._store, name)


class Alarms:
    """Says once that the database cannot be written; `told` is what was written when the broker was told."""

    def __init__(self, engine):
        self.engine, self.worker = engine, None
        self.is_said, self.told = False, []
        self.writes = list

    def arrived(self, arrival):
        pass

    def tick(self):
        if self.worker.write_trouble and not self.is_said:
            self.is_said = True
            entry = AuditEntry(
                at_ms=1, who="", kind=AuditKind.ALARM, about="database_trouble", what="activated", detail={}
            )
            self.engine.audit(entry)

    def is_urgent(self):
        return False

    def committed(self, _batch):
        self.told.append([line.what for batch in self.writes() for line in batch.audit])


@pytest.fixture
def site(tmp_path, monkeypatch):
    monkeypatch.setattr(worker_module, "RETRY_S", 0.01)
    store = Store(tmp_path / "a.db", "lab")
    held, engine, clock = HeldStore(store), Engine("lab", store.load()), Clock()
    alarms = Alarms(engine)
    worker = Worker(
        engine,
        held,
        clock,
        pace_s=time.monotonic,
        commit_every_s=0.02,
        acknowledge=lambda _: None,
        committed=lambda _: None,
        alarms=alarms,
    )
    alarms.worker, alarms.writes = worker, lambda: held.applied
    worker.start()
    yield worker, held, alarms, clock
    held.is_held = False
    worker.stop()
    store.close()


def poison(clock):
    return Arrival(topic="sorbwatch/lab/node/n1/senml", payload=b"x", wall_s=clock.wall, mono_s=50.0)


def test_alarms_go_on_while_a_write_waits_and_are_written_before_they_are_told(site):
    worker, held, alarms, clock = site
    held.is_held = True
    worker.put(poison(clock))
    wait_for(lambda: alarms.is_said, 5, "the alarm")
    assert not worker.can_write
    assert "another program holds it" in worker.write_trouble
    assert alarms.told == []
    held.is_held = False
    wait_for(lambda: alarms.told, 5, "the commit")
    assert alarms.told[0] == ["activated"]
    assert worker.write_trouble is None


def test_a_clock_that_is_behind_is_no_trouble_of_the_database(site):
    """Readings wait for the clock; told as what it is, and not as a card that is full or worn."""
    worker, _, alarms, clock = site
    clock.wall = 1_000.0
    worker.put(poison(clock))
    wait_for(lambda: worker.trouble == CLOCK_BEHIND, 5, "the trouble")
    assert worker.write_trouble is None
    assert not alarms.is_said
