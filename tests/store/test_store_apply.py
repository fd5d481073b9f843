"""A batch is written whole or not at all, and twice is the same as once."""

import math
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

from monitor.errors import BadInputError, StoreBusyError, StoreError
from monitor.model.batch import Batch, DeviceRow, InventoryChange, Quarantined
from monitor.model.history import Applied
from monitor.model.inventory import Box, Charge, Inventory, Oven, PlaceKind, Room, Spool
from monitor.model.reading import QUANTITIES, Presence, Quantity, TimeQuality
from monitor.store.connection import transaction
from monitor.store.reader import Reader
from monitor.store.store import Store

TABLES = (
    "site",
    "series",
    "reading",
    "latest",
    "rollup_due",
    "boot",
    "seen",
    "device",
    "quarantine",
    "counter",
    "item",
    "placement",
    "kept",
)
INVENTORY = Inventory(
    rooms={"hall": Room(key="hall", name="Hall", channel="n1/hall")},
    boxes={
        "b1": Box(
            key="b1",
            name="Tall box",
            room="hall",
            volume_l=40.0,
            channel="n1/b1",
            desiccant=Charge(kind="silica", dry_g=200.0, filled_s=1.5),
        ),
        "b2": Box(key="b2", name="Kürzer", room="hall", volume_l=9.0),
    },
    spools={"s1": Spool(key="s1", name="S", material="pla", diameter_mm=1.75, net_g=1000.0, place="b1")},
    ovens={"o1": Oven(key="o1", name="Oven", room="hall", max_c=90.0, fan=True)},
)


def _full_batch(reading, batch):
    return batch(
        reading(0, 20.5),
        reading(0, 41.0, quantity=Quantity.HUMIDITY, quality=TimeQuality.SUSPECT),
        reading(0, 1.0, channel="door", quantity=Quantity.LID),
        seen={("n1", "7f3a"): [(1, 5), (8, 9)], ("n1", "0001"): [(3, 3)]},
        clocks={("n1", "7f3a"): '{"offset": 1.5}'},
        quarantined=[Quarantined(at_ms=5, topic="t", reason="why", payload=b"\xff\x00")],
        devices={
            ("node", "n1"): DeviceRow(
                kind="node",
                key="n1",
                at_ms=7,
                presence=Presence(online=True, boot="7f3a", firmware=None, sample_s=60.0),
            ),
            ("oven", "o1"): DeviceRow(kind="oven", key="o1", at_ms=9, state_json='{"seq": 1}', state_ms=8),
        },
        counters={"packs": 3},
        inventory=InventoryChange(at_ms=1000, inventory=INVENTORY),
    )


def test_what_was_applied_is_loaded_again(store, database, reading, batch):
    """A service that starts again must go on as if it had never stopped."""
    full = _full_batch(reading, batch)
    store.apply(full)
    store.close()
    with closing(Store(database)) as again:
        stored = again.load()
        assert again.site == "lab"
    assert stored.inventory == INVENTORY
    assert stored.seen == full.seen
    assert list(stored.seen) == list(full.seen), "the oldest boot is the first to be forgotten"
    assert stored.clocks == full.clocks
    assert stored.devices == full.devices
    assert stored.counters == full.counters
    assert stored.newest_ms == full.newest_ms


def test_the_same_batch_again_changes_nothing(store, reading, batch, query):
    """C-03: a batch whose commit was not confirmed is applied again."""
    full = _full_batch(reading, batch)
    full.readings.append(reading(0, 99.0))  # contradicts the first of its moment
    full.readings.append(reading(1, math.nan))
    first = store.apply(full)
    before = {table: query(f"SELECT * FROM {table}") for table in TABLES}
    again = store.apply(full)
    assert {table: query(f"SELECT * FROM {table}") for table in TABLES} == before
    assert first == Applied(stored=3, conflicts=1, unusable=1)
    assert again == Applied(duplicates=3, conflicts=1, unusable=1)


def test_the_first_reading_of_a_moment_stays_and_the_contradiction_is_kept_for_show(
    store, reader, reading, batch
):
    """Never guessed, never silent: the second value is counted and quarantined."""
    store.apply(batch(reading(0, 20.0)))
    store.apply(batch(reading(0, 21.0), reading(0, 20.0), reading(60, 22.0)))
    (series,) = reader.series()
    assert [r.value for r in reader.raw([series.series_id], 0, 2**62)] == [20.0, 22.0]
    assert reader.counters()["conflicts"] == 1
    (note,) = reader.quarantine()
    assert note.topic == "node/n1/senml"
    assert "air/temperature" in note.reason


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 150.01, -40.01])
def test_no_unusable_value_is_stored_and_none_stops_its_batch(store, reader, reading, batch, value):
    """One bad reading must neither be stored nor keep the good ones of the batch from being acknowledged."""
    applied = store.apply(batch(reading(0, value), reading(1, 20.0)))
    assert applied == Applied(stored=1, unusable=1)
    assert reader.counters()["unusable"] == 1
    assert len(reader.quarantine()) == 1


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_quantity_comes_back_as_it_went_in(store, reader, reading, batch, quantity):
    """Integers in the file must not cost what a sensor can tell."""
    spec = QUANTITIES[quantity]
    values = [spec.lowest, spec.highest, round((spec.lowest + spec.highest) / 3)]
    store.apply(batch(*(reading(at_s, value, quantity=quantity) for at_s, value in enumerate(values))))
    (series,) = reader.series()
    assert series.quantity is quantity
    assert [r.value for r in reader.raw([series.series_id], 0, 2**62)] == values


