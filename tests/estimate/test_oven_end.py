"""D-13, D-14: dry by the water left, the hold that keeps it so, and the time in the room's air."""

from dataclasses import replace

import pytest
from support.spool_site import HOUR_S, OVEN, spool

from monitor.estimate import oven_end, spool_track
from monitor.estimate.spool_belief import Body
from monitor.estimate.spool_course import Around, dryer_air
from monitor.library import load_library
from monitor.model.oven_progress import Standing
from monitor.model.plan import Goal

LIBRARY = load_library()


def room(humidity, temperature_c=22.0):
    return Around(
        place="loft", temperature_c=temperature_c, relative_humidity=humidity, relative_humidity_sd=0.015
    )


def chamber(temperature_c, humidity):
    return Around(
        place=OVEN,
        temperature_c=temperature_c,
        relative_humidity=humidity,
        relative_humidity_sd=0.015,
        is_heated=True,
    )


def track(material="petg", hours=0.0, air=None, **members):
    """A spool as it comes, or after so many hours in an air."""
    made = spool("grey", material, reel="pc", **members)
    body = Body(spool=made, material=LIBRARY.material(material), reel=LIBRARY.reel("pc"))
    found = spool_track.begin(body, 0.0)
    return spool_track.step([found], [air], hours * HOUR_S)[0] if air is not None else found


HOT = chamber(58.0, 0.004)
DRY = track(hours=60.0, air=HOT, start_pct=0.05, used_g=800.0)
WET = track(start_pct=0.2)


def test_a_wet_spool_is_not_dry_and_says_how_much_is_left():
    """P04: not by a timer; 1.6 g above 0.04 % in a kilogram at 0.2 %."""
    ahead = oven_end.look_ahead([WET], HOT)
    assert ahead.standing is Standing.DRYING
    assert ahead.left_g.p10 < 1.6 < ahead.left_g.p90
    assert ahead.rate_g_h > 0.0
    assert ahead.dry_after_h.p50 > 1.0


def test_dry_needs_both_all_members_under_and_nothing_gained_by_an_hour():
    """D-13: the gain is less than what is known, and nine members of ten are under the limit."""
    ahead = oven_end.look_ahead([DRY], HOT)
    assert ahead.standing is Standing.DRY
    assert ahead.gain_g < ahead.known_g
    assert (ahead.left_g.p90, ahead.dry_after_h.p90) == (0.0, 0.0)


def test_a_plans_drier_target_is_what_counts_as_dry():
    """D-13: the same spool is dry for its printing limit, on its way to a target, and stuck above another."""
    standings = {
        target_pct: oven_end.look_ahead([DRY], HOT, goal=Goal(target_pct=target_pct)).standing
        for target_pct in (0.2, 0.015, 0.01, 0.001)
    }
    assert standings == {
        0.2: Standing.DRY,  # looser than the printing limit: that holds
        0.015: Standing.DRY,
        0.01: Standing.DRYING,  # nine members of ten are not there yet
        0.001: Standing.FLOOR,  # this air leaves more in it
    }
    ahead = oven_end.look_ahead([DRY], HOT, goal=Goal(target_pct=0.01))
    assert ahead.target_pct == 0.01
    assert ahead.left_g.p90 > 0.0
    assert oven_end.look_ahead([DRY], HOT).target_pct is None


def test_a_target_for_the_first_metres_asks_nothing_more_of_the_rest():
    """Only these metres must be at it; all the others under their printing limit, as ever."""
    part, wetter = (track(hours=hours, air=HOT, start_pct=0.06) for hours in (8.0, 2.0))
    whole = oven_end.look_ahead([wetter], HOT, goal=Goal(target_pct=0.03))
    first = oven_end.look_ahead([wetter], HOT, goal=Goal(target_pct=0.03, first_m=20.0))
    assert not oven_end.is_at([part], Goal(target_pct=0.03))
    assert oven_end.is_at([part], Goal(target_pct=0.03, first_m=20.0))
    assert first.dry_after_h.p50 < whole.dry_after_h.p50


