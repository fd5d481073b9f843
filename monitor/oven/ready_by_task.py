"""The question of ready-by in numbers: jobs and ovens by their place in the lists, loads as bit masks."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from monitor.oven.ready_by_calendar import Calendar


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """All that a schedule depends on."""

    due_s: tuple[float, ...]
    free_s: tuple[float, ...]
    newer: tuple[int, ...]  # by job: those of its material that must not go before it in the same oven
    spools_max: tuple[int, ...]
    from_s: tuple[float, ...]  # by oven
    calendar: Calendar
    duration_s: Callable[[int, int], float]  # (mask, oven); infinite = must not be


# A cycle: its jobs, its start, its end, when it is taken out.
Cycle = tuple[int, float, float, float]


def follow(task: Task, oven: int, masks: Sequence[int]) -> list[Cycle]:
    """The cycles of an oven one after another, each as early as can be."""
    cycles: list[Cycle] = []
    free_s = task.from_s[oven]
    for mask in masks:
        cycle = next_cycle(task, oven, mask, free_s)
        cycles.append(cycle)
        free_s = cycle[3]
    return cycles


def next_cycle(task: Task, oven: int, mask: int, free_s: float) -> Cycle:
    """A load as early as the oven, its jobs and a person allow."""
    start_s = task.calendar.next_s(max([free_s, *(task.free_s[job] for job in members(mask))]))
    end_s = start_s + task.duration_s(mask, oven)
    return mask, start_s, end_s, task.calendar.next_s(end_s) if math.isfinite(end_s) else math.inf


def late_s(task: Task, cycle: Cycle) -> float:
    """Lateness of all jobs of a cycle together [s]."""
    return sum(max(0.0, cycle[3] - task.due_s[job]) for job in members(cycle[0]))


@lru_cache(maxsize=65_536)
def members(mask: int) -> tuple[int, ...]:
    """The jobs of a mask."""
    return tuple(job for job in range(mask.bit_length()) if mask >> job & 1)


def blockers(task: Task, mask: int) -> int:
    """Jobs that must not have gone before this load in the same oven."""
    blocked = 0
    for job in members(mask):
        blocked |= task.newer[job]
    return blocked & ~mask
