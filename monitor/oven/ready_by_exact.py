"""The least lateness of few jobs: each oven over all sets of jobs, then the best way to share them out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.oven.ready_by_task import Task, blockers, follow, late_s, next_cycle

_Link = tuple["_Link | None", int]  # the load before, and this one


@dataclass(frozen=True, slots=True)
class _State:
    """One oven after some loads; of two with the same jobs the one that is earlier and less late will do."""

    free_s: float
    late_s: float
    last: _Link | None


@dataclass(frozen=True, slots=True)
class _Best:
    late_s: float
    finish_s: float
    last: _Link | None


def exact(task: Task, start: Sequence[Sequence[int]], bound_s: float = 0.0) -> list[list[int]]:
    """Loads by oven with the least lateness; `start` is a good answer that prunes what is worse."""
    jobs, ovens = len(task.due_s), len(task.spools_max)
    most_s = sum(
        late_s(task, cycle) for oven, masks in enumerate(start) for cycle in follow(task, oven, masks)
    )
    if most_s <= bound_s or jobs == 0:
        return [list(masks) for masks in start]
    full = (1 << jobs) - 1
    ways = [_alone(task, oven, most_s) for oven in range(ovens)]
    return _shared(ways, full)


def _alone(task: Task, oven: int, most_s: float) -> list[_Best | None]:
    """For each set of jobs the best an oven can do with them."""
    jobs = len(task.due_s)
    loads = [(mask, blockers(task, mask)) for mask in _loads(task, oven)]
    states: list[list[_State]] = [[] for _ in range(1 << jobs)]
    states[0] = [_State(task.from_s[oven], 0.0, None)]
    for done, here in enumerate(states):
        if not here:
            continue
        for mask, blocked in loads:
            if mask & done or blocked & done:
                continue
            for state in here:
                cycle = next_cycle(task, oven, mask, state.free_s)
                late = state.late_s + late_s(task, cycle)
                if late <= most_s + 1e-6:
                    _keep(states[done | mask], _State(cycle[3], late, (state.last, mask)))
    return [_best(here) for here in states]


def _loads(task: Task, oven: int) -> list[int]:
    """Every set of jobs that may be in an oven together, grown one by one: a part of a good load is good."""
    found: list[int] = []
    layer = {1 << job for job in range(len(task.due_s)) if math.isfinite(task.duration_s(1 << job, oven))}
    while layer:
        found += sorted(layer)
        layer = {
            mask | 1 << job
            for mask in layer
            for job in range(len(task.due_s))
            if not mask >> job & 1
            and mask.bit_count() < task.spools_max[oven]
            and math.isfinite(task.duration_s(mask | 1 << job, oven))
        }
    return found


def _keep(here: list[_State], fresh: _State) -> None:
    for state in here:
        if state.free_s <= fresh.free_s and state.late_s <= fresh.late_s:
            return
    here[:] = [s for s in here if s.free_s < fresh.free_s or s.late_s < fresh.late_s]
    here.append(fresh)


def _best(here: list[_State]) -> _Best | None:
    if not here:
        return None
    state = min(here, key=lambda each: (each.late_s, each.free_s))
    return _Best(state.late_s, state.free_s if state.last is not None else 0.0, state.last)


def _shared(ways: Sequence[Sequence[_Best | None]], full: int) -> list[list[int]]:
    """All jobs dealt out to the ovens."""
    together: list[tuple[float, float] | None] = [
        None if way is None else (way.late_s, way.finish_s) for way in ways[0]
    ]
    chosen: list[list[int]] = []
    for number, way in enumerate(ways[1:], start=1):
        sets = [full] if number == len(ways) - 1 else range(full + 1)
        joined: list[tuple[float, float] | None] = [None] * (full + 1)
        given = [0] * (full + 1)
        for jobs in sets:
            joined[jobs], given[jobs] = _dealt(together, way, jobs)
        together = joined
        chosen.append(given)
    plans, left = [], full
    for oven in range(len(ways) - 1, 0, -1):
        mine = chosen[oven - 1][left]
        plans.append(_loads_of(ways[oven][mine]))
        left ^= mine
    plans.append(_loads_of(ways[0][left]))
    return plans[::-1]


def _dealt(
    others: Sequence[tuple[float, float] | None], way: Sequence[_Best | None], jobs: int
) -> tuple[tuple[float, float] | None, int]:
    """The best share of some jobs for one more oven."""
    best: tuple[float, float] | None = None
    best_mine, mine = 0, jobs
    while True:
        own, rest = way[mine], others[jobs ^ mine]
        if own is not None and rest is not None:
            total = (rest[0] + own.late_s, rest[1] + own.finish_s)
            if best is None or total < best:
                best, best_mine = total, mine
        if mine == 0:
            return best, best_mine
        mine = (mine - 1) & jobs


def _loads_of(best: _Best | None) -> list[int]:
    assert best is not None
    loads, link = [], best.last
    while link is not None:
        link, mask = link
        loads.append(mask)
    return loads[::-1]