def test_the_hold_keeps_the_drier_target_too():
    """Cooler air that would do for printing, but would wet it over the target, is no hold."""
    loft = [room(0.06)]
    assert oven_end.hold_c([DRY], loft, 58.0) == 35.0
    assert 40.0 < oven_end.hold_c([DRY], loft, 58.0, Goal(target_pct=0.01)) <= 48.0
    assert oven_end.hold_c([DRY], loft, 58.0, Goal(target_pct=0.002)) is None


def test_one_wet_spool_keeps_the_whole_load_drying():
    """The load is dry when the last of it is."""
    assert oven_end.look_ahead([DRY, WET], HOT).standing is Standing.DRYING


def test_little_gained_by_an_hour_alone_is_not_dry():
    """A band so wide that an hour's gain is lost in it must not end anything: it is wet all the same."""
    unsure = track("pa6")
    ahead = oven_end.look_ahead([unsure], chamber(58.0, 0.02))
    assert ahead.gain_g < ahead.known_g
    assert ahead.standing is Standing.DRYING


def test_vapour_above_the_rooms_speaks_against_dry():
    """physics 6: the release seen in the chamber's dew point has to have died away."""
    assert oven_end.look_ahead([DRY], HOT, releasing=True).standing is Standing.RELEASING
    dry_air = room(0.20)
    assert oven_end.is_releasing(chamber(58.0, 0.10), dry_air) is True
    assert oven_end.is_releasing(chamber(58.0, 0.035), dry_air) is False
    assert oven_end.is_releasing(dryer_air(58.0, dry_air), dry_air) is None


def test_air_that_leaves_too_much_is_called_a_floor():
    """D-12, P35: going on in damp air dries no further, and no time is promised."""
    damp = chamber(45.0, 0.25)
    settled = track(hours=400.0, air=damp, start_pct=0.2, used_g=900.0)
    ahead = oven_end.look_ahead([settled], damp)
    assert ahead.standing is Standing.FLOOR
    assert ahead.floor_pct > 100.0 * settled.body.material.limit_content
    assert ahead.dry_after_h.p50 is None


def test_the_hold_keeps_it_dry_and_is_cooler():
    """D-06: as cool as keeps nine members of ten under the limit; damper air needs it warmer, or there is none."""
    dry, damp = (oven_end.hold_c([DRY], [room(h)], 58.0) for h in (0.10, 0.20))
    assert dry < damp <= 48.0
    assert oven_end.hold_c([DRY], [room(0.70)], 58.0) is None
    assert oven_end.hold_c([DRY], [room(0.10), room(0.20)], 58.0) == damp
    held = spool_track.step(
        [DRY], [replace(oven_end.at_setpoint(room(0.20), damp), is_heated=True)], 200 * HOUR_S
    )
    assert spool_track.means(held[0].body, held[0].belief)[2] <= DRY.body.material.limit_content


def test_a_chamber_that_warms_up_is_taken_as_it_will_be():
    """The same vapour at the set-point; never cooled by it."""
    warming = chamber(40.0, 0.10)
    hot = oven_end.at_setpoint(warming, 58.0)
    assert hot.temperature_c == 58.0
    assert hot.relative_humidity == pytest.approx(0.10 * 73.8 / 181.6, rel=0.02)  # hPa at 40 and 58 degC
    assert oven_end.at_setpoint(chamber(60.0, 0.1), 58.0).temperature_c == 60.0


@pytest.mark.parametrize("material", ["petg", "pa6"])
def test_damper_rooms_leave_less_time(material):
    """D-14, P20: monotonic, with its band; a room that is dry enough leaves any time."""
    dried = track(material, hours=80.0, air=chamber(70.0, 0.002), start_pct=0.05, used_g=800.0)
    damp, usual = oven_end.rewet(dried, room(0.70)), oven_end.rewet(dried, room(0.45))
    for found in (damp, usual):
        assert 0.0 < found.earliest_h <= found.likely_h
        assert found.latest_h is None or found.likely_h <= found.latest_h
    assert damp.likely_h < usual.likely_h
    assert oven_end.rewet(dried, room(0.005)).earliest_h is None


def test_a_spool_over_its_limit_has_no_time_left():
    """No deadline lies ahead of what has passed."""
    found = oven_end.rewet(WET, room(0.45))
    assert (found.earliest_h, found.likely_h) == (0.0, 0.0)
