"""A drying followed by its water, over the real supervision, controller, store and estimate (D-10, D-13, D-14)."""

from dataclasses import replace

import pytest
from support.documents import check as check_document
from support.oven_course_site import HOUR_S, OVEN, CourseSite, course_site, dried, spool
from support.spool_site import START_S

from monitor.model.answers import Spread, unknown
from monitor.model.cycle_record import CycleSpool, HeldWater
from monitor.model.oven_progress import Progress, Standing
from monitor.model.spool_event import SpoolEvent, Used, Weighed
from monitor.service.cycle_records import CycleRecords, judged, weighings
from monitor.service.oven_course import _with_end
from web import create_app
from web.openapi import DOCUMENT
from web.openapi_parts import ref

THIN = spool("grey", "petg", place=OVEN, reel="pc", start_pct=0.045, used_g=900.0)
THICK = spool("grey", "petg", place=OVEN, reel="pc", start_pct=0.15)
DRY_ROOM = (22.0, 6.0)


def client_of(site):
    app = create_app(site.queries, None, look_only=True, hosts=frozenset(), zone="UTC", desk=site.acts)
    return app.test_client()


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Four hours confirmed; dry before they are over. What is seen on the way is kept."""
    path = tmp_path_factory.mktemp("course")
    with course_site(path, THIN, room=DRY_ROOM) as site:
        site.tell(Weighed(mass_g=412.30, resolution_g=0.01))
        dried(site, 4.0)
        site.run(0.5 * HOUR_S)
        site.early, site.early_spool = site.look(), site.spool()
        while not site.told and site.run(600.0) is None:
            assert site.look().phase == "drying", site.look().phase
        site.lowered = site.look()
        site.run(0.6 * HOUR_S)
        site.held = site.look()
        site.run(4.0 * HOUR_S - 1800.0 - (site.clock.wall - site.held.cycle.started_wall_s))
        site.room = (22.0, 50.0)  # a damp evening: from the end of heat on it counts
        site.run(3000.0)
        site.tell(Weighed(mass_g=412.26, resolution_g=0.01))
        site.done = site.look()
        while site.store.roll_up(round(1000.0 * site.now)).more:
            pass
        yield site


def test_what_is_dry_is_held_cooler_and_ends_as_it_was_confirmed(whole):
    """D-13, D-06: by the water and not by the clock; the end that a person confirmed stays where it was."""
    assert whole.early.cycle.setpoint_c == 58.0
    assert whole.early.progress.standing is Standing.DRYING
    assert 35.0 <= whole.lowered.cycle.setpoint_c <= 48.0
    assert whole.lowered.cycle.id == whole.early.cycle.id
    assert whole.held.hottest_c == pytest.approx(whole.held.cycle.setpoint_c, abs=2.5)
    assert whole.done.ended.ending == "time_up"
    assert whole.done.ended.duration_s == 4.0 * HOUR_S
    assert whole.kinds().count("lowered") == 1
    assert not whole.rig.is_heated
    assert whole.done.trip is None


def test_people_are_told_once_that_it_is_dry_and_once_until_when_it_may_lie(whole):
    """D-14: with the confirmed end as the first deadline, and that of the room's air as the second."""
    assert whole.types() == ["dry", "take_out"]
    dry, take_out = whole.told
    assert dry.deadline_s == pytest.approx(whole.done.ended.ended_wall_s, abs=30.0)
    assert "Take it out" in dry.act
    assert take_out.deadline_s > whole.done.ended.ended_wall_s
    assert take_out.occurrence == whole.done.ended.cycle
    assert "room's air takes it over its limit" in take_out.what


def test_no_time_runs_out_while_it_is_dried(whole):
    """B-19: the clock of re-wetting starts with the end of heat, in the room's air."""
    assert whole.early_spool.use_before is None
    assert "being dried" in whole.early_spool.use_before_why
    assert whole.spool().use_before is not None


def test_the_record_tells_all_that_was_done(whole):
    """D-10: spools, weights, asked and reached, chamber and room, water before and after, persons, verdict."""
    (note,) = whole.reader.oven_cycles(OVEN)
    record = CycleRecords(whole.reader, whole.queries).record(OVEN, note.cycle)
    (told,) = record.spools
    assert told.told.before.mean_pct[1] > told.told.limit_pct > told.told.after.mean_pct[2]
    assert (told.weighed_before.mass_g, told.weighed_after.mass_g) == (412.30, 412.26)
    assert told.lost_g == pytest.approx(0.04)
    assert told.verdict == "reset", told.verdict_why
    assert record.coverage >= 0.95
    assert record.humidity_coverage >= 0.95
    assert record.persons == ("mara",)
    assert {point.asked_c for point in record.trace} == {58.0, note.last_setpoint_c}
    assert max(point.chamber_c for point in record.trace) == pytest.approx(59.0, abs=1.5)
    assert record.chamber_dew_point_c == pytest.approx(record.room_dew_points[0][1], abs=3.0)
    assert [line.kind for line in record.records][0] == "cycle_started"


