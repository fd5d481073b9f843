"""What people ask about their spools, each as given data and the answer shown (D-30)."""

import pytest
from support.spool_site import BOX, HOUR_S, OTHER_BOX, OVEN, ROOM, START_S, spool, spool_site

from monitor.model.spool_event import Bagged, Moved, Opened, Sign, Signs, Weighed


def width(spread):
    return spread.p90 - spread.p10


def test_p01_a_new_sealed_spool_is_not_taken_for_dry(tmp_path):
    """P01: a factory seal does not mean dry; drying before first use is advised, and a weighing narrows."""
    with spool_site(tmp_path, spool(material="pa6", start="sealed")) as site:
        site.tell(Bagged())
        site.pass_time(24, crate=10.0)
        new = site.spool()
        assert new.verdict == "dry_first"
        assert new.moisture_pct.p90 > 2.0 * new.moisture_pct.p10
        assert "does not prove it dry" in new.reasons["moisture_pct"]


def test_p03_invisible_wetness_is_shown_against_two_limits(tmp_path):
    """P03: no pops, yet weak: water between the limit for looks and the one for strength."""
    with spool_site(tmp_path, spool(material="petg", start_pct=0.07)) as site:
        site.pass_time(6, crate=18.0)
        answer = site.spool()
        assert answer.limit_pct == 0.04
        assert answer.looser_limit_pct == 0.1
        assert answer.limit_pct < answer.moisture_pct.p10
        assert answer.moisture_pct.p90 < answer.looser_limit_pct
        assert answer.verdict == "dry_first"
        assert "look right" in answer.verdict_why


def test_p05_how_long_depends_on_this_spool(tmp_path):
    """P05: a start that is known and a thinner winding change the answer, not a chart for anything."""
    full, thin = spool("full", start_pct=0.15), spool("thin", start_pct=0.15, net_g=1000.0, used_g=800.0)
    with spool_site(tmp_path, full, thin) as site:
        for key in ("full", "thin"):
            site.tell(Moved(place=OVEN), spool=key)
        site.now += 6 * HOUR_S
        site.air(OVEN, 6, 60.0, 5.0)
        assert site.spool("thin").moisture_pct.p50 < 0.75 * site.spool("full").moisture_pct.p50


def test_p11_dry_air_is_not_yet_dry_plastic(tmp_path):
    """P11: two gauges; days in a dry box leave a wet spool wet."""
    with spool_site(tmp_path, spool(material="pa6", start_pct=1.5)) as site:
        site.pass_time(72, crate=3.0)
        status = site.queries.status()
        box = next(each for each in status.boxes if each.key == BOX)
        answer = site.spool()
        assert box.air.humidity_pct < box.limit_humidity_pct  # the air is well
        assert answer.moisture_pct.p10 > answer.limit_pct  # the filament is not
        assert answer.verdict == "dry_first"
        assert answer.trend == "recover"
        assert "days, if the air there stays so" in answer.trend_why


def test_p19_a_cardboard_reel_makes_the_scale_useless(tmp_path):
    """P19, D-21: cardboard drinks more than the filament."""
    with spool_site(tmp_path, spool(reel="card", start_pct=0.04)) as site:
        site.tell(Weighed(mass_g=1180.0, resolution_g=0.1))
        site.pass_time(48, crate=12.0)
        before = site.spool()
        site.tell(Weighed(mass_g=1185.0, resolution_g=0.1))
        after = site.spool()
        assert "cardboard" in after.account.weighing
        assert after.moisture_pct.p50 < 1.5 * before.moisture_pct.p50  # 5 g would be 0.5 %


@pytest.mark.parametrize(("material", "start_pct"), [("tpu_ether", 0.015), ("pva", 0.5), ("pa6", 0.1)])
def test_p20_a_dry_spool_on_the_printer_has_hours_not_days(tmp_path, material, start_pct):
    """P20: the re-wet time follows from the room's humidity, and a dry box has none."""
    with spool_site(tmp_path, spool(material=material, start_pct=start_pct)) as site:
        site.pass_time(24, loft=55.0, crate=1.0)
        site.tell(Moved(place=ROOM))
        on_printer = site.spool()
        assert on_printer.trend == "run"
        left_h = (_seconds(on_printer.use_before) - site.now) / HOUR_S
        assert 0.0 < left_h < 24.0
        site.tell(Moved(place=BOX))
        in_box = site.spool()
        assert in_box.use_before is None or _seconds(in_box.use_before) - site.now > 48 * HOUR_S


