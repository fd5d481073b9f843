"""What people ask about drying, each as given data and the answer shown, as far as it is about plans (D-30).

Not about plans, and held elsewhere or by the supervision of ovens: the end by the release of water (P04), the
verdict on two weighings (P30), the odour stop (P32), the interrupted record (P38). Of these a plan says the part
that is tested here.
"""

from dataclasses import replace

import numpy as np
import pytest
from support.plan_loads import KILN, LIBRARY, NOW_S, ROOM, VENTED, load_spool, plan_of

from monitor.errors import FieldError
from monitor.estimate.plan_course import LoadSpool, chamber_of, course_of
from monitor.estimate.plan_times import at_text
from monitor.estimate.spool_belief import unstack
from monitor.model.plan import Plan, Refused, RoomAir

DRY_ROOM = RoomAir(temperature_c=22.0, humidity_pct=25.0)
MUGGY = RoomAir(temperature_c=28.0, humidity_pct=75.0)


def said(plan, words):
    return any(words in caution for caution in plan.cautions)


def test_p04_the_end_is_when_nine_in_ten_such_spools_are_dry():
    """P04: not a timer's figure: the 90th percentile over what is not known is what is set, finite (B-15)."""
    plan = plan_of(load_spool("asa", start_pct=0.4))
    assert plan.duration_h.p10 < plan.duration_h.p50 < plan.duration_h.p90 <= plan.run_h
    assert plan.run_h - plan.duration_h.p90 < 0.25


def test_p05_how_long_depends_on_this_spool():
    """P05: wetter takes longer, a thinner winding less, and spoked flanges less again."""
    hours = {
        name: plan_of(load_spool("petg", **members), room=DRY_ROOM).duration_h.p50
        for name, members in {
            "usual": {"start_pct": 0.15},
            "wetter": {"start_pct": 0.25},
            "quarter": {"start_pct": 0.15, "used_g": 750.0},
            "spoked": {"start_pct": 0.15, "flanges": "open"},
        }.items()
    }
    assert hours["wetter"] > 1.15 * hours["usual"]
    assert hours["quarter"] < 0.75 * hours["usual"]
    assert hours["spoked"] < 0.9 * hours["usual"]


def test_p06_the_temperature_that_suits_nylon_is_never_given_to_pla():
    """P06: windows differ so much that one number ruins the other."""
    nylon = plan_of(load_spool("pa6", start_pct=1.0), room=DRY_ROOM)
    pla = plan_of(load_spool("pla", start_pct=0.3), room=DRY_ROOM)
    assert nylon.temperature_c == 78.0
    assert pla.temperature_c == 43.0
    assert "PLA" in pla.limited_by.item


def test_p07_a_kitchen_oven_that_overshoots_by_fourteen_degrees_is_refused_for_pla():
    """P07: the guard band takes all that is useful, and the refusal says so with the limiting item."""
    answer = plan_of(load_spool("pla"), oven=replace(KILN, overshoot_c=14.0))
    assert isinstance(answer, Refused)
    assert "guard of 16 °C" in answer.refused.detail
    assert answer.refused.limit_c == 50.0
    assert "PLA" in answer.refused.limiting_item
    assert isinstance(plan_of(load_spool("abs"), oven=replace(KILN, overshoot_c=14.0)), Plan)


def test_p08_a_reel_that_softens_first_sets_the_temperature():
    """P08, H22: not only filament warps."""
    stands = plan_of(load_spool("pa6", reel="pc"), room=DRY_ROOM)
    softens = plan_of(load_spool("pa6", reel="pp", start_pct=0.5), room=DRY_ROOM, target_pct=0.4)
    assert softens.temperature_c == 63.0 < stands.temperature_c
    assert softens.limited_by.item == "polypropylene reel (Pa6)"