def test_the_latest_is_the_newest_by_its_own_time_not_by_arrival(store, reader, reading, batch):
    """A buffered pack that comes in late must not make an old value look current."""
    store.apply(batch(reading(100, 22.0), newest_ms=77))
    store.apply(batch(reading(50, 21.0), newest_ms=78))
    (newest,) = reader.latest()
    assert (newest.value, newest.arrival_ms, newest.series.due_s) == (22.0, 77, 60.0)


def test_seen_ranges_replace_what_was_stored_and_forgotten_boots_go(store, batch):
    """The ranges of a node that runs for years must not pile up."""
    store.apply(
        batch(seen={("n1", "a"): [(1, 1), (3, 3)], ("n1", "b"): [(1, 2)]}, clocks={("n1", "b"): "{}"})
    )
    store.apply(batch(seen={("n1", "a"): [(1, 3)]}, forgotten=[("n1", "b"), ("n9", "never")]))
    stored = store.load()
    assert stored.seen == {("n1", "a"): [(1, 3)]}
    assert stored.clocks == {}


def test_the_newest_time_never_goes_back(store, reader, batch):
    """It tells after a start without a battery clock that the clock is wrong."""
    store.apply(batch(newest_ms=200, counters={"packs": 1}))
    store.apply(batch(newest_ms=100, counters={"packs": 2}))
    assert reader.newest_ms() == 200
    assert reader.counters() == {"packs": 2}


def test_the_quarantine_keeps_only_the_newest(database, batch):
    """One device that sends rubbish for weeks must not fill the card."""
    with closing(Store(database, quarantine_rows=3)) as store, closing(Reader(database)) as reader:
        for number in range(7):
            item = Quarantined(at_ms=number, topic="t", reason="why", payload=b"")
            store.apply(batch(quarantined=[item]))
        assert [item.at_ms for item in reader.quarantine()] == [6, 5, 4]


def test_a_channels_first_place_holds_from_the_beginning_and_later_ones_from_their_own_time(store, reader):
    """An inventory is often written after the sensors have begun to speak."""
    moved = replace(INVENTORY.boxes["b1"], channel=None), replace(INVENTORY.boxes["b2"], channel="n1/b1")
    boxes = dict(zip(("b1", "b2"), moved, strict=True))
    for at_ms, inventory in (
        (1000, INVENTORY),
        (2000, INVENTORY),
        (3000, replace(INVENTORY, boxes=boxes)),
        (4000, replace(INVENTORY, boxes={})),
    ):
        store.apply(Batch(inventory=InventoryChange(at_ms=at_ms, inventory=inventory)))
    b1 = [p for p in reader.placements() if p.channel == "n1/b1"]
    assert [(p.from_ms, p.kind, p.place_key) for p in b1] == [
        (0, PlaceKind.BOX, "b1"),
        (3000, PlaceKind.BOX, "b2"),
        (4000, None, None),
    ]
    assert [p.from_ms for p in reader.placements() if p.channel == "n1/hall"] == [0]


def test_the_inventory_of_another_time_can_be_asked_for(store, reader):
    """`status --at` must speak of the spools that were there then, where they were then."""
    later = replace(
        INVENTORY, spools={}, boxes=INVENTORY.boxes | {"b2": replace(INVENTORY.boxes["b2"], name="B")}
    )
    store.apply(Batch(inventory=InventoryChange(at_ms=1000, inventory=INVENTORY)))
    store.apply(Batch(inventory=InventoryChange(at_ms=5000, inventory=later)))
    assert reader.inventory() == later
    assert reader.inventory(5000) == later
    assert reader.inventory(4999) == INVENTORY
    assert reader.inventory(0) == INVENTORY


def test_a_change_of_the_inventory_counts_even_when_the_clock_was_set_back(store, reader):
    """What a person wrote last is what holds."""
    renamed = replace(INVENTORY, rooms={"hall": Room(key="hall", name="Loft")})
    for at_ms, inventory in ((9000, INVENTORY), (9500, renamed), (4000, INVENTORY)):
        store.apply(Batch(inventory=InventoryChange(at_ms=at_ms, inventory=inventory)))
    assert reader.inventory() == INVENTORY
    assert {p.place_key for p in reader.placements()} == {"hall", "b1"}


