"""What people ask about a drying while it runs and after it, each as given data and the answer shown (D-30)."""

import datetime as dt

import pytest
from support.oven_course_site import HOUR_S, OVEN, course_site, dried, spool
from support.spool_site import ROOM, spool_site

from monitor.estimate.oven_end import look_ahead
from monitor.model.oven_progress import Standing
from web import create_app


def page_of(site, path):
    app = create_app(site.queries, None, look_only=True, hosts=frozenset(), zone="UTC", desk=site.acts)
    return " ".join(app.test_client().get(path).get_data(as_text=True).split())


def hours_left(site, key="grey"):
    return (dt.datetime.fromisoformat(site.spool(key).use_before).timestamp() - site.now) / HOUR_S


def test_p04_it_is_dry_when_its_water_says_so_and_not_when_a_timer_does(tmp_path):
    """P04: two hours confirmed; it needed next to nothing, is held cooler, and the page says why and what to do."""
    thin = spool("grey", "petg", place=OVEN, reel="pc", start_pct=0.03, used_g=850.0)
    with course_site(tmp_path, thin, room=(22.0, 10.0)) as site:
        dried(site, 2.0)
        site.run(0.9 * HOUR_S)
        look = site.look()
        assert look.phase == "drying"
        assert look.left_s > HOUR_S
        assert look.cycle.setpoint_c < 48.0
        page = page_of(site, f"/ovens/{OVEN}")
        assert "It is dry: since" in page
        assert "Take it out; opening the door ends the heat." in page
        assert site.types() == ["dry"]
        site.rig.faults.door_open = True
        site.run(120.0)
        assert site.look().ended.ending == "dry"
        assert not site.rig.is_heated
        assert site.types() == ["dry", "take_out"]


def test_p38_a_drying_that_was_cut_short_tells_how_far_it_got(tmp_path):
    """P38, P05: the page proposes longer before, tells what it holds after, and heats nothing by itself."""
    thick = spool("grey", "petg", place=OVEN, reel="pc", start_pct=0.15)
    with course_site(tmp_path, thick) as site:
        dried(site, 2.0)
        site.run(0.5 * HOUR_S)
        look = site.look()
        assert look.progress.ends_in_time == "no"
        assert look.progress.short_by_s > HOUR_S
        page = page_of(site, f"/ovens/{OVEN}")
        assert "The confirmed time will not do" in page
        assert "Give it longer: its time will not do" in page
        assert "Water left above the limits" in page
        site.start_monitor()
        site.run(300.0)
        (note,) = site.reader.oven_cycles(OVEN)
        assert note.ending == "restarted"
        assert note.ran_s == pytest.approx(0.5 * HOUR_S, abs=60.0)
        (told,) = note.spools
        assert told.limit_pct < told.after.mean_pct[1] < told.before.mean_pct[1]
        assert site.types() == ["not_dry"]
        assert not site.rig.is_heated
        assert site.look().cycle is None
        page = page_of(site, f"/ovens/{OVEN}")
        assert "Interrupted at 3" in page
        assert "of 2 h" in page
        assert "Water still to go" in page
        assert "Plan the rest anew" in page


def test_p20_the_room_and_not_the_oven_says_how_long_it_may_lie(tmp_path):
    """P20, D-14: dry in a hot oven, the deadline is that of the room's air: hours in a damp one, days in a dry one."""
    found = {}
    for name, humidity in (("damp", 65.0), ("usual", 40.0)):
        folder = tmp_path / name
        folder.mkdir()
        nylon = spool("grey", "pa6", place=OVEN, reel="pc", start_pct=0.06, used_g=700.0)
        with spool_site(folder, nylon) as site:
            site.now += 24 * HOUR_S
            site.air(OVEN, 24, 80.0, 0.5)
            site.air(ROOM, 24, 23.0, humidity)
            answer = site.spool()
            assert answer.outer_pct.p90 < answer.limit_pct
            assert "air of the room counts" in answer.reasons["heading_for_pct"]
            found[name] = hours_left(site)
            needs = [need for need in site.queries.status().needs if "over its limit" in need.what]
            assert (needs != []) == (found[name] <= 12.0)
            if needs:
                assert "Kiln" in needs[0].what
    assert 0.0 < found["damp"] < found["usual"]
    assert found["damp"] < 12.0


def test_p35_a_dryer_in_a_damp_room_makes_it_wetter_and_says_so(tmp_path):
    """P35: 45 degC over air of 24 degC and 85 %RH; the floor is above the limit, and no time gets below it."""
    dry = spool("grey", "petg", place=OVEN, reel="pc", start_pct=0.03, used_g=800.0)
    with spool_site(tmp_path, dry) as site:
        before = site.spool().moisture_pct.p50
        for _ in range(10):
            site.now += 24 * HOUR_S
            site.air(OVEN, 24, 45.0, 26.5)
            site.air(ROOM, 24, 24.0, 85.0)
        answer = site.spool()
        assert answer.moisture_pct.p50 > 1.3 * before
        at_ms = round(1000.0 * site.now)
        follower = site.queries.followers.spools
        ahead = look_ahead([follower.tracks(at_ms)["grey"]], follower.around(OVEN, at_ms))
        assert ahead.standing is Standing.FLOOR
        assert ahead.floor_pct > answer.limit_pct
        assert ahead.dry_after_h.p50 is None