def test_p09_of_a_mixed_load_it_is_told_who_is_done_when():
    """P09: the common temperature is the least of all, and each spool has its own end."""
    plan = plan_of(
        load_spool("asa", start_pct=0.3), load_spool("petg", start_pct=0.1), oven=VENTED, room=DRY_ROOM
    )
    assert plan.temperature_c == 58.0
    asa, petg = plan.spools
    assert asa.duration_h.p50 != petg.duration_h.p50
    assert plan.duration_h.p50 == max(asa.duration_h.p50, petg.duration_h.p50)
    assert asa.reaches_target
    assert petg.reaches_target


def test_p09_who_would_be_held_back_must_not_go_with_the_other():
    """P09: nylon at the temperature of PLA never gets dry; the refusal says what it takes alone."""
    answer = plan_of(load_spool("pa6", start_pct=1.0), load_spool("pla", start_pct=0.3), room=DRY_ROOM)
    assert isinstance(answer, Refused)
    assert answer.refused.title == "These must not go together"
    assert "Alone, at 78 °C" in answer.refused.detail
    assert "PLA" in answer.refused.limiting_item


def test_p09_a_dry_spool_that_a_wet_one_would_wet_is_left_out():
    """P09: in a chamber that hardly exchanges its air one spool's water is another's."""
    tight = replace(VENTED, vent_m3_h=0.02)
    answer = plan_of(
        load_spool("petg", start_pct=0.038), load_spool("pa6", start_pct=2.4), oven=tight, room=DRY_ROOM
    )
    assert isinstance(answer, Refused)
    assert answer.refused.title == "These must not go together"
    assert "Petg is dry already" in answer.refused.detail


def test_more_spools_than_the_oven_takes_are_refused():
    """A load that does not fit is not half a plan."""
    answer = plan_of(*(load_spool("petg", key=f"p{n}") for n in range(3)), oven=replace(KILN, spools_max=2))
    assert answer.refused.title == "Too many spools"


@pytest.mark.parametrize("material", ["pa6", "tpu_ether", "pva"])
def test_p20_what_is_dried_is_over_its_limit_again_within_hours_in_the_room(material):
    """P20, D-14: the deadline begins at hand-over, in the room's own air."""
    start_pct = {"pa6": 1.5, "tpu_ether": 0.5, "pva": 3.0}[material]
    plan = plan_of(
        load_spool(material, start_pct=start_pct), room=RoomAir(temperature_c=23.0, humidity_pct=45.0)
    )
    (spool,) = plan.spools
    if spool.reaches_target:
        assert 0.0 < spool.rewet_h.p50 < 24.0
    else:
        assert spool.rewet_h.p50 is None
        assert spool.rewet_h.why


def test_p21_pva_is_dried_cool_and_fed_cold_and_what_grew_together_is_refused():
    """P21: low heat; beyond saving is told before any heat is spent."""
    plan = plan_of(load_spool("pva", start_pct=3.0), room=DRY_ROOM)
    assert plan.temperature_c <= 48.0
    assert said(plan, "cool to room temperature before it is fed")
    assert plan_of(load_spool("pva", start_pct=11.0)).refused.title == "Beyond saving"
    spoiled = load_spool("pla", account={"spoiled": "it fused"})
    assert "it fused" in plan_of(spoiled).refused.detail


def test_p28_ready_by_six_tomorrow_is_planned_backwards_and_as_cool_as_is_in_time():
    """P28, D-11, B-46: the start follows from the end; with time in hand it is done ten degrees cooler."""
    load = load_spool("asa", start_pct=0.3)
    now = plan_of(load, room=DRY_ROOM)
    later = plan_of(load, room=DRY_ROOM, ready_by_h=33.0)
    assert later.temperature_c == now.temperature_c - 10.0
    assert later.finish_at == at_text(NOW_S + 33.0 * 3600.0)
    assert later.start_at == at_text(NOW_S + (33.0 - later.run_h - later.cool_h) * 3600.0)
    assert later.is_in_time
    assert now.temperature_c in [each.temperature_c for each in later.fall_backs]


