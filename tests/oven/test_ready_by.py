"""Ready-by: against every schedule of small cases, and what must hold of any."""

from dataclasses import replace

import pytest
from support.plan_jobs import DAY_S, HOUR_S, MONDAY_S, OFFICE, Case, by_age, good_moment, least_late_s

from monitor.oven.ready_by import Job, Place, Rules, Running, ready_by

NINE_S = MONDAY_S + 9 * HOUR_S


def planned(case, **more):
    return ready_by(case.jobs, case.ovens, case.duration_s, now_s=case.now_s, rules=OFFICE, **more)


def check(case, schedule):
    """Everything that any schedule must keep to."""
    dues, loads = by_age(case.jobs), schedule.loads
    placed = [key for load in loads for key in load.jobs]
    assert sorted(placed + list(schedule.impossible)) == sorted(job.key for job in case.jobs)
    late = 0.0
    for load in loads:
        oven = next(each for each in case.ovens if each.key == load.oven)
        assert len(load.jobs) <= oven.spools_max
        assert load.start_s >= max(oven.free_s, case.now_s)
        assert load.start_s == pytest.approx(good_moment(load.start_s))
        assert load.finish_s == pytest.approx(good_moment(load.end_s))
        took = case.duration_s(frozenset(load.jobs), load.oven)
        assert load.end_s - load.start_s == pytest.approx(took)
        assert load.latest_s >= load.start_s
        assert load.slack_s == load.latest_s - load.start_s
        late += sum(max(0.0, load.finish_s - dues[key]) for key in load.jobs)
    for oven in case.ovens:
        mine = [load for load in loads if load.oven == oven.key]
        for before, after in zip(mine, mine[1:], strict=False):
            assert after.start_s >= before.finish_s
    assert late == pytest.approx(schedule.late_s)
    assert schedule.bound_s <= schedule.late_s + 1e-6