def test_the_record_is_a_page_json_and_csv(whole):
    """D-10."""
    client = client_of(whole)
    answered = client.get(f"/api/v1/ovens/{OVEN}/cycles").get_json()
    check_document(answered, ref("OvenCycles"), DOCUMENT)
    listed = answered["cycles"]
    cycle = listed[0]["cycle"]
    page = client.get(f"/ovens/{OVEN}/cycles/{cycle}").get_data(as_text=True)
    for said in (
        "Ran its time: 4 h of 4 h",
        "✓ Reset",
        "412.3 g in steps of 0.01 g",
        "58 °C for 4 h",
        "by mara",
    ):
        assert said in page, said
    assert page.count("<polyline") >= 3
    assert client.get(f"/ovens/{OVEN}/cycles").get_data(as_text=True).count("/cycles/c") == 1
    assert "1 cycle, 4.0 h in all" in client.get("/spools/grey/dryings").get_data(as_text=True)
    assert client.get("/spools/nobody/dryings").status_code == 404
    found = client.get(f"/api/v1/ovens/{OVEN}/cycles/{cycle}").get_json()
    check_document(found, ref("CycleRecord"), DOCUMENT)
    assert found["started"].endswith("Z")
    assert found["spools"][0]["verdict"] == "reset"
    lines = client.get(f"/ovens/{OVEN}/cycles/{cycle}.csv").get_data(as_text=True).splitlines()
    assert lines[0].startswith("time,chamber_c")
    assert len(lines) - 1 == pytest.approx(240, abs=5)
    assert client.get(f"/ovens/{OVEN}/cycles/nothing").status_code == 404


def test_the_chamber_is_kept_a_minute_at_the_most(whole):
    """Bounded writing, however often the controller speaks."""
    rows = whole.reader.oven_air(OVEN, 0, round(1000.0 * whole.now))
    minutes = [row.minute for row in rows]
    assert minutes == sorted(set(minutes))
    assert len(minutes) <= (whole.now - 60.0 * minutes[0]) / 60.0 + 1.0


def test_a_start_over_finds_the_same_state_of_the_spool(whole):
    """The chamber's air is stored, so another process follows the spool to the same figures."""
    assert whole.spool(queries=whole.fresh_queries()).moisture_pct == whole.spool().moisture_pct


@pytest.mark.parametrize(("target_pct", "hours"), [(0.034, 3.0), (0.02, 2.0)])
def test_a_plans_drier_target_ends_it_never_hotter_or_longer_than_confirmed(tmp_path, target_pct, hours):
    """D-13: by the printing limit it would be lowered after 1.1 h; here it is at its target, or its time is up."""
    with course_site(tmp_path, THIN, room=DRY_ROOM) as site:
        site.arm()
        wish = site.wish(setpoint_c=58.0, duration_s=hours * HOUR_S, target_pct=target_pct)
        assert site.acts.start(OVEN, wish, "mara") == ()
        site.run(1.3 * HOUR_S)
        cycle = site.look().cycle
        assert (cycle.setpoint_c, cycle.target_pct, site.told) == (58.0, target_pct, [])
        assert f"target, {target_pct:g} %" in site.look().progress.why
        warmest_c, begun_s = 0.0, cycle.started_wall_s
        while site.look().ended is None:
            site.run(300.0)
            warmest_c = max(warmest_c, site.rig.oven.air_c)
            assert site.clock.wall - begun_s <= (hours + 0.1) * HOUR_S
        ended = site.look().ended
        assert (ended.ending, ended.duration_s, ended.ran_s) == ("time_up", hours * HOUR_S, hours * HOUR_S)
        assert warmest_c < 58.0 + 2.5
        if target_pct == 0.034:
            assert site.types() == ["dry", "take_out"]
            assert site.kinds().count("lowered") == 1
            assert "target" not in site.told[1].why
        else:
            assert site.types() == ["take_out"]
            assert "not sure to be at its plan's target of 0.02 %" in site.told[0].why


def test_a_controller_without_a_humidity_sensor_is_followed_by_the_rooms_vapour(tmp_path):
    """D-12: merely warmed room air is assumed, said to be so, and proves no reset (D-04)."""
    site = CourseSite.__new__(CourseSite)
    site.has_humidity = False
    site.__init__(tmp_path / "no.db", THIN, room=DRY_ROOM)
    try:
        site.air("loft", 2, *DRY_ROOM)
        site.desk.tell_site()
        site.run(60)
        dried(site, 1.0)
        site.run(0.8 * HOUR_S)
        assert site.look().progress.standing is Standing.DRY
        assert "so it goes on as confirmed" in site.look().progress.why
        assert site.look().cycle.setpoint_c == 58.0
        air = site.queries.followers.spools.around(OVEN, round(1000.0 * site.now))
        assert air.relative_humidity == pytest.approx(0.06 * 26.43 / 181.0, rel=0.1)  # hPa at 22 and 58 degC
        assert not air.is_measured
        before = site.spool().moisture_pct.p50
        assert before < 0.045
        site.run(0.5 * HOUR_S)
        (note,) = site.reader.oven_cycles(OVEN)
        record = CycleRecords(site.reader, site.queries).record(OVEN, note.cycle)
        assert record.spools[0].verdict == "partly_reset"
        assert "humidity was not measured" in record.spools[0].verdict_why
    finally:
        site.close()