def test_p28_too_late_is_told_with_the_earliest_time():
    """D-11: not possible comes with what is."""
    plan = plan_of(load_spool("pa6", start_pct=1.0), room=DRY_ROOM, ready_by_h=3.0)
    assert plan.is_in_time is False
    assert plan.start_at == at_text(NOW_S)
    assert said(plan, "at the earliest")


def test_p30_the_grams_that_a_scale_should_show_are_told_beforehand():
    """P30: a full spool of PLA at 0.4 % holds 4 g: what drying takes off follows, with its range."""
    (spool,) = plan_of(load_spool("pla", start_pct=0.4)).spools
    left_pct = spool.leads_to_pct
    assert spool.water_g.p50 == pytest.approx(10.0 * (0.4 - left_pct), rel=0.1)
    assert spool.water_g.p10 < spool.water_g.p50 < spool.water_g.p90


def test_p31_overnight_needs_a_tested_cut_out_and_more():
    """P31, B-51: the answer has its conditions, and without a cut-out it is attended use only."""
    bare = plan_of(load_spool("pa6", start_pct=1.0), room=DRY_ROOM)
    assert said(bare, "attended use only")
    assert said(bare, "overnight, counts as unattended")
    assert said(bare, "thermal cut-out is what makes it safe")
    tested = replace(KILN, cutout_c=115.0, cutout_tested_s=NOW_S)
    assert not said(plan_of(load_spool("pa6", start_pct=1.0), oven=tested, room=DRY_ROOM), "is entered for")


def test_p32_every_plan_says_what_its_material_gives_off_and_that_food_is_over():
    """P32, B-42, B-43: styrene for ABS and ASA; no food ever again."""
    plan = plan_of(load_spool("asa"), room=DRY_ROOM)
    assert said(plan, "styrene")
    assert said(plan, "never used for food again")
    assert said(plan, "burn")


def test_p35_a_dryer_in_a_humid_room_that_would_wet_the_spool_is_refused():
    """P35, D-12: the floor of today's air lies above what the spool holds."""
    answer = plan_of(load_spool("pla", start_pct=0.1), room=MUGGY)
    assert isinstance(answer, Refused)
    assert "75 %RH" in answer.refused.detail
    assert "take up water" in answer.refused.detail


def test_d12_heated_room_air_leaves_pla_at_a_tenth_per_cent_and_says_what_would_help():
    """D-12: 23 °C and 50 %RH, merely heated, never gives the 0.025 % that its moulders ask for."""
    plan = plan_of(load_spool("pla", start_pct=0.4))
    assert not plan.reaches_target
    assert plan.target_pct == 0.025
    assert 0.1 <= plan.floor_pct <= 0.13
    assert said(plan, "cannot get below")
    assert said(plan, "What would help: dry desiccant")
    dry = plan_of(load_spool("pla", start_pct=0.4), room=RoomAir(temperature_c=20.0, humidity_pct=10.0))
    assert dry.reaches_target


def test_the_floor_follows_the_rooms_water_and_not_its_relative_humidity_alone():
    """The vapour pressure is what heating leaves: 60 % at 12 °C is drier than 40 % at 25 °C."""
    cool = plan_of(load_spool("petg"), room=RoomAir(temperature_c=12.0, humidity_pct=60.0))
    warm = plan_of(load_spool("petg"), room=RoomAir(temperature_c=25.0, humidity_pct=40.0))
    assert cool.floor_pct < warm.floor_pct


def test_p38_what_power_left_half_done_is_planned_on_from_where_it_is():
    """P38, D-13: the same model from the state it reached needs the rest of the time, no more."""
    load = load_spool("asa", start_pct=0.4)
    whole = plan_of(load, room=DRY_ROOM)
    chamber = chamber_of(KILN, whole.temperature_c, DRY_ROOM)
    half_h = 0.5 * whole.duration_h.p50
    course = course_of([load], chamber, np.zeros((1, 13)), None, half_h)
    (belief,) = unstack([load.belief], course.states[-1])
    rest = plan_of(LoadSpool(body=load.body, belief=belief), room=DRY_ROOM)
    assert rest.duration_h.p50 == pytest.approx(whole.duration_h.p50 - half_h, abs=0.15)


