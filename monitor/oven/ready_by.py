"""Which loads to start when, so that jobs on several ovens are ready by their times (D-11)."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from monitor.oven.ready_by_bound import least_lateness_s
from monitor.oven.ready_by_calendar import Calendar, Span
from monitor.oven.ready_by_exact import exact
from monitor.oven.ready_by_search import search
from monitor.oven.ready_by_task import Cycle, Task, follow, members, next_cycle

# Hours of a load in an oven, cooling included [s]; None = these must not be in that oven, or not together.
Durations = Callable[[frozenset[str], str], float | None]
MOST_EXACT_JOBS, MOST_EXACT_OVENS = 12, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A spool that has to be dry by a time."""

    key: str
    material: str
    due_s: float
    opened_s: float | None = None  # the older of a material goes first; None = the newest
    free_s: float = -math.inf  # not before
    is_pinned: bool = False  # this very spool for this very time, not the oldest of its material


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """An oven."""

    key: str
    spools_max: int = 1
    free_s: float = -math.inf  # not before


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A cycle that goes on and is not touched; its end is where the model now sees it."""

    oven: str
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """When a person may be asked to start or take out; Unix seconds, repeating after whole days."""

    attended: tuple[Span, ...] = ()
    quiet: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadTimes:
    """One cycle: as early as it can be, and how late it may be with nobody later than now."""

    oven: str
    jobs: tuple[str, ...]
    start_s: float
    end_s: float  # heated and cooled
    finish_s: float  # taken out
    latest_s: float  # backwards from the dues
    slack_s: float  # between the two starts


@dataclass(frozen=True, slots=True, kw_only=True)
class JobTimes:
    """One job's part of the schedule."""

    key: str
    due_s: float
    finish_s: float
    late_s: float
    slack_s: float  # due less finish, 0 when late
    earliest_s: float  # at which it could be ready if it went first


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """The loads in the order of their starts."""

    loads: tuple[LoadTimes, ...]
    jobs: tuple[JobTimes, ...]
    impossible: tuple[str, ...]  # no oven takes these
    late_s: float  # all lateness together: what is made least
    bound_s: float  # no schedule has less
    gap_s: float
    is_exact: bool


def ready_by(
    jobs: Sequence[Job],
    ovens: Sequence[Place],
    duration_s: Durations,
    *,
    now_s: float,
    rules: Rules | None = None,
    running: Sequence[Running] = (),
) -> Schedule:
    """The schedule with the least lateness in all; exact up to 12 jobs on 4 ovens, else good, with its gap.

    Within a material the times go to the spools by age, the oldest first, and in one oven an older spool
    never goes after a newer one. A load takes at least as long as each of its members alone, and what may go
    together may do so with one less. ValueError where a key is used twice or no attended moment is left.
    """
    _check(jobs, ovens)
    rules = rules or Rules()
    calendar = Calendar(rules.attended, rules.quiet)
    asked = _by_age(jobs)
    possible = [job for job in asked if _is_possible(job, ovens, duration_s)]
    task = _task(possible, ovens, duration_s, now_s, calendar, running)
    bound_s = least_lateness_s(task)
    plans = search(task, bound_s)
    is_exact = len(possible) <= MOST_EXACT_JOBS and len(ovens) <= MOST_EXACT_OVENS
    if is_exact:
        plans = exact(task, plans, bound_s)
    return _schedule(task, possible, ovens, plans, asked, None if is_exact else bound_s, is_exact)


def _check(jobs: Sequence[Job], ovens: Sequence[Place]) -> None:
    for what, keys in (("job", [job.key for job in jobs]), ("oven", [oven.key for oven in ovens])):
        if len(set(keys)) != len(keys):
            raise ValueError(f"a {what} is named twice")


def _by_age(jobs: Sequence[Job]) -> list[Job]:
    """Within a material the earliest time goes to the oldest spool (FIFO), but for those that are pinned."""
    handed = {job.key: job for job in jobs}
    for material in {job.material for job in jobs}:
        loose = [job for job in jobs if job.material == material and not job.is_pinned]
        dues = sorted(job.due_s for job in loose)
        for job, due_s in zip(sorted(loose, key=_age), dues, strict=True):
            handed[job.key] = replace(job, due_s=due_s)
    return list(handed.values())


def _age(job: Job) -> tuple[float, float]:
    return (math.inf if job.opened_s is None else job.opened_s, job.due_s)


