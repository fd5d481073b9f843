"""Events are never changed; kept states are there only while they are true."""

import dataclasses

import pytest

from monitor.model.batch import Batch, InventoryChange
from monitor.model.catalogue import OwnFigure
from monitor.model.computed import Computed
from monitor.model.inventory import Inventory, Room, Spool
from monitor.model.reading import Quantity, Reading, TimeQuality
from monitor.model.records import Withdrawn
from monitor.model.spool_event import (
    Bagged,
    Checkpoint,
    Dried,
    Moved,
    Opened,
    Sign,
    Signs,
    Spoiled,
    SpoolEvent,
    Used,
    Weighed,
)
from monitor.store.reader import Reader
from monitor.store.store import Store

HOUR_MS = 3_600_000
T0_MS = 1_790_000_000_000 // HOUR_MS * HOUR_MS
EVERYTHING = (
    Moved(place="loft"),
    Moved(place=None),
    Bagged(),
    Opened(),
    Used(grams=12.5),
    Weighed(mass_g=1201.5, resolution_g=0.1, repeats=3, is_warm=True),
    Dried(temperature_c=60.0, hours=6.0, room_humidity_pct=45.0),
    Signs(seen=(Sign.POPPING, Sign.STRINGS)),
    Spoiled(why="fused"),
    Withdrawn(why="slip of the hand"),
)


@pytest.fixture
def store(tmp_path):
    made = Store(tmp_path / "a.db", "attic")
    made.apply(
        Batch(
            inventory=InventoryChange(
                at_ms=T0_MS,
                inventory=Inventory(
                    rooms={"loft": Room(key="loft", name="Loft", channel="n/air")},
                    spools={
                        k: Spool(key=k, name=k, material="petg", diameter_mm=1.75, net_g=1000) for k in "ab"
                    },
                ),
            )
        )
    )
    yield made
    made.close()


@pytest.fixture
def reader(store, tmp_path):  # noqa: ARG001 - the database must be there
    made = Reader(tmp_path / "a.db", "attic")
    yield made
    made.close()


def event(number, what, *, hour=5, spool="a", replaces=None):
    return SpoolEvent(
        event_id=number,
        spool=spool,
        at_s=(T0_MS + hour * HOUR_MS) / 1000.0,
        entered_s=(T0_MS + 9 * HOUR_MS) / 1000.0,
        who="mara",
        what=what,
        replaces=replaces,
    )


def keep(store, hours=range(12), spools="ab"):
    store.keep(
        Computed(
            spools=tuple(
                [
                    Checkpoint(
                        spool=spool,
                        at_ms=T0_MS + hour * HOUR_MS,
                        content=bytes([hour]),
                        mean_pct=(0.1, 0.2, 0.3),
                        outer_pct=(0.2, 0.3, 0.4),
                    )
                    for hour in hours
                    for spool in spools
                ]
            )
        )
    )


