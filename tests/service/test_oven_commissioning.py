"""A commissioning run through the real supervision and the real controller, and a person's word on it (A-39)."""

from dataclasses import replace

import pytest
from support.oven_learning import KITCHEN, Thermostat, commissioned, fit_cutout
from support.oven_site import HOUR_S, OVEN, oven_site, spool

from monitor.errors import BadInputError, RefusedError
from monitor.model.audit import SYSTEM
from monitor.model.cycle import Ending
from monitor.model.oven_fact import FactKind, OvenChanges
from monitor.model.oven_run import COMMISSIONING, TRACE_MAX, RunKind, TracePoint
from monitor.service.oven_runs import measured
from monitor.simulator.oven_faults import SensorFault


@pytest.fixture
def site(tmp_path):
    with oven_site(tmp_path, spool("grey", "pla", reel="pc")) as made:
        made.rig.oven.skin_c, made.rig.oven.core_c = [], []
        yield made


def begin(site, kind=RunKind.EMPTY):
    site.acts.confirm_cutout(OVEN, "mara")
    site.arm()
    order = f"o{site.clock.mono:.0f}"
    return site.acts.commissioning.start(OVEN, kind, order, site.look().version, "mara", site.clock.wall)


def look(site):
    return site.acts.commissioning.look(OVEN)


def run_through(site):
    assert begin(site) == ()
    site.run(1.2 * HOUR_S)
    return look(site).runs[0]


def keep(site, run):
    """A run of another control, as if it had been recorded here."""
    fact = measured(run, site.queries.inventory().ovens[OVEN], site.clock.wall)
    site.world.note(OvenChanges(runs={(OVEN, run.run): run}, facts=[fact] if fact else []))
    site.run(30)


def kitchen(site, key="k1", **members):
    return commissioned(
        KITCHEN, control=Thermostat(50.0), oven=OVEN, run=key, at_s=site.clock.wall, **members
    )


def test_a_run_is_an_attended_cycle_of_its_own_and_leaves_a_trace(site):
    """At 50 °C for an hour, under every rule; what marked it lies in the oven no more when it is over."""
    assert begin(site) == ()
    site.run(20)
    cycle = site.look().cycle
    assert (cycle.setpoint_c, cycle.duration_s, cycle.is_unattended) == (50.0, 3600.0, False)
    assert [item.key for item in cycle.load] == [COMMISSIONING]
    site.run(600)
    assert look(site).runs[0].run.ending is None  # kept while it runs
    site.run(1.2 * HOUR_S)
    run = look(site).runs[0]
    assert run.run.ending is Ending.TIME_UP
    assert run.found.problems == ()
    assert 700 < len(run.run.trace) < TRACE_MAX
    assert run.found.overshoot_c.value < 2.0
    assert run.found.power_w.value == pytest.approx(60.0, rel=0.1)
    assert site.look().load == ()


def test_another_cycle_begun_while_a_run_cools_is_no_part_of_that_run(site):
    """B-52: what the run found counts then, not an hour into the other cycle, which it would end."""
    assert begin(site) == ()
    site.run(1.01 * HOUR_S)
    assert site.look().phase == "cooling"
    assert (OVEN, FactKind.MEASURED) not in site.reader.oven_facts()
    assert begin(site) == ()
    begun_s = site.clock.wall
    site.run(400)
    second, first = look(site).runs
    fact = site.reader.oven_facts()[(OVEN, FactKind.MEASURED)]
    assert fact.at_s <= begun_s
    assert first.run.ending is Ending.TIME_UP
    assert first.run.at_s + first.run.trace[-1].at_s <= begun_s
    assert f'"run":"{first.run.run}"' in fact.value
    assert second.run.run == site.look().cycle.id
    assert [item.key for item in site.look().load] == [COMMISSIONING]


def test_a_tray_put_in_while_a_run_cools_stays_where_it_is(site):
    """What is over takes only its own mark out of the oven."""
    assert begin(site) == ()
    site.run(1.01 * HOUR_S)
    assert site.look().phase == "cooling"
    kind = next(iter(site.queries.library().desiccants))
    site.desk.put_tray(OVEN, kind)
    site.run(3 * HOUR_S)
    assert site.look().phase in ("done", "idle")
    assert [item.key for item in site.look().load] == [f"desiccant:{kind}"]


def test_without_a_cutout_or_with_something_inside_there_is_no_empty_run(site):
    """B-51; and a spool that is said to lie inside would be heated unasked."""
    site.arm()
    version = site.look().version
    problems = site.acts.commissioning.start(OVEN, RunKind.EMPTY, "o1", version, "mara", site.clock.wall)
    assert problems[0].rule == "B-51"
    site.acts.confirm_cutout(OVEN, "mara")
    assert begin(site, RunKind.LOADED)[0].title == "Nothing lies inside"
    site.load(spool("grey", "pla", place=OVEN, reel="pc"))
    site.desk.tell_site()
    assert "grey" in begin(site)[0].detail
    assert site.look().cycle is None


