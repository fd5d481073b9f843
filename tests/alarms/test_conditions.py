"""Each kind of alarm is raised by what it is for, not by a good state, and unknown without data (A-02, A-29)."""

from dataclasses import replace

import pytest
from support.pages import NOW_S, FakeQueries

from monitor.alarms import needs
from monitor.alarms.conditions import TYPES, conditions
from monitor.alarms.needs import LID_MIN
from monitor.alarms.priority import priority_of
from monitor.alarms.spool_conditions import REWET_H
from monitor.library.alarm_table import load_alarm_table
from monitor.model.answers import Diagnosis, Freshness, Spread
from monitor.model.around import Around, OvenWatch
from monitor.model.message import Priority
from monitor.model.sensor_check import MISPLACED_PCT, Corner, Mapped, Seat
from monitor.service.air import rfc3339

STATUS = FakeQueries().status()
BOX, OVEN, ROOM = STATUS.boxes[0], STATUS.ovens[0], STATUS.rooms[0]
WATCH = OvenWatch(
    has_permit=False, chamber_c=24.0, rising_c_per_min=0.0, power_w=1.0, state_age_s=3.0,
    was_hot_or_heating=False, proof_due_s=NOW_S + 9e6,
)  # fmt: skip
GOOD = Around(
    broker_away_s=0.0, database_trouble="", supervision_trouble="", clock_trouble="", delivery_trouble="",
    chain_trouble="", disk_free_bytes=20 * 10**9, disk_total_bytes=32 * 10**9, ovens={OVEN.key: WATCH},
    smoke={ROOM.key: False}, check_due_s={BOX.key: NOW_S + 9e6}, battery_pct={BOX.key: 80.0},
    node_offline={BOX.key: False},
)  # fmt: skip
AIR = replace(BOX.air, freshness=Freshness.FRESH, temperature_c=22.0, age_s=20.0, due_s=60.0, why=None)
OLD_AIR = replace(AIR, freshness=Freshness.STALE, age_s=900.0)


def said(kind, around=GOOD, air=AIR, spool=None, **of_box):
    """The one condition of a kind, with one box and one oven of the site."""
    status = replace(
        STATUS,
        boxes=(replace(BOX, air=air, **of_box),),
        ovens=(OVEN,),
        rooms=(),
        spools=() if spool is None else (spool,),
    )
    found = [c for c in conditions(status, around, NOW_S) if c.type == kind]
    assert len(found) == 1, kind
    return found[0]


def watch(**members):
    return replace(GOOD, ovens={OVEN.key: replace(WATCH, **members)})


BAD = {  # around that raises it, what its sentence must hold, around that tells nothing
    "broker_away": (replace(GOOD, broker_away_s=1200.0), "20 min", Around()),
    "database_trouble": (replace(GOOD, database_trouble="The card is full."), "full", Around()),
    "supervision_trouble": (replace(GOOD, supervision_trouble="It failed."), "failed", Around()),
    "clock_wrong": (replace(GOOD, clock_trouble="It runs 3 h ahead."), "3 h", Around()),
    "delivery_failing": (replace(GOOD, delivery_trouble="Mail fails."), "Mail", Around()),
    "records_broken": (replace(GOOD, chain_trouble="Line 7 does not fit."), "7", Around()),
    "disk_low": (replace(GOOD, disk_free_bytes=10**9), "1000 MB of storage are free, less than 1600", Around()),
    "oven_trip": (watch(trip="too hot"), "too hot", replace(GOOD, ovens={})),
    "oven_hot_unasked": (watch(chamber_c=52.0, rising_c_per_min=0.5), "52 °C", watch(state_age_s=99.0)),
    "oven_silent_hot": (watch(state_age_s=75.0, was_hot_or_heating=True), "75 s", watch(state_age_s=None)),
    "oven_proof_overdue": (watch(proof_due_s=NOW_S - 3 * 86_400), "3 days", replace(GOOD, ovens={})),
    "smoke": (replace(GOOD, smoke={ROOM.key: True}), "smoke", replace(GOOD, smoke={ROOM.key: None})),
    "sensor_check_overdue": (
        replace(GOOD, check_due_s={BOX.key: NOW_S - 3 * 86_400}), "3 days", replace(GOOD, check_due_s={BOX.key: None}),
    ),
    "battery_low": (replace(GOOD, battery_pct={BOX.key: 9.0}), "9 % left, below 15 %", replace(GOOD, battery_pct={BOX.key: None})),
    "node_offline": (replace(GOOD, node_offline={BOX.key: True}), BOX.name, replace(GOOD, node_offline={BOX.key: None})),
}  # fmt: skip


