"""No plan is above any limit of what is inside, whatever the load (B-14, P06, P08)."""

import random

import pytest
from support.plan_loads import KILN, LIBRARY, NOW_S, load_spool, plan_of

from monitor.estimate.plan_drying import load_limits, setpoint_c
from monitor.estimate.plan_limits import guard_c, least
from monitor.estimate.plan_regeneration import plan_regeneration
from monitor.model.inventory import Oven
from monitor.model.plan import Goal, Plan, Refused, Regeneration, RoomAir, When


def random_oven(dice):
    return Oven(
        key="o",
        name="Oven",
        room="r",
        max_c=dice.uniform(45.0, 320.0),
        overshoot_c=dice.choice([0.0, 0.5, 2.0, 5.0, 9.0, 14.0]),
        sensor_error_c=dice.uniform(0.0, 4.0),
        channel=dice.choice([None, "n/c"]),
        cutout_c=dice.choice([None, dice.uniform(60.0, 200.0)]),
        volume_l=dice.choice([None, 30.0]),
        vent_m3_h=dice.choice([None, 0.4]),
    )


def highest_allowed_c(load, oven):
    """The least limit, read off the catalogue and the inventory anew, less the guard of the contract."""
    limits = [oven.max_c, 130.0]
    limits += [] if oven.channel is None else [125.0]
    limits += [] if oven.cutout_c is None else [oven.cutout_c]
    for each in load:
        limits += [each.body.material.max_safe_c, each.body.reel.max_safe_c]
    return min(limits) - max(oven.overshoot_c + oven.sensor_error_c, 3.0)


@pytest.fixture(scope="module")
def spools():
    """One of every material on every reel."""
    return [load_spool(m, key=f"{m}-{r}", reel=r) for m in LIBRARY.materials for r in LIBRARY.reels]


def test_no_set_point_of_ten_thousand_loads_is_above_any_limit(spools):
    """B-14: the least of material, reel and oven less the guard, for any mix of one to four spools."""
    dice = random.Random(14)
    for _ in range(10_000):
        load = [dice.choice(spools) for _ in range(dice.randint(1, 4))]
        oven = random_oven(dice)
        limits, guard = load_limits(load, oven), guard_c(oven)
        found = setpoint_c(load, limits, guard)
        assert found <= highest_allowed_c(load, oven) + 1e-6
        assert least(limits).limit_c - guard >= found - 1e-6


def test_no_whole_plan_is_above_any_limit(spools):
    """The same through everything that may choose another temperature: fall-backs, deadlines, holds."""
    dice = random.Random(46)
    planned = 0
    for number in range(9):
        load = [dice.choice(spools) for _ in range(dice.choice([1, 1, 2]))]
        oven = random_oven(dice)
        room = RoomAir(temperature_c=dice.uniform(16.0, 28.0), humidity_pct=dice.uniform(15.0, 60.0))
        plan = plan_of(*load, oven=oven, room=room, ready_by_h=dice.choice([None, 60.0]))
        highest_c = highest_allowed_c(load, oven)
        if isinstance(plan, Plan):
            planned += 1
            offered = [plan.temperature_c, *(each.temperature_c for each in plan.fall_backs)]
            offered.append(plan.hold.temperature_c or 0.0)
            assert max(offered) <= highest_c + 1e-6, number
            assert plan.temperature_c + plan.guard_c <= plan.limited_by.limit_c + 1e-6
        else:
            assert plan.refused.detail
    assert planned >= 3


def test_no_desiccant_is_planned_above_what_destroys_it():
    """P15, H33: each kind's own limit counts like a material's."""
    dice = random.Random(33)
    for _ in range(80):
        kind, oven = LIBRARY.desiccants[dice.choice(sorted(LIBRARY.desiccants))], random_oven(dice)
        room = RoomAir(temperature_c=23.0, humidity_pct=50.0)
        plan = plan_regeneration(
            kind, Regeneration(dry_g=200.0, loading_pct=10.0), oven, room, Goal(), When(now_s=NOW_S)
        )
        if isinstance(plan, Refused):
            continue
        assert plan.temperature_c <= min(kind.max_safe_c, oven.max_c, 130.0) - plan.guard_c + 1e-6
        assert plan.temperature_c >= kind.regenerate_least_c


def test_the_limiting_item_is_named_with_its_source():
    """B-14: say which item limits it; the reel nobody named is the weakest there is."""
    by_reel = plan_of(load_spool("abs", reel="unknown"), room=RoomAir(temperature_c=23.0, humidity_pct=20.0))
    assert by_reel.temperature_c == 43.0
    assert by_reel.limited_by.item == "reel material unknown (Abs)"
    assert by_reel.limited_by.source == "it is treated as the weakest common one"
    by_material = plan_of(load_spool("petg"))
    assert (by_material.limited_by.item, by_material.limited_by.limit_c) == ("PETG (Petg)", 65.0)
    assert by_material.temperature_c == 58.0
    assert by_material.limited_by.source


def test_an_unknown_material_is_treated_as_the_lowest_class():
    """B-14: unknown material, lowest class."""
    lowest = min(material.max_safe_c for material in LIBRARY.materials.values())
    limits = load_limits([load_spool("unknown")], KILN)
    assert least(limits).limit_c == lowest


def test_the_guard_is_never_below_three_degrees():
    """An oven that says it never errs is given three degrees all the same."""
    plan = plan_of(
        load_spool("petg"),
        oven=Oven(key="o", name="O", room="r", max_c=90.0, overshoot_c=0.0, sensor_error_c=0.5),
    )
    assert plan.guard_c == 3.0
    assert plan.temperature_c == 60.0  # 62 would be allowed: its usual drying temperature is lower
    assert "usually dried at 60" in plan.temperature_why