def test_what_was_accepted_becomes_the_rules_figures_and_can_be_taken_back(site):
    """Stored with who and when; before it the larger overshoot counts, after it the measured one."""
    before = site.desk.now(OVEN).parameters
    run = run_through(site)
    site.run(30)
    assert site.desk.now(OVEN).parameters.overshoot_c == before.overshoot_c  # the inventory's is larger
    site.acts.commissioning.accept(OVEN, run.run.run, "mara")
    site.run(30)
    after = site.desk.now(OVEN).parameters
    assert after.overshoot_c == run.learned.overshoot_c < before.overshoot_c
    assert after == run.after
    assert site.queries.ovens_as_learned()[OVEN].overshoot_c == after.overshoot_c
    assert (after.max_c, after.hard_limit_c, after.longest_s) == (
        before.max_c, before.hard_limit_c, before.longest_s,
    )  # fmt: skip
    fact = site.reader.oven_facts()[(OVEN, FactKind.LEARNED)]
    assert fact.who == "mara"
    site.start_monitor()
    assert site.desk.now(OVEN).parameters == after  # over a restart
    site.acts.commissioning.take_back(OVEN, "ada")
    site.run(30)
    assert site.desk.now(OVEN).parameters == before
    assert [f.who for f in look(site).accepted] == ["ada", "mara"]
    with pytest.raises(RefusedError, match="nothing was accepted"):
        site.acts.commissioning.take_back(OVEN, "ada")


def test_stricter_figures_end_what_runs_and_count_at_once(site):
    """B-52: what was confirmed under others holds no longer; it is confirmed anew."""
    run = run_through(site)
    assert begin(site) == ()
    site.run(300)
    before = site.desk.now(OVEN).parameters
    site.acts.commissioning.accept(OVEN, run.run.run, "mara")
    site.run(60)
    assert site.desk.now(OVEN).parameters != before
    assert site.look().phase == "cooling"
    assert "figures have changed" in site.look().ended.why


def test_a_worse_run_counts_at_once_and_refuses_what_the_oven_is_unfit_for(site):
    """H19, R13: the larger overshoot needs nobody's word; PLA is refused at the start, a new run is not."""
    keep(site, kitchen(site))
    assert site.reader.oven_facts()[(OVEN, FactKind.MEASURED)].who == SYSTEM
    assert site.desk.now(OVEN).parameters.overshoot_c >= 14.0
    site.load(spool("grey", "pla", place=OVEN, reel="pc"))
    site.desk.tell_site()
    site.arm()
    problems = site.acts.start(OVEN, site.wish(setpoint_c=32.0), "mara")
    assert problems[0].rule == "H19"
    assert "unfit" in problems[0].detail
    site.load(spool("grey", "pla", reel="pc"))
    site.desk.tell_site()
    assert begin(site) == ()


def test_a_sensor_unplugged_for_the_proof_test_teaches_nothing(site):
    """It ends by R1 or R2, not by anything that the oven is."""
    assert begin(site) == ()
    site.run(1500)
    site.rig.faults.sensors[0] = SensorFault.DEAD
    site.run(2 * HOUR_S)
    run = look(site).runs[0]
    assert run.run.ending is Ending.TRIPPED
    assert run.learned is None
    assert (OVEN, FactKind.MEASURED) not in site.reader.oven_facts()
    with pytest.raises(RefusedError, match="cannot be used"):
        site.acts.commissioning.accept(OVEN, run.run.run, "mara")
    with pytest.raises(BadInputError, match="no run"):
        site.acts.commissioning.accept(OVEN, "c0", "mara")


def test_another_heater_or_a_year_makes_it_due_again(site):
    """A changed oven is another oven: what was learned of it counts no more."""
    run = run_through(site)
    assert "No commissioning run" in look(site).due
    site.acts.commissioning.accept(OVEN, run.run.run, "mara")
    assert look(site).due == ""
    site.clock.wall += 366 * 86_400.0
    assert "more than a year" in look(site).due
    site.clock.wall -= 366 * 86_400.0
    fit_cutout(site, heater_w=500.0)
    site.run(30)
    assert "changed" in look(site).due
    assert site.desk.now(OVEN).parameters.full_duty_rate_c_s != run.learned.full_duty_rate_c_s
    with pytest.raises(RefusedError, match="before it was changed"):
        site.acts.commissioning.accept(OVEN, run.run.run, "mara")


def test_ten_runs_are_kept_and_no_trace_is_longer_than_its_bound(site):
    """A card must not fill with traces."""
    point = TracePoint(at_s=0.0, chamber_c=(20.0, None), heater=0.0, power_w=None, door_open=None)
    long = tuple(replace(point, at_s=4.0 * n) for n in range(TRACE_MAX + 500))
    for number in range(12):
        run = replace(kitchen(site), run=f"k{number}", at_s=site.clock.wall + number, trace=long, ending=None)
        site.world.note(OvenChanges(runs={(OVEN, run.run): run}))
        site.run(2)
    runs = site.reader.oven_runs(OVEN)
    assert [run.run for run in runs] == [f"k{number}" for number in range(11, 1, -1)]
    assert len(runs[0].trace) == TRACE_MAX
    assert runs[0].trace[1].chamber_c == (20.0, None)
