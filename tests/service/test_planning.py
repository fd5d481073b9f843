"""Plans from what is stored: the oven, its spools as the follower has them, and its room's air."""

from dataclasses import replace

import pytest
from support.spool_site import HOUR_S, OVEN, spool, spool_site

from monitor.errors import BadInputError, RefusedError
from monitor.model.plan import Goal, Plan, Refused, Regeneration, When
from monitor.model.spool_event import Dried
from monitor.oven.ready_by import Rules
from monitor.service.planning import Desiccant, RoomWish, plan_in_oven, run_in_oven
from monitor.service.planning_ready import Wanted, plan_ready


def planned(site, *keys, air=None, **goal):
    return plan_in_oven(site.queries, OVEN, keys, Goal(**goal), When(now_s=site.now), air)


def test_a_spool_is_planned_from_what_is_believed_of_it_and_its_rooms_air(tmp_path):
    """D-12: today's room; P05: this spool, not a chart."""
    with spool_site(tmp_path, spool("asa", "asa", start_pct=0.3, reel="pc")) as site:
        site.pass_time(6, loft=35.0, crate=30.0)
        plan = planned(site, "asa")
        believed = site.spool("asa").moisture_pct
        assert plan.spools[0].start_pct.p50 == pytest.approx(believed.p50, rel=0.01)
        site.pass_time(6, loft=75.0, crate=30.0)
        assert planned(site, "asa").floor_pct > 1.8 * plan.floor_pct


def test_air_that_was_not_measured_is_asked_for_and_may_be_given(tmp_path):
    """No plan on a guess of the air it depends on."""
    with spool_site(tmp_path, spool("asa", "asa", reel="pc")) as site:
        site.pass_time(6, crate=30.0)
        with pytest.raises(RefusedError, match="--room-rh"):
            planned(site, "asa")
        given = planned(site, "asa", air=RoomWish(temperature_c=21.0, humidity_pct=30.0))
        assert isinstance(given, Plan)


@pytest.mark.parametrize(
    ("start_pct", "goal", "air"), [(0.3, {}, 35.0), (0.3, {"target_pct": 0.06}, 20.0), (0.01, {}, 30.0)]
)
def test_the_run_alone_is_the_plans_own(tmp_path, start_pct, goal, air):
    """D-11: a start planned for later rests on the same figures as the plan that the person saw."""
    with spool_site(tmp_path, spool("asa", "asa", start_pct=start_pct, reel="pc")) as site:
        site.pass_time(2, loft=air, crate=30.0)
        plan = planned(site, "asa", **goal)
        run = run_in_oven(site.queries, OVEN, ("asa",), Goal(**goal), When(now_s=site.now))
        assert (run.temperature_c, run.run_h) == (plan.temperature_c, plan.run_h)


def test_a_run_is_refused_as_its_plan_is(tmp_path):
    """P35: in a damp room the plan is refused, and so is the run; what is no spool is an error of both."""
    with spool_site(tmp_path, spool("asa", "asa", start_pct=0.02, reel="pc")) as site:
        site.pass_time(2, loft=95.0, crate=10.0)
        wish = (site.queries, OVEN, ("asa",), Goal(target_pct=0.001), When(now_s=site.now))
        plan, run = plan_in_oven(*wish), run_in_oven(*wish)
        assert isinstance(plan, Refused)
        assert run == plan
        with pytest.raises(BadInputError, match="not in the inventory"):
            run_in_oven(site.queries, OVEN, ("nobody",), Goal(), When(now_s=site.now))


def test_the_account_goes_into_the_plan(tmp_path):
    """D-06: what it went through is told where the next drying is decided."""
    with spool_site(tmp_path, spool("pla", "pla", start_pct=0.3)) as site:
        for _ in range(4):
            site.pass_time(12, loft=30.0, crate=30.0)
            site.tell(Dried(temperature_c=45.0, hours=4.0), spool="pla", hours_ago=6.0)
        site.pass_time(12, loft=30.0, crate=45.0)
        plan = planned(site, "pla", target_pct=0.1)
        assert any("has been dried 5 times" in text for text in plan.cautions)


def test_desiccant_goes_into_an_oven_of_the_inventory(tmp_path):
    """P15: with that oven's limits; a humidity sensor sits in it."""
    with spool_site(tmp_path) as site:
        site.pass_time(2, loft=45.0)
        load = Desiccant(kind="silica_gel_a", charge=Regeneration(dry_g=300.0, loading_pct=20.0))
        plan = plan_in_oven(site.queries, OVEN, load, Goal(), When(now_s=site.now))
        assert plan.temperature_c == 83.0
        sieve = Desiccant(kind="mol_sieve_13x", charge=Regeneration(dry_g=300.0))
        assert isinstance(plan_in_oven(site.queries, OVEN, sieve, Goal(), When(now_s=site.now)), Refused)


@pytest.mark.parametrize(
    ("oven", "keys", "words"),
    [
        ("forge", ("grey",), "oven 'forge' is not in the inventory; it has: kiln"),
        (OVEN, ("pink",), "spool 'pink' is not in the inventory; it has: grey"),
        (OVEN, ("grey", "grey"), "named twice"),
        (OVEN, (), "no spool is named"),
    ],
)
def test_what_is_not_there_is_named_with_what_is(tmp_path, oven, keys, words):
    """One sentence that says what to write instead."""
    with spool_site(tmp_path) as site:
        site.pass_time(1, loft=45.0, crate=30.0)
        with pytest.raises(BadInputError, match=words):
            plan_in_oven(site.queries, oven, keys, Goal(), When(now_s=site.now))


def test_p28_two_spools_of_a_site_are_ready_by_their_times(tmp_path):
    """P28: which goes in when, from the states and limits of this site's own spools and oven."""
    spools = [
        spool("asa", "asa", start_pct=0.2, reel="pc", net_g=250.0),
        spool("abs", "abs", start_pct=0.2, reel="pc", net_g=250.0),
    ]
    with spool_site(tmp_path, *spools) as site:
        site.pass_time(6, loft=30.0, crate=30.0)
        wanted = [
            Wanted(spool="asa", due_s=site.now + 60 * HOUR_S),
            Wanted(spool="abs", due_s=site.now + 20 * HOUR_S),
        ]
        schedule = plan_ready(site.queries, wanted)
        assert [load.jobs for load in schedule.loads] == [
            ("abs",),
            ("asa",),
        ]  # one at a time, the urgent one first
        assert schedule.late_s == 0.0
        alone = planned(site, "abs")
        took_h = (schedule.loads[0].end_s - schedule.loads[0].start_s) / HOUR_S
        assert took_h == pytest.approx(alone.run_h + alone.cool_h, abs=0.5)
        later = replace(wanted[0], due_s=site.now + 90 * HOUR_S)
        shut = Rules(attended=((site.now + 30 * HOUR_S, site.now + 40 * HOUR_S),))
        assert plan_ready(site.queries, [later], rules=shut).loads[0].start_s == site.now + 30 * HOUR_S
