"""Report 12: another program holds the database for 30 s; the timer and ingest go on, nothing is lost."""

import time

import pytest
from support.oven_site import ROOM
from support.packs import pack
from support.planned_site import planned_site
from support.waiting import wait_for

from monitor.edge.timer import Timer
from monitor.errors import StoreBusyError
from monitor.model.arrival import Arrival
from monitor.service import worker as worker_module
from monitor.service.worker import Worker

HELD_S = 30.0


class HeldStore:
    """The real store, which another program holds until a time; each try to write takes a second of the clock."""

    def __init__(self, store, clock):
        self._store, self._clock = store, clock
        self.until_mono_s = 0.0
        self.tries = 0

    def apply(self, batch):
        if self._clock.mono < self.until_mono_s:
            self.tries += 1
            self._clock.mono += 1.0
            self._clock.wall += 1.0
            raise StoreBusyError("held")
        return self._store.apply(batch)

    def __getattr__(self, name):
        return getattr(self._store, name)


@pytest.fixture
def made(tmp_path, monkeypatch):
    monkeypatch.setattr(worker_module, "RETRY_S", 0.05)
    with planned_site(tmp_path) as site:
        yield site


def test_a_database_held_for_half_a_minute_costs_nothing_but_time(made):
    """A start comes due meanwhile: it is decided when the database is free, the timer's heart never stops."""
    site, clock = made.site, made.site.clock
    number = made.plan(hours=0.2)
    made.until(number, before_s=5.0)
    held, told = HeldStore(site.store, clock), []
    worker = Worker(
        site.engine, held, clock, pace_s=time.monotonic, commit_every_s=0.05, acknowledge=told.extend,
        committed=site.queries.followers.committed, ovens=site.desk,
    )  # fmt: skip
    made.starts._ask = lambda act: worker.ask(act, timeout_s=0.3)
    timer = Timer(
        made.starts.times,
        made.starts.look,
        clock=clock,
        pace_s=time.monotonic,
        clock_steps=made.starts.watch.look,
    )
    held.until_mono_s = clock.mono + HELD_S
    worker.start()
    payload = pack(1, round(clock.wall), channel="air").encode()
    worker.put(
        Arrival(
            topic="sorbwatch/attic/node/n1/senml",
            payload=payload,
            wall_s=clock.wall,
            mono_s=clock.mono,
            token="one",
        )
    )
    wait_for(lambda: worker.trouble and "busy" in worker.trouble, 5, "the notice of it")
    timer.start()
    wait_for(lambda: clock.mono >= held.until_mono_s, 20, "30 s of the clock")
    wait_for(lambda: told == ["one"], 5, "the reading's acknowledgement")
    made.starts.look()
    wait_for(lambda: made.state(number) == "asked", 5, "the decision")
    assert worker.trouble is None
    assert held.tries >= 25
    assert timer.built == 1
    assert timer.beat_age_s() < 10.0
    assert not site.rig.is_heated
    made.starts.look()
    assert made.kinds() == ["start_now"]
    assert site.queries.status().health.readings > 0 or site.reader.latest()
    assert any(item.series.channel == "air" and item.value == 14.2 for item in site.reader.latest()), ROOM
    timer.stop()
    worker.stop()