def test_rows_and_rules_cover_each_other():
    assert sorted(TYPES) == sorted(load_alarm_table().rows)
    assert len(set(TYPES)) == len(TYPES)


def test_the_list_of_needs_and_the_table_agree():
    """What both say of an open lid and of a spool that gets wet is one number, said in two places."""
    rows = load_alarm_table().rows
    assert rows["lid_open"].on_delay_s == LID_MIN * 60.0
    assert rows["lid_open"].set_point == f"{LID_MIN:.0f} min open"
    assert rows["spool_rewet"].set_point == f"{REWET_H:.0f} h until its limit"


@pytest.mark.parametrize("kind", BAD)
def test_a_kind_is_raised_by_its_fault_alone(kind):
    bad, words, silent = BAD[kind]
    assert said(kind).holds is False
    assert said(kind, bad).holds is True
    assert words in said(kind, bad).what
    assert said(kind, silent).holds is None


def test_power_or_rising_heat_without_leave():
    assert said("oven_hot_unasked", watch(power_w=400.0)).value == 400.0
    assert said("oven_hot_unasked", watch(chamber_c=60.0, rising_c_per_min=-0.2)).holds is False  # it cools
    assert said("oven_hot_unasked", watch(power_w=400.0, has_permit=True)).holds is False
    assert said("oven_hot_unasked", watch(chamber_c=None, power_w=None)).holds is None


def test_a_small_card_is_low_by_megabytes():
    small = replace(GOOD, disk_free_bytes=150 * 10**6, disk_total_bytes=10**9)
    assert said("disk_low", small).limit == 200.0


def test_a_warm_box():
    assert said("temperature_high").holds is False
    warm = said("temperature_high", air=replace(AIR, temperature_c=43.0))
    assert warm.holds is True
    assert "43 °C" in warm.what
    assert "40 °C" in warm.what
    assert said("temperature_high", air=OLD_AIR).holds is None


def test_a_silent_sensor_and_one_never_heard():
    assert said("reading_stale").holds is False
    assert "15 min" in said("reading_stale", air=OLD_AIR).what
    assert said("reading_stale", air=OLD_AIR).holds is True
    never = replace(AIR, freshness=Freshness.NEVER, age_s=None, due_s=None, why="nothing was heard")
    assert said("reading_stale", air=never).holds is True  # a sensor that never came up is not well


def wetting(hours, why=None, trend="run", **members):
    """A spool on a table; its outer windings settle at 0.1 %, the limit is 0.2 %."""
    until = None if hours is None else rfc3339(NOW_S + 3600 * hours)
    usual = {
        "place": ROOM.key,
        "outer_pct": Spread(p10=0.05, p50=0.1, p90=0.3),
        "limit_pct": 0.2,
        "verdict": "not_sure",
    }
    return replace(STATUS.spools[0], use_before=until, use_before_why=why, trend=trend, **(usual | members))


def test_a_dry_spool_that_gets_wet():
    assert said("spool_rewet", spool=wetting(5)).holds is True
    assert said("spool_rewet", spool=wetting(5)).deadline_s == pytest.approx(NOW_S + 5 * 3600, abs=1)
    assert said("spool_rewet", spool=wetting(40)).holds is False
    nothing = Spread(p10=None, p50=None, p90=None, why="nothing is known of it")
    assert said("spool_rewet", spool=wetting(None, "nothing is known", outer_pct=nothing)).holds is None


def test_a_spool_that_may_be_wet_already_is_told_as_long_as_it_is_likelier_dry():
    """P20: it can still be saved; one that is surely over its limit nobody can keep dry."""
    perhaps = said("spool_rewet", spool=wetting(None, "it may be over its limit already"))
    assert perhaps.holds is True
    assert "may be over its limit already" in perhaps.what
    wet = wetting(None, "it may be over its limit already", outer_pct=Spread(p10=0.15, p50=0.3, p90=0.5))
    assert said("spool_rewet", spool=wet).holds is False
    for trend in ("pause", "recover", "sealed"):
        assert said("spool_rewet", spool=wetting(None, "not within 90 days", trend=trend)).holds is False


def test_of_a_spool_in_a_measured_box_the_box_tells():
    """A.5: one cause, one alarm; the box's has this spool's deadline."""
    inside = wetting(5, place=BOX.key)
    assert said("spool_rewet", spool=inside).holds is False
    assert said("spool_rewet", air=OLD_AIR, spool=inside).holds is None
    humid = said(
        "humidity_high", air=replace(AIR, humidity_pct=31.0), spool=inside, limit_humidity_pct=20.0,
        spools=(inside.key,),
    )  # fmt: skip
    assert humid.holds is True
    assert humid.deadline_s == pytest.approx(NOW_S + 5 * 3600, abs=1)
    unmeasured = replace(AIR, freshness=Freshness.NEVER, at=None, humidity_pct=None, age_s=None, due_s=None)
    assert said("spool_rewet", air=unmeasured, spool=inside).holds is True


