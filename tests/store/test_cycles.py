"""Chamber air and cycles come back as they were written, once."""

from monitor.model.batch import Batch
from monitor.model.cycle_record import CycleNote, CycleSpool, HeldWater
from monitor.model.oven_air import OvenAir
from monitor.model.oven_fact import OvenChanges
from monitor.store.reader import Reader

MINUTE = 29_453_760  # 2026-01-01
WATER = HeldWater(mean_pct=(0.1, 0.2, 0.3), outer_pct=(0.1, 0.1, 0.2), water_g=(1.0, 2.0, 3.0), left_g=900.0)
SPOOL = CycleSpool(
    key="grey", name="Grey", material="petg", limit_pct=0.04, material_limit_c=65.0, body_limit_c=None, before=WATER
)  # fmt: skip


def air(minute, temperature_c=58.0, humidity_pct=4.25, oven="kiln"):
    return OvenAir(
        oven=oven, minute=MINUTE + minute, temperature_c=temperature_c, humidity_pct=humidity_pct, heater=0.5
    )


def note(**members):
    usual = {
        "oven": "kiln", "cycle": "c1", "started_s": 60.0 * MINUTE, "who": "Mara", "is_unattended": False,
        "is_armed_locally": True, "setpoint_c": 58.0, "duration_s": 3600.0, "ceiling_c": 63.0, "limit_c": 65.0,
        "limited_by": "grey", "room_c": 22.0, "room_dew_point_c": None, "spools": (SPOOL,),
    }  # fmt: skip
    return CycleNote(**(usual | members))


def written(store, database, **changes):
    store.apply(Batch(ovens=OvenChanges(**changes)))
    return Reader(database, "lab")


def test_the_first_row_of_a_minute_stays(store, database):
    """So that a restart or a replay changes nothing that was followed."""
    written(store, database, air=[air(0), air(1, humidity_pct=None)]).close()
    reader = written(store, database, air=[air(0, 20.0)])
    assert reader.oven_air("kiln", 0, 2**50) == (air(0), air(1, humidity_pct=None))
    assert reader.oven_air("shed", 0, 2**50) == ()
    reader.close()


def test_means_are_over_what_was_told(store, database):
    """A minute without humidity counts for the temperature alone."""
    rows = [air(0, 50.0, 4.0), air(1, 60.0, None), air(5, 40.0, None), air(2, 10.0, 1.0, oven="shed")]
    reader = written(store, database, air=rows)
    start_ms = 60_000 * MINUTE
    assert reader.oven_means(start_ms, start_ms + 600_000, 300_000) == {
        ("kiln", start_ms): (55.0, 4.0),
        ("kiln", start_ms + 300_000): (40.0, None),
        ("shed", start_ms): (10.0, 1.0),
    }
    reader.close()


def test_a_cycle_is_one_row_from_its_beginning_to_its_end(store, database):
    """The later note stands for the earlier one; all of it comes back."""
    written(store, database, cycles={("kiln", "c1"): note()}).close()
    closed = note(ended_s=60.0 * MINUTE + 3600.0, ending="time_up", ran_s=3600.0)
    later = note(cycle="c2", started_s=60.0 * MINUTE + 9000.0)
    reader = written(store, database, cycles={("kiln", "c1"): closed, ("kiln", "c2"): later})
    assert reader.oven_cycles("kiln") == (later, closed)
    assert reader.oven_cycles(None, 1) == (later,)
    assert reader.oven_cycle("kiln", "c1") == closed
    assert reader.oven_cycle("kiln", "c9") is None
    reader.close()


def test_old_air_goes_and_cycles_stay(store, database):
    """Bounded: as long as five-minute means are kept, 180 days."""
    reader = written(store, database, air=[air(0)], cycles={("kiln", "c1"): note()})
    now_ms = 60_000 * MINUTE + 400 * 86_400_000
    while store.prune(now_ms).more:
        pass
    assert reader.oven_air("kiln", 0, 2**50) == ()
    assert len(reader.oven_cycles("kiln")) == 1
    reader.close()