def test_p21_pva_left_out_for_a_week_is_over_its_limit_and_in_a_swamp_lost(tmp_path):
    """P21: bands up to beyond saving."""
    with spool_site(tmp_path, spool(material="pva", start_pct=0.5, place=ROOM)) as site:
        site.pass_time(7 * 24, loft=50.0)
        assert site.spool().verdict == "dry_first"
    (tmp_path / "b").mkdir()
    with spool_site(tmp_path / "b", spool(material="pva", start_pct=0.5, place=ROOM)) as site:
        site.pass_time(60 * 24, loft=93.0)
        assert site.spool().verdict == "damaged"


def test_p22_snapping_pla_is_told_apart_from_wet_pla(tmp_path):
    """P22: drying will not repair this."""
    with spool_site(tmp_path, spool(material="pla", place=ROOM)) as site:
        site.pass_time(24, loft=45.0)
        before = site.spool().moisture_pct
        site.tell(Signs(seen=(Sign.SNAPS,)))
        after = site.spool()
        assert after.moisture_pct == before
        assert "drying repairs neither" in after.account.signs


def test_p23_tpu_that_strings_after_drying_is_judged_by_what_water_is_left(tmp_path):
    """P23: low water left means set-up, much water left means longer."""
    for start_pct, words in ((0.01, "look for"), (0.3, None)):
        folder = tmp_path / str(start_pct)
        folder.mkdir()
        with spool_site(folder, spool(material="tpu_ether", start_pct=start_pct)) as site:
            site.pass_time(1, crate=2.0)
            site.tell(Signs(seen=(Sign.STRINGS,)))
            said = site.spool().account.signs
            assert (said is None) if words is None else (words in said)


def test_p27_the_spool_with_the_least_time_left_is_told_by_its_date(tmp_path):
    """P27: use-before orders them: the thirstier and the damper ones come first."""
    spools = [
        spool("nylon", "pa6", start_pct=0.1),
        spool("asa", "asa", start_pct=0.02),
        spool("boxed", "pa6", start_pct=0.1, place=BOX),
    ]
    with spool_site(tmp_path, *spools) as site:
        site.pass_time(24, loft=50.0, crate=4.0)
        for key in ("nylon", "asa"):
            site.tell(Moved(place=ROOM), spool=key)
        ends = {each.key: each.use_before for each in site.queries.status().spools}
        assert ends["nylon"] < ends["asa"]
        assert ends["boxed"] is None or ends["boxed"] > ends["nylon"]


def test_p29_dried_last_week_and_kept_dry_it_still_is(tmp_path):
    """P29, D-04: a measured drying resets the account; what came since is counted from there."""
    with spool_site(tmp_path, spool(material="petg", start_pct=0.2)) as site:
        site.tell(Moved(place=OVEN))
        site.now += 24 * HOUR_S
        site.air(OVEN, 24, 62.0, 4.0)
        site.tell(Moved(place=BOX))
        site.pass_time(7 * 24, crate=4.0, loft=50.0)
        kept = site.spool()
        assert kept.account.reset is not None
        assert kept.account.dryings == 1
        assert kept.exposure_h == 0.0
        assert kept.verdict == "ready"
        assert [stay.is_hot for stay in kept.account.stays] == [True, False]
        assert kept.account.stays[0].gained_g < -1.0
        site.tell(Moved(place=ROOM))
        site.pass_time(5 * 24, loft=50.0, crate=4.0)
        out = site.spool()
        assert out.exposure_h == pytest.approx(120.0, abs=1.0)
        assert out.verdict == "dry_first"
        assert out.account.stays[1].equivalent_pct == pytest.approx(4.0, abs=1.5)


