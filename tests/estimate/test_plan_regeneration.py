"""Desiccant as a load of its own (P15): limits, residual load, time, and what is refused with the reason."""

from dataclasses import replace

import pytest
from support.plan_loads import KILN, LIBRARY, NOW_S, ROOM

from monitor.errors import FieldError
from monitor.estimate.plan_regeneration import plan_regeneration
from monitor.model.plan import Goal, Plan, Refused, Regeneration, RoomAir, When

HOT = replace(KILN, max_c=140.0)
DEW_15_C = RoomAir(temperature_c=23.0, humidity_pct=60.7)  # dew point 15 °C


def regenerated(key, *, oven=HOT, room=ROOM, loading_pct=15.0, dry_g=300.0, **goal):
    return plan_regeneration(
        LIBRARY.desiccant(key),
        Regeneration(dry_g=dry_g, loading_pct=loading_pct),
        oven,
        room,
        Goal(**goal),
        When(now_s=NOW_S),
    )


@pytest.mark.parametrize(("oven_c", "residual_pct"), [(67.0, 4.8), (87.0, 2.2), (107.0, 1.3)])
def test_p15_it_ends_at_the_residual_load_of_the_table(oven_c, residual_pct):
    """P15: pool of three gels, room dew point 15 °C, at 60, 80 and 100 °C (reference for regeneration)."""
    plan = regenerated("silica_gel_a", oven=replace(KILN, max_c=oven_c), room=DEW_15_C)
    assert plan.temperature_c == oven_c - 7.0
    assert plan.floor_pct == pytest.approx(residual_pct, abs=0.06)


def test_p15_a_thin_layer_at_120_degrees_takes_hours_not_minutes_or_days():
    """P15: 1 to 3 h in a thin layer; overnight at 121 °C is plenty (one measured night: 0.4 % left)."""
    plan = regenerated("silica_gel_a")
    assert plan.temperature_c == 120.0
    assert 1.0 <= plan.duration_h.p50 <= 3.5
    assert plan.duration_h.p90 <= 12.0


def test_p15_dyed_beads_are_held_below_what_bleaches_them():
    """P15: the dye goes at 120 °C; the plan stays at 110."""
    plan = regenerated("silica_gel_orange")
    assert plan.temperature_c == 110.0
    assert plan.limited_by.limit_c == 120.0
    tight = regenerated("silica_gel_orange", oven=replace(HOT, overshoot_c=15.0))
    assert tight.temperature_c == 103.0


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("mol_sieve_13x", "200 °C at least"),
        ("mol_sieve_3a", "175 °C at least"),
        ("activated_alumina", "150 °C at least"),
        ("silica_gel_blue_cobalt", "carcinogen"),
        ("calcium_chloride", "brine"),
        ("calcium_oxide", "cannot be undone"),
    ],
)
def test_p15_what_cannot_be_regenerated_here_is_refused_with_the_reason(key, words):
    """A sieve at 120 °C keeps its water, however hot the oven could go: readings over 130 °C trip it (R1)."""
    answer = regenerated(key, oven=replace(KILN, max_c=300.0))
    assert isinstance(answer, Refused)
    assert words in answer.refused.detail


def test_a_chamber_with_a_humidity_sensor_stops_at_what_that_sensor_stands():
    """Its sensors limit an oven, too."""
    plan = regenerated("silica_gel_a", oven=replace(HOT, channel="n1/kiln"))
    assert plan.limited_by.limit_c == 125.0
    assert plan.temperature_c == 118.0


def test_cooler_takes_longer_and_keeps_more_and_says_so():
    """60 to 80 °C works, slower and to a higher residue."""
    cool, hot = regenerated("silica_gel_a", oven=replace(KILN, max_c=80.0)), regenerated("silica_gel_a")
    assert cool.duration_h.p50 > 3.0 * hot.duration_h.p50
    assert cool.floor_pct > 2.0 * hot.floor_pct
    assert any("120 °C is usual" in text for text in cool.cautions)


def test_little_vent_makes_it_longer_and_none_is_refused():
    """The water that is driven out has to leave."""
    hours = [
        regenerated("silica_gel_a", oven=replace(HOT, volume_l=30.0, vent_m3_h=vent)).duration_h.p50
        for vent in (0.05, 0.5, 5.0)
    ]
    assert hours == sorted(hours, reverse=True)
    assert hours[0] > 1.3 * hours[-1]
    assert isinstance(regenerated("silica_gel_a", oven=replace(HOT, vent_m3_h=0.0)), Refused)


def test_a_target_below_the_residual_load_is_not_promised():
    """D-12 for desiccant."""
    plan = regenerated("silica_gel_a", target_pct=0.1)
    assert isinstance(plan, Plan)
    assert not plan.reaches_target
    assert plan.reaches_target_why


def test_a_charge_of_unknown_loading_is_planned_with_its_range():
    """In use until now: settled somewhere about 25 %RH."""
    known, unknown = regenerated("silica_gel_a"), regenerated("silica_gel_a", loading_pct=None)
    assert unknown.curve[0].mean_p10_pct < unknown.curve[0].mean_pct < unknown.curve[0].mean_p90_pct
    assert known.curve[0].mean_p10_pct == known.curve[0].mean_p90_pct == 15.0


@pytest.mark.parametrize(
    ("members", "field"), [({"dry_g": 0.0}, "dry-g"), ({"loading_pct": -1.0}, "loading-pct")]
)
def test_a_charge_out_of_range_names_its_field(members, field):
    """One sentence with the option's name."""
    with pytest.raises(FieldError) as error:
        regenerated("silica_gel_a", **members)
    assert error.value.field == field