def test_a_held_database_is_busy_and_later_takes_the_same_batch(database, reading, batch, query):
    """Report 12: another program holds the lock; nothing is lost and the writer lives on."""
    with closing(Store(database, busy_timeout_s=0.05)) as store, closing(sqlite3.connect(database)) as other:
        store.apply(batch(reading(0)))
        other.execute("BEGIN IMMEDIATE")
        for _ in range(3):
            with pytest.raises(StoreBusyError, match="held by another program"):
                store.apply(batch(reading(60), reading(60, channel="new")))
        with pytest.raises(StoreBusyError):
            store.roll_up(2**50)
        other.rollback()
        assert store.apply(batch(reading(60), reading(60, channel="new"))) == Applied(stored=2)
    assert query("SELECT channel, count(*) FROM reading JOIN series USING (series_id) GROUP BY 1") == [
        ("air", 2),
        ("new", 1),
    ]


def test_a_failed_batch_leaves_nothing_behind_neither_on_disk_nor_in_memory(
    store, database, reading, batch, query
):
    """A series met in a batch that failed is not known afterwards: its number may be another's by then."""
    bad = batch(
        reading(0, channel="lost"), quarantined=[Quarantined(at_ms=None, topic="t", reason="r", payload=b"")]
    )
    with pytest.raises(StoreError):
        store.apply(bad)
    assert query("SELECT count(*) FROM series") == [(0,)]
    with closing(sqlite3.connect(database)) as other, transaction(other):
        other.execute("INSERT INTO series (site_id, node, channel, quantity) VALUES (1, 'n2', 'x', 1)")
    store.apply(batch(reading(0, channel="lost")))
    assert query("SELECT channel FROM reading JOIN series USING (series_id)") == [("lost",)]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("value", "warm"),
        ("value", math.nan),
        ("value", 1.5),
        ("value", None),
        ("quality", 9),
        ("time_ms", -1),
    ],
)
@pytest.mark.usefixtures("store")
def test_the_file_itself_refuses_what_is_no_reading(database, column, value):
    """STRICT and NOT NULL hold also against another program's writes; nan would become NULL."""
    row = {"time_ms": 1, "series_id": 1, "value": 1, "quality": 0} | {column: value}
    with closing(sqlite3.connect(database)) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute("INSERT INTO reading VALUES (:time_ms, :series_id, :value, :quality)", row)


def test_a_site_is_provisional_until_it_is_named(database):
    """The demo and a first `inventory load` must work before anything is configured."""
    with closing(Store(database)) as store, closing(Reader(database)) as reader:
        assert [(site.key, site.is_named) for site in reader.sites()] == [("home", False)]
        store.adopt_site("lab")
        store.adopt_site("lab")
        assert store.site == reader.site() == "lab"
        with pytest.raises(BadInputError, match="belongs to site 'lab'"):
            store.adopt_site("attic")
    with closing(Store(database)) as store:
        assert store.site == "lab"


def test_a_named_start_names_the_provisional_site(database, batch, reading):
    """What was loaded before the settings file was written belongs to the site that it names."""
    with closing(Store(database)) as store:
        store.apply(batch(reading(0)))
    with closing(Store(database, "lab")) as store:
        assert store.site == "lab"
    with closing(Reader(database, "lab")) as reader:
        assert len(reader.latest()) == 1


def test_several_sites_live_in_one_file_without_seeing_each_other(database, batch, reading):
    """The site is part of every key, through the series."""
    for key, value in (("a", 1.0), ("b", 2.0)):
        with closing(Store(database, key)) as store:
            store.apply(
                batch(
                    reading(0, value), counters={"packs": int(value)}, seen={("n1", "x"): [(1, int(value))]}
                )
            )
            assert store.load().seen == {("n1", "x"): [(1, int(value))]}
    with pytest.raises(BadInputError, match="several sites"):
        Store(database)
    with pytest.raises(BadInputError, match="no site 'c'"):
        Reader(database, "c")
    for key, value in (("a", 1.0), ("b", 2.0)):
        with closing(Reader(database, key)) as reader:
            assert [newest.value for newest in reader.latest()] == [value]
            assert reader.counters() == {"packs": value}


def test_every_commit_is_on_the_disk_before_it_is_acknowledged(store):
    """WAL with synchronous FULL (2): NORMAL could lose acknowledged packs at a power cut."""
    assert store._db.execute("PRAGMA synchronous").fetchone() == (2,)
    assert store._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_full_disk_is_a_store_error_and_the_batch_fits_once_there_is_room(store, reading, batch, query):
    """What was not committed is still owed: the worker tries the same batch again."""
    store.apply(batch(reading(0)))
    (pages,) = store._db.execute("PRAGMA page_count").fetchone()
    store._db.execute(f"PRAGMA max_page_count = {pages}").fetchall()
    much = batch(*(reading(at_s) for at_s in range(1, 3000)))
    with pytest.raises(StoreError, match="full"):
        store.apply(much)
    assert query("SELECT count(*) FROM reading") == [(1,)]
    store._db.execute("PRAGMA max_page_count = 100000").fetchall()
    assert store.apply(much).stored == 2999


def test_text_that_no_encoding_holds_is_still_quarantined(store, reader, batch):
    """A hostile topic must not keep its whole batch from being committed."""
    item = Quarantined(at_ms=1, topic="bad\ud800", reason="half \udfff", payload=b"")
    store.apply(batch(quarantined=[item]))
    assert [(kept.topic, kept.reason) for kept in reader.quarantine()] == [("bad?", "half ?")]
