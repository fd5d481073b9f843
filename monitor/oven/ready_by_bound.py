"""A lateness below which no schedule gets, however clever."""

import math

from monitor.oven.ready_by_task import Task, next_cycle


def least_lateness_s(task: Task) -> float:
    """From how early each job can be done alone, and how many can be done by a time at most [s].

    A load takes at least as long as each of its members alone: a common temperature, at or below everybody's,
    makes it so.
    """
    jobs = range(len(task.due_s))
    alone = [
        min(next_cycle(task, oven, 1 << job, from_s)[3] for oven, from_s in enumerate(task.from_s))
        for job in jobs
    ]
    by_job = sum(max(0.0, done - due) for done, due in zip(alone, task.due_s, strict=True))
    # The k-th to be done is no earlier than the k-th of those alone, than the ovens can have done k loads'
    # worth of jobs, or than all the work in the k shortest fits into all ovens.
    done = [max(times) for times in zip(sorted(alone), _counted(task), _worked(task), strict=True)]
    by_count = sum(max(0.0, at - due) for at, due in zip(done, sorted(task.due_s), strict=True))
    return max(by_job, by_count)


def _counted(task: Task) -> list[float]:
    """The earliest times at which 1, 2, 3 ... jobs can be done, by counting loads [s]."""
    wanted = len(task.due_s)
    times: list[float] = []
    for oven, most in enumerate(task.spools_max):
        for end_s in _ends(task, oven, math.ceil(wanted / most)):
            times += [end_s] * most
    return sorted(times)[:wanted]


def _ends(task: Task, oven: int, count: int) -> list[float]:
    """When an oven can have done 1, 2, 3 ... loads: each holds a job of its own, the shortest ones first."""
    shortest = sorted(task.duration_s(1 << job, oven) for job in range(len(task.due_s)))
    begin_s = task.calendar.next_s(task.from_s[oven])
    ends, sum_s, chain_s = [], 0.0, begin_s
    for duration_s in shortest[:count]:
        if not math.isfinite(duration_s):
            break
        sum_s += duration_s
        # Either all of the shortest without a person's hours, or the very shortest again and again in them.
        chain_s = task.calendar.next_s(chain_s + shortest[0])
        ends.append(max(task.calendar.next_s(begin_s + sum_s), chain_s))
    return ends


def _worked(task: Task) -> list[float]:
    """The same by work: a job takes its part of a full load, and the ovens' hours are all there is [s]."""
    parts = sorted(
        min(task.duration_s(1 << job, oven) / most for oven, most in enumerate(task.spools_max))
        for job in range(len(task.due_s))
    )
    begins = sorted(task.calendar.next_s(from_s) for from_s in task.from_s)
    times, work_s = [], 0.0
    for part_s in parts:
        work_s += part_s
        times.append(task.calendar.next_s(_filled_s(begins, work_s)))
    return times


def _filled_s(begins: list[float], work_s: float) -> float:
    """When ovens that begin at these times have worked so long together."""
    for number in range(1, len(begins) + 1):
        end_s = (sum(begins[:number]) + work_s) / number
        if number == len(begins) or end_s <= begins[number]:
            return end_s
    raise ValueError("there is no oven")
