"""Feeding a capture through the same engine and store as live, at its own times, as fast as it goes."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.arrival import Arrival
from monitor.ports import WriteStore
from monitor.service.engine import Engine

COMMIT_ITEMS = 1_000
ROLL_UP_READINGS = 50_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    messages: int
    stored_readings: int


def replay(arrivals: Iterable[Arrival], engine: Engine, store: WriteStore) -> Replayed:
    """Take all arrivals in order; what they say is committed and rolled up when this returns."""
    messages = stored = since_roll_up = 0
    for arrival in arrivals:
        engine.handle(arrival)
        messages += 1
        if messages % COMMIT_ITEMS == 0:
            added = _commit(engine, store)
            stored, since_roll_up = stored + added, since_roll_up + added
        if since_roll_up >= ROLL_UP_READINGS:
            _roll_up(engine, store)
            since_roll_up = 0
    stored += _commit(engine, store)
    _roll_up(engine, store)
    return Replayed(messages=messages, stored_readings=stored)


def _commit(engine: Engine, store: WriteStore) -> int:
    batch = engine.take_batch()
    return 0 if batch.is_empty() else store.apply(batch).stored


def _roll_up(engine: Engine, store: WriteStore) -> None:
    while store.roll_up(round(engine.newest_s * 1000)).more:
        pass