def test_d04_a_drying_with_holes_in_its_record_resets_only_in_part(tmp_path):
    """D-04: coverage of 95 % or it is no evidence."""
    with spool_site(tmp_path, spool(material="petg", start_pct=0.2)) as site:
        site.tell(Moved(place=OVEN))
        site.now += 24 * HOUR_S
        site.air(OVEN, 12, 62.0, 4.0, from_s=START_S)
        site.air(OVEN, 9, 62.0, 4.0, from_s=START_S + 15 * HOUR_S)
        site.tell(Moved(place=BOX))
        site.pass_time(24, crate=6.0)
        account = site.spool().account
        assert account.reset is None
        assert account.partly_reset is not None


def test_p36_two_spools_of_one_material_come_to_have_figures_of_their_own(tmp_path):
    """P36: the same air, another gain on the scale: another forecast afterwards."""
    spools = [spool(key, "pa6", start_pct=0.1) for key in ("north", "south")]
    with spool_site(tmp_path, *spools) as site:
        for key in ("north", "south"):
            site.tell(Weighed(mass_g=1200.0, resolution_g=0.01), spool=key)
        site.pass_time(7 * 24, crate=50.0)
        for key, gain_g in (("north", 3.5), ("south", 12.0)):
            site.tell(Weighed(mass_g=1200.0 + gain_g, resolution_g=0.01), spool=key)
        first = {key: site.spool(key).water_g.p50 for key in ("north", "south")}
        site.pass_time(7 * 24, crate=50.0)
        gained = {key: site.spool(key).water_g.p50 - first[key] for key in ("north", "south")}
        assert first["south"] - first["north"] > 5.0
        assert gained["south"] > 1.1 * gained["north"]  # though it is the wetter one by now


def test_p39_a_spool_keeps_its_history_through_its_moves(tmp_path):
    """P39: the account belongs to the spool; a move is one record."""
    with spool_site(tmp_path, spool(start_pct=0.02)) as site:
        site.pass_time(24, crate=10.0, loft=50.0, chest=10.0)
        site.tell(Moved(place=ROOM))
        site.pass_time(24, crate=10.0, loft=50.0, chest=10.0)
        site.tell(Moved(place=OTHER_BOX))
        site.pass_time(24, crate=10.0, loft=50.0, chest=10.0)
        stays = site.spool().account.stays
        assert [stay.place for stay in stays] == [BOX, ROOM, OTHER_BOX]
        assert [round(stay.hours) for stay in stays] == [24, 24, 24]
        assert stays[1].gained_g > 5.0 * abs(stays[0].gained_g)
        status = site.queries.status()
        assert {box.key: box.spools for box in status.boxes} == {BOX: (), OTHER_BOX: ("grey",)}


def test_a_bag_opened_days_ago_and_told_today_counts_from_then(tmp_path):
    """Late entries are the rule in a shop of many hands."""
    with spool_site(tmp_path, spool(start_pct=0.02, place=ROOM)) as site:
        site.tell(Bagged())
        site.pass_time(5 * 24, loft=55.0)
        assert site.spool().moisture_pct.p50 == pytest.approx(0.02, rel=0.01)
        site.tell(Opened(), hours_ago=3 * 24)
        opened = site.spool()
        assert opened.moisture_pct.p50 > 0.05
        assert opened.exposure_h == pytest.approx(72.0, abs=1.0)


def test_a_long_time_in_a_known_box_narrows_what_was_not_known(tmp_path):
    """An unknown start is forgotten by whoever sits long enough in air that is measured."""
    with spool_site(tmp_path, spool(material="pla", start="unknown")) as site:
        site.pass_time(1, crate=12.0)
        first = site.spool().moisture_pct
        for _ in range(6):
            site.pass_time(10 * 24, crate=12.0)
        last = site.spool().moisture_pct
        assert width(last) < 0.3 * width(first)


def _seconds(rfc3339):
    import datetime as dt

    return dt.datetime.fromisoformat(rfc3339).timestamp()