def test_what_cannot_be_followed_runs_by_the_clock_alone(tmp_path):
    """A tray of desiccant has no estimate here: nothing is said of its water, and its heat ends as confirmed."""
    with course_site(tmp_path, spool("grey", "petg", place="loft")) as site:
        site.arm()
        wish = site.wish(load=("silica_gel_orange",), setpoint_c=70.0, duration_s=0.5 * HOUR_S)
        assert site.acts.start(OVEN, wish, "mara") == ()
        site.run(900.0)
        assert site.look().progress.standing is Standing.UNKNOWN
        assert site.look().progress.said[0].startswith("By the clock alone")
        site.run(1200.0)
        assert site.look().ended.ending == "time_up"
        assert site.told == []


def test_a_fault_in_following_stops_neither_the_oven_nor_the_readings(tmp_path, caplog):
    """Nothing of the supervision rests on the estimate."""
    with course_site(tmp_path, THIN) as site:
        dried(site, 1.0)
        site.run(300.0)
        site.course._progress = lambda *_: 1 / 0
        site.run(600.0)
        assert "cycles could not be followed" in caplog.text
        assert site.look().phase in ("heating", "drying")


@pytest.mark.parametrize(
    ("spread", "left_h", "said", "short_h"),
    [
        ((1.0, 2.0, 3.0), 3.5, "yes", None),
        ((1.0, 2.0, 3.0), 2.5, "likely", None),
        ((1.0, 2.0, 3.0), 0.5, "no", 1.5),
        ((1.0, None, None), 9.0, "no", None),
        ((1.0, 2.0, None), 9.0, "likely", None),
    ],
)
def test_the_confirmed_time_is_held_against_the_water(spread, left_h, said, short_h):
    """D-13: said, and longer proposed; nothing is lengthened by it."""
    progress = Progress(
        cycle="c1", at_s=0.0, standing=Standing.DRYING, why="", left_g=unknown("-"),
        dry_after_h=Spread(p10=spread[0], p50=spread[1], p90=spread[2]),
    )  # fmt: skip
    found = _with_end(progress, 3600.0 * left_h)
    assert found.ends_in_time == said
    assert found.short_by_s == (None if short_h is None else pytest.approx(3600.0 * short_h))


WATER = HeldWater(
    mean_pct=(0.02, 0.03, 0.035), outer_pct=(0.02, 0.03, 0.035), water_g=(0.1, 0.1, 0.1), left_g=200.0
)
TOLD = CycleSpool(
    key="grey", name="grey", material="petg", limit_pct=0.04, material_limit_c=65.0, body_limit_c=90.0, after=WATER
)  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "cover", "verdict", "why"),
    [
        ({}, (0.96, 0.96), "reset", "measured through"),
        ({}, (0.94, 0.94), "partly_reset", "94 % of its time"),
        ({}, (0.99, 0.5), "partly_reset", "humidity was not measured"),
        ({"ending": "stopped"}, (0.99, 0.99), "partly_reset", "did not run as it was confirmed"),
        ({"ending": "dry"}, (0.99, 0.99), "reset", "measured through"),
        ({"ended_s": None}, (0.99, 0.99), "runs", "runs"),
    ],
)
def test_a_reset_needs_evidence(whole, changes, cover, verdict, why):
    """D-04."""
    (note,) = whole.reader.oven_cycles(OVEN)
    found = judged(TOLD, replace(note, **({"ending": "time_up"} | changes)), *cover)
    assert found[0] == verdict
    assert why in found[1]


def told_at(hours, what):
    return SpoolEvent(spool="grey", at_s=START_S + hours * HOUR_S, entered_s=0.0, who="mara", what=what)


def weighed(hours, mass_g):
    return told_at(hours, Weighed(mass_g=mass_g, resolution_g=0.1))


def test_what_was_printed_in_between_is_not_taken_for_water():
    """D-22: the nearest weighings of a cycle from hour 24 to 30; a use makes a difference tell nothing."""
    end_s = START_S + 30 * HOUR_S

    def found(*events):
        pair = weighings(events, START_S + 24 * HOUR_S, end_s, is_over=True)
        return tuple(None if each is None else each.mass_g for each in pair)

    assert found(weighed(-1, 9.0), weighed(1, 500.0), weighed(23, 499.0), weighed(31, 490.0)) == (
        499.0,
        490.0,
    )
    assert found(weighed(20, 500.0), told_at(22, Used(grams=5.0)), weighed(31, 490.0)) == (None, 490.0)
    assert found(weighed(20, 500.0), told_at(30.5, Used(grams=5.0)), weighed(31, 490.0)) == (500.0, None)
    assert found(weighed(20, 500.0), weighed(26, 495.0), weighed(55, 490.0)) == (500.0, None)