def _is_possible(job: Job, ovens: Sequence[Place], duration_s: Durations) -> bool:
    return any(duration_s(frozenset({job.key}), oven.key) is not None for oven in ovens)


def _task(
    jobs: Sequence[Job],
    ovens: Sequence[Place],
    duration_s: Durations,
    now_s: float,
    calendar: Calendar,
    running: Sequence[Running],
) -> Task:
    known: dict[tuple[int, int], float] = {}

    def seconds(mask: int, oven: int) -> float:
        if (mask, oven) not in known:
            keys = frozenset(jobs[job].key for job in members(mask))
            too_many = len(keys) > ovens[oven].spools_max
            found = None if too_many else duration_s(keys, ovens[oven].key)
            alone = [seconds(1 << job, oven) for job in members(mask)] if len(keys) > 1 else []
            known[mask, oven] = math.inf if found is None else max([found, *alone])
        return known[mask, oven]

    ends = {oven.key: [now_s, oven.free_s] for oven in ovens}
    for cycle in running:
        ends[cycle.oven].append(calendar.next_s(cycle.end_s))
    return Task(
        due_s=tuple(job.due_s for job in jobs),
        free_s=tuple(max(job.free_s, now_s) for job in jobs),
        newer=tuple(_newer(job, jobs) for job in jobs),
        spools_max=tuple(oven.spools_max for oven in ovens),
        from_s=tuple(max(ends[oven.key]) for oven in ovens),
        calendar=calendar,
        duration_s=seconds,
    )


def _newer(job: Job, jobs: Sequence[Job]) -> int:
    if job.is_pinned:
        return 0
    mask = 0
    for number, other in enumerate(jobs):
        if other.material == job.material and not other.is_pinned and _age(other) > _age(job):
            mask |= 1 << number
    return mask


def _schedule(
    task: Task,
    jobs: Sequence[Job],
    ovens: Sequence[Place],
    plans: Sequence[Sequence[int]],
    asked: Sequence[Job],
    bound_s: float | None,
    is_exact: bool,
) -> Schedule:
    loads: list[LoadTimes] = []
    finish: dict[int, float] = {}
    for oven, masks in enumerate(plans):
        cycles = follow(task, oven, masks)
        for cycle, latest_s in zip(cycles, _latest(task, cycles), strict=True):
            finish |= dict.fromkeys(members(cycle[0]), cycle[3])
            loads.append(
                LoadTimes(
                    oven=ovens[oven].key,
                    jobs=tuple(jobs[job].key for job in members(cycle[0])),
                    start_s=cycle[1],
                    end_s=cycle[2],
                    finish_s=cycle[3],
                    latest_s=latest_s,
                    slack_s=latest_s - cycle[1],
                )
            )
    late = sum(max(0.0, finish[n] - job.due_s) for n, job in enumerate(jobs))
    bound = late if bound_s is None else min(bound_s, late)
    return Schedule(
        loads=tuple(sorted(loads, key=lambda load: (load.start_s, load.oven))),
        jobs=tuple(_job_times(task, job, number, finish[number]) for number, job in enumerate(jobs)),
        impossible=tuple(job.key for job in asked if job.key not in {each.key for each in jobs}),
        late_s=late,
        bound_s=bound,
        gap_s=late - bound,
        is_exact=is_exact or late - bound < 1e-6,
    )


def _latest(task: Task, cycles: Sequence[Cycle]) -> list[float]:
    """Backwards: the last start of each with which nobody is later than in this schedule."""
    latest: list[float] = []
    next_start_s = math.inf
    for mask, start_s, end_s, finish_s in reversed(cycles):
        allowed_s = min(next_start_s, *(max(task.due_s[job], finish_s) for job in members(mask)))
        taken_s = task.calendar.last_s(allowed_s)
        found_s = task.calendar.last_s(taken_s - (end_s - start_s))
        next_start_s = max(found_s, start_s)
        latest.append(next_start_s)
    return latest[::-1]


def _job_times(task: Task, job: Job, number: int, finish_s: float) -> JobTimes:
    alone = [next_cycle(task, oven, 1 << number, from_s)[3] for oven, from_s in enumerate(task.from_s)]
    return JobTimes(
        key=job.key,
        due_s=job.due_s,
        finish_s=finish_s,
        late_s=max(0.0, finish_s - job.due_s),
        slack_s=max(0.0, job.due_s - finish_s),
        earliest_s=min(alone),
    )