def test_numbers_of_rules_and_rows_are_one_truth():
    rows = load_alarm_table().rows
    assert rows["lid_open"].on_delay_s == 60 * needs.LID_MIN
    assert rows["spool_rewet"].respond_s == 3600 * REWET_H


def test_a_humid_box():
    humid = said("humidity_high", air=replace(AIR, humidity_pct=31.0), limit_humidity_pct=20.0)
    assert humid.holds is True
    assert "31 %RH" in humid.what
    assert "20 %RH" in humid.what
    assert said("humidity_high", air=replace(AIR, humidity_pct=12.0), limit_humidity_pct=20.0).holds is False
    assert said("humidity_high", air=OLD_AIR, limit_humidity_pct=20.0).holds is None


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        ("wet_contents", "wet_contents"),
        ("charge_too_small", "charge_too_small"),
    ],
)
def test_a_likely_cause(kind, cause):
    at = rfc3339(NOW_S)

    def of(probability):
        return (Diagnosis(cause=cause, probability=probability, advice="Look into it."),)

    assert said(kind, diagnosis=of(0.9), estimate_at=at).holds is True
    assert said(kind, diagnosis=of(0.5), estimate_at=at).holds is False
    assert said(kind, diagnosis=of(0.9), estimate_at=None).holds is None


def seated(sits_at, damp_pct=9.0, dry_pct=4.8, **members):
    """As told of a box with three corners; None: nobody told where the sensor sits."""
    corners = tuple(
        Corner(name=name, humidity_pct=humidity_pct, hours=24.0)
        for name, humidity_pct in (
            ("low, by the hinge", damp_pct),
            ("high", 8.0),
            ("beside the bag", dry_pct),
        )
    )
    usual = {"spread_pct": damp_pct - dry_pct, "is_uneven": True, "is_short": False, "sits_at": sits_at}
    mapped = Mapped(corners=corners, **(usual | members))
    seat = Seat(mapped=mapped, mapped_s=NOW_S, sits_at=sits_at, told_s=NOW_S)
    return replace(GOOD, seats={BOX.key: seat})


def test_a_sensor_told_to_sit_where_it_reads_too_dry():
    """P37, A-30: where, by how much and beyond which limit, what it means, what to do."""
    found = said("sensor_misplaced", seated("beside the bag"))
    assert found.holds is True
    assert (found.value, found.limit) == (pytest.approx(4.2), MISPLACED_PCT)
    assert found.what == (
        f"The sensor of {BOX.name} sits “beside the bag”, where it reads 4.2 %RH drier than "
        "“low, by the hinge”; the limit is 2 %RH."
    )
    assert "damper than what is shown" in found.why
    assert found.act == (
        "Move the sensor to “low, by the hinge”, then say on the sensor's page that it sits there now."
    )
    assert "take it with care" in said("sensor_misplaced", seated("beside the bag", is_short=True)).what


def test_a_sensor_in_order_or_of_which_nobody_told_is_no_alarm():
    """A seat that nobody looked at is no fault; the limit itself is still within it."""
    assert said("sensor_misplaced").holds is False
    assert said("sensor_misplaced", seated("low, by the hinge")).holds is False
    assert said("sensor_misplaced", seated(None)).holds is False
    assert said("sensor_misplaced", seated("high")).holds is False
    assert said("sensor_misplaced", seated("beside the bag", damp_pct=7.0, dry_pct=5.0)).holds is False
    assert said("sensor_misplaced", seated("beside the bag", damp_pct=7.1, dry_pct=5.0)).holds is True


def test_a_misplaced_sensor_is_among_the_needs_too():
    """A-39: beside whatever else is wrong with the box."""
    seats = seated("beside the bag").seats
    (need,) = needs.of_seats(STATUS.boxes, seats)
    assert (need.place, need.level) == (BOX.key, "check")
    assert "beside the bag" in need.what
    assert not tuple(needs.of_seats(STATUS.boxes, seated("high").seats))


def test_no_row_is_by_its_numbers_a_mere_notice():
    """What would be no more than a notice is never raised; only a deadline of its own makes such a row one."""
    rows = load_alarm_table().rows
    mere = {k for k, row in rows.items() if priority_of(row.consequence, row.respond_s) is Priority.NOTICE}
    assert mere == {"desiccant_soon"}