def newest_hours(reader):
    found = reader.checkpoints(T0_MS + 99 * HOUR_MS)
    return {spool: (row.at_ms - T0_MS) // HOUR_MS for spool, row in found.items()}


def test_every_kind_of_event_comes_back_as_it_was_written(store, reader):
    """Append-only: the same batch twice writes once."""
    events = [event(number, what) for number, what in enumerate(EVERYTHING, start=1)]
    store.apply(Batch(events=events))
    store.apply(Batch(events=events))
    assert reader.spool_histories()["a"].events == tuple(events)
    assert reader.spool_histories()["b"].events == ()
    assert store.load().newest_event_id == len(EVERYTHING)


def test_an_event_takes_with_it_the_later_states_of_its_spool_alone(store, reader):
    """What was computed without it is not true any more."""
    keep(store)
    store.apply(Batch(events=[event(1, Moved(place=None), hour=5)]))
    assert newest_hours(reader) == {"a": 5, "b": 11}


def test_a_drying_takes_with_it_the_states_since_its_beginning(store, reader):
    """The event's time is its end."""
    keep(store)
    store.apply(Batch(events=[event(1, Dried(temperature_c=60.0, hours=4.0), hour=8)]))
    assert newest_hours(reader)["a"] == 4


def test_a_correction_reaches_back_to_what_it_replaces(store, reader):
    """Both the old moment and the new one change the past."""
    store.apply(Batch(events=[event(1, Used(grams=5.0), hour=2)]))
    keep(store)
    store.apply(Batch(events=[event(2, Used(grams=5.0), hour=7, replaces=1)]))
    assert newest_hours(reader)["a"] == 2


def test_a_late_reading_takes_with_it_every_later_state(store, reader):
    """Readings come late where a node was cut off; a duplicate changes nothing."""
    reading = Reading(
        node="n", channel="air", quantity=Quantity.HUMIDITY, time_ms=T0_MS + 3 * HOUR_MS, value=40.0,
        quality=TimeQuality.SYNCED,
    )  # fmt: skip
    keep(store)
    store.apply(Batch(readings=[reading]))
    assert newest_hours(reader) == {"a": 3, "b": 3}
    keep(store)
    store.apply(Batch(readings=[reading]))
    assert newest_hours(reader) == {"a": 11, "b": 11}


def test_a_figure_or_a_new_inventory_takes_all_states_with_it(store, reader):
    """They change what every state was computed with."""
    keep(store)
    figure = OwnFigure(
        material="petg", figure="limit_pct", value=0.08, who="mara", why="prints well", at_s=1.0
    )
    store.apply(Batch(figures=[figure]))
    assert newest_hours(reader) == {}
    assert reader.own_figures() == (figure,)
    keep(store)
    held = store.load().inventory
    store.apply(
        Batch(
            inventory=InventoryChange(
                at_ms=T0_MS,
                inventory=dataclasses.replace(held, rooms={"loft": Room(key="loft", name="Attic")}),
            )
        )
    )
    assert newest_hours(reader) == {}


def test_old_states_are_thinned_to_days_and_then_to_weeks(store, reader):
    """A card is not filled with what can be computed again."""
    day_ms = 24 * HOUR_MS
    begin = T0_MS // day_ms * day_ms
    store.keep(
        Computed(
            spools=tuple(
                [
                    Checkpoint(
                        spool="a",
                        at_ms=begin + n * 6 * HOUR_MS,
                        content=b"x",
                        mean_pct=(1, 1, 1),
                        outer_pct=(1, 1, 1),
                    )
                    for n in range(4 * 100)
                ]
            )
        )
    )
    now = begin + 100 * day_ms
    store.prune(now)
    kept = [row.at_ms for row in reader.spool_course("a", 0, now)]
    recent = [at for at in kept if at >= now - 3 * day_ms]
    middle = [at for at in kept if now - 60 * day_ms <= at < now - 3 * day_ms]
    old = [at for at in kept if at < now - 60 * day_ms]
    assert len(recent) == 12
    assert len(middle) == 57
    assert 1 <= len(old) <= 2
    assert all(at % day_ms == 0 for at in middle + old)


def test_means_take_what_is_not_rolled_up_yet_from_the_readings(store, reader):
    """The follower must not wait for upkeep, nor count anything twice."""
    readings = [
        Reading(
            node="n", channel="air", quantity=Quantity.HUMIDITY, time_ms=T0_MS + minute * 60_000,
            value=40.0 + minute, quality=TimeQuality.SYNCED,
        )
        for minute in range(60)
    ]  # fmt: skip
    store.apply(Batch(readings=readings, due_s={("n", "air"): 120.0}))
    fresh = reader.means(T0_MS, T0_MS + HOUR_MS, 600_000)
    while store.roll_up(T0_MS + 2 * HOUR_MS).more:
        pass
    assert reader.means(T0_MS, T0_MS + HOUR_MS, 600_000) == fresh
    assert [round(value, 6) for value in fresh.values()] == [44.5, 54.5, 64.5, 74.5, 84.5, 94.5]
    assert reader.oldest_ms() == T0_MS