def test_the_first_metres_are_dry_long_before_all_of_it():
    """Enough for the next print: the outer windings dry first."""
    load = load_spool("pa6", start_pct=1.5)
    thirty = plan_of(load, room=DRY_ROOM, first_m=30.0)
    everything = plan_of(load, room=DRY_ROOM, first_m=100_000.0)
    mean = plan_of(load, room=DRY_ROOM)
    assert thirty.duration_h.p50 < 0.75 * mean.duration_h.p50
    assert everything.duration_h.p50 > mean.duration_h.p50


def test_d06_a_spool_that_was_dried_often_is_warned_of():
    """D-06: dryings and hot hours add up, sooner for polymers whose chains break."""
    fresh = plan_of(load_spool("asa", start_pct=0.3), room=DRY_ROOM)
    often = plan_of(load_spool("asa", start_pct=0.3, account={"dryings": 9, "hot_h": 50.0}), room=DRY_ROOM)
    broken = plan_of(load_spool("pla", start_pct=0.3, account={"dryings": 4, "hot_h": 30.0}), room=DRY_ROOM)
    assert not said(fresh, "ages")
    assert said(often, "has been dried 10 times")
    assert said(broken, "chains break")


def test_d13_afterwards_it_is_held_cooler_where_the_air_allows_it():
    """D-13: lower and hold instead of drying on; where cooler air would wet it, it is taken out."""
    held = plan_of(load_spool("pc", start_pct=0.1))
    assert held.hold.temperature_c <= held.temperature_c - 10.0
    out = plan_of(load_spool("pla", start_pct=0.4))
    assert out.hold.temperature_c is None
    assert "Take it out" in out.hold.why


def test_a_spool_under_its_target_needs_no_heat():
    """Nothing is dried for nothing: no time, no energy, and said."""
    plan = plan_of(load_spool("petg", start_pct=0.02), room=DRY_ROOM)
    assert (plan.duration_h.p50, plan.run_h, plan.energy_wh) == (0.0, 0.0, 0.0)
    assert said(plan, "needs no drying")


def test_what_takes_more_than_one_cycle_says_so():
    """R15: no cycle is longer than two days."""
    plan = plan_of(load_spool("pa66", start_pct=2.0), room=ROOM)
    assert plan.run_h > 48.0 or plan.duration_h.p90 <= 48.0
    assert said(plan, "more than one") == (plan.run_h > 48.0)


@pytest.mark.parametrize(
    ("goal", "room", "field"),
    [
        ({"target_pct": 0.0}, ROOM, "target-pct"),
        ({"target_pct": 50.0}, ROOM, "target-pct"),
        ({"first_m": 0.0}, ROOM, "first-m"),
        ({"ready_by_h": -1.0}, ROOM, "ready-by"),
        ({}, RoomAir(temperature_c=23.0, humidity_pct=120.0), "room-rh"),
        ({}, RoomAir(temperature_c=80.0, humidity_pct=20.0), "room-temperature"),
    ],
)
def test_a_wish_out_of_range_names_its_field(goal, room, field):
    """A form puts the sentence beside the field."""
    with pytest.raises(FieldError) as error:
        plan_of(load_spool("petg"), room=room, **goal)
    assert error.value.field == field


def test_every_sort_of_material_gets_a_plan_or_a_reason():
    """No load leaves somebody without an answer."""
    for key in sorted(LIBRARY.materials)[::7]:
        answer = plan_of(load_spool(key, reel="petg"), room=RoomAir(temperature_c=22.0, humidity_pct=40.0))
        if isinstance(answer, Refused):
            assert len(answer.refused.detail) > 40
        else:
            assert answer.duration_h.p50 is None or answer.duration_h.p50 >= 0.0
            assert answer.curve[0].h == 0.0