@pytest.mark.parametrize("seed", range(25))
def test_small_cases_are_as_good_as_the_best_of_all_schedules(seed):
    """D-11: exact means that no other dealing, grouping or order is less late."""
    case = Case(seed, jobs=4 + seed % 2, ovens=1 + seed % 2, tight=0.6)
    schedule = planned(case)
    check(case, schedule)
    assert schedule.is_exact
    assert schedule.late_s == pytest.approx(least_late_s(case), abs=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_large_cases_keep_all_rules_and_say_how_far_they_may_be_from_the_best(seed):
    """Beyond what can be tried out the schedule is good, its gap to the bound told."""
    case = Case(100 + seed, jobs=18, ovens=4)
    schedule = planned(case)
    check(case, schedule)
    assert schedule.gap_s == pytest.approx(schedule.late_s - schedule.bound_s)


def test_the_bound_is_never_above_the_best():
    """A bound that is too high would call a bad schedule proven."""
    from monitor.oven import ready_by as module

    for seed in range(40, 48):
        case = Case(seed, jobs=6, ovens=2, tight=0.5)
        exact = planned(case)
        rough = _inexact(module, case)
        assert rough.bound_s <= exact.late_s + 1e-6
        assert rough.late_s >= exact.late_s - 1e-6


def _inexact(module, case):
    most = module.MOST_EXACT_JOBS
    module.MOST_EXACT_JOBS = 0
    try:
        return planned(case)
    finally:
        module.MOST_EXACT_JOBS = most


def hours(table):
    """Durations by job, whatever the oven; a load takes the longest of its members."""
    return lambda keys, _oven: max(table[key] for key in keys) * HOUR_S


def job(key, due_h, material="petg", **more):
    return Job(key=key, material=material, due_s=NINE_S + due_h * HOUR_S, **more)


def test_p28_ready_by_six_tomorrow_says_what_to_start_and_how_late_that_may_be():
    """P28, D-11: backwards from the time it is wanted, with slack."""
    schedule = ready_by([job("a", 33.0)], [Place(key="o")], hours({"a": 8.0}), now_s=NINE_S, rules=OFFICE)
    (load,) = schedule.loads
    assert load.start_s == NINE_S
    # Eighteen o'clock tomorrow less eight hours: ten in the morning.
    assert load.latest_s == NINE_S + 25 * HOUR_S
    assert load.slack_s == 25 * HOUR_S
    assert schedule.late_s == 0.0


def test_what_cannot_be_in_time_is_told_its_earliest():
    """D-11: "not possible" comes with the earliest time."""
    schedule = ready_by([job("a", 5.0)], [Place(key="o")], hours({"a": 8.0}), now_s=NINE_S, rules=OFFICE)
    (told,) = schedule.jobs
    assert told.late_s == 3 * HOUR_S
    assert told.earliest_s == NINE_S + 8 * HOUR_S


def test_nothing_starts_or_is_taken_out_when_nobody_is_there():
    """B-13: a start needs a person at the oven; a cycle that ends at night waits in it until the morning."""
    schedule = ready_by([job("a", 40.0)], [Place(key="o")], hours({"a": 15.0}), now_s=NINE_S, rules=OFFICE)
    (load,) = schedule.loads
    assert load.end_s == MONDAY_S + DAY_S
    assert load.finish_s == MONDAY_S + DAY_S + 7 * HOUR_S


def test_quiet_hours_are_left_alone():
    """A take-out that falls into the quiet hour comes after it."""
    schedule = ready_by([job("a", 9.0)], [Place(key="o")], hours({"a": 4.5}), now_s=NINE_S, rules=OFFICE)
    assert schedule.loads[0].finish_s == MONDAY_S + 14 * HOUR_S


def test_the_oldest_of_a_material_gets_the_earliest_time():
    """D-11: FIFO by the date it was opened, within a material; a pinned one keeps its own."""
    old = job("old", 30.0, opened_s=NINE_S - 50 * DAY_S)
    new = job("new", 10.0, opened_s=NINE_S - DAY_S)
    told = {each.key: each for each in _alone([old, new]).jobs}
    assert told["old"].due_s < told["new"].due_s
    assert told["old"].finish_s < told["new"].finish_s
    told = {each.key: each for each in _alone([old, replace(new, is_pinned=True)]).jobs}
    assert told["new"].due_s < told["old"].due_s


def _alone(jobs):
    return ready_by(jobs, [Place(key="o")], hours({"old": 8.0, "new": 8.0}), now_s=NINE_S)


def test_p09_compatible_loads_go_together_and_others_never():
    """P09: grouping saves a cycle; what the table forbids together stays apart."""

    def duration_s(keys, _oven):
        return None if {"a", "c"} <= keys else 6.0 * HOUR_S

    jobs = [job("a", 7.0, "pa6"), job("b", 7.0, "petg"), job("c", 13.0, "pla")]
    schedule = ready_by(jobs, [Place(key="o", spools_max=3)], duration_s, now_s=NINE_S)
    assert [set(load.jobs) for load in schedule.loads] == [{"a", "b"}, {"c"}]
    assert schedule.late_s == 0.0


def test_what_no_oven_can_take_is_named():
    """A spool that needs more heat than any oven gives is not silently left out."""
    schedule = ready_by(
        [job("a", 7.0), job("b", 7.0)],
        [Place(key="o")],
        lambda keys, _oven: None if "b" in keys else HOUR_S,
        now_s=NINE_S,
    )
    assert schedule.impossible == ("b",)
    assert [load.jobs for load in schedule.loads] == [("a",)]


def test_p38_a_cycle_that_takes_longer_moves_what_comes_after_it():
    """P38, D-11: planned anew when reality moves; what runs is not touched."""
    for end_h in (3.0, 5.0):
        schedule = ready_by(
            [job("a", 12.0)],
            [Place(key="o")],
            hours({"a": 4.0}),
            now_s=NINE_S,
            running=[Running(oven="o", end_s=NINE_S + end_h * HOUR_S)],
        )
        assert schedule.loads[0].start_s == NINE_S + end_h * HOUR_S


def test_hours_that_leave_no_moment_are_refused():
    """Nobody could ever start anything."""
    with pytest.raises(ValueError, match="no attended moment"):
        ready_by(
            [job("a", 5.0)],
            [Place(key="o")],
            hours({"a": 1.0}),
            now_s=NINE_S,
            rules=Rules(attended=((NINE_S, NINE_S + 60.0),), quiet=((NINE_S, NINE_S + DAY_S),)),
        )


def test_the_same_question_has_the_same_answer():
    """Dice are seeded: a page that is loaded anew shows the same plan."""
    case = Case(7, jobs=13, ovens=2)
    assert planned(case) == planned(case)
