"""A good schedule for any number of jobs: put each where it costs least, then take out and put back."""

import math
from collections.abc import Iterator, Sequence
from random import Random

from monitor.oven.ready_by_task import Task, blockers, late_s, members, next_cycle

Plans = list[list[int]]  # loads of each oven in their order
Cost = tuple[float, float]  # all lateness, all finishing times [s]
_WORST: Cost = (math.inf, math.inf)
ROUNDS = 3_000
_MOST_OUT = 6
_WORSE = 0.03
_SEED = 1


def search(task: Task, enough_s: float = 0.0, rounds: int = ROUNDS) -> Plans:
    """Loads by oven, until they are no later than `enough_s` or for so many rounds.

    The dice are seeded, so that the same question has the same answer.
    """
    dice = Random(_SEED)
    jobs = list(range(len(task.due_s)))
    costs = _Costs(task)
    # The older ones of a material come first: behind them there is always a place for the next.
    jobs.sort(key=lambda job: (task.due_s[job], -task.newer[job].bit_count()))
    best = _put(task, costs, [[] for _ in task.spools_max], jobs)
    assert best is not None
    least = costs.total(best)
    now, at = best, least
    for number in range(rounds if len(jobs) > 1 else 0):
        if least[0] <= enough_s:
            break
        out = _taken(task, costs, now, dice)
        plans = _put(task, costs, _without(now, out), out)
        if plans is None:
            continue
        cost = costs.total(plans)
        # A little worse is taken at first, ever less later: else the first valley would be the last.
        if cost < (at[0] * (1.0 + _WORSE * (1.0 - number / rounds)), math.inf):
            now, at = plans, cost
        if cost < least:
            best, least = plans, cost
    return best


class _Costs:
    """What an oven's loads cost; kept, since most of them stay as they are."""

    def __init__(self, task: Task) -> None:
        self._task = task
        self._known: dict[tuple[int, tuple[int, ...]], Cost] = {}

    def of(self, oven: int, loads: Sequence[int]) -> Cost:
        key = (oven, tuple(loads))
        if key not in self._known:
            self._known[key] = self._worked_out(oven, loads)
        return self._known[key]

    def total(self, plans: Plans) -> Cost:
        parts = [self.of(oven, loads) for oven, loads in enumerate(plans)]
        return sum(part[0] for part in parts), sum(part[1] for part in parts)

    def _worked_out(self, oven: int, loads: Sequence[int]) -> Cost:
        free_s, late, finish, done = self._task.from_s[oven], 0.0, 0.0, 0
        for mask in loads:
            if blockers(self._task, mask) & done:
                return _WORST
            cycle = next_cycle(self._task, oven, mask, free_s)
            if not math.isfinite(cycle[3]):
                return _WORST
            late += late_s(self._task, cycle)
            finish += cycle[3] * mask.bit_count()
            free_s, done = cycle[3], done | mask
        return late, finish


def _put(task: Task, costs: _Costs, plans: Plans, jobs: Sequence[int]) -> Plans | None:
    """The jobs one by one, each where it adds least; None where an older one finds no place any more."""
    for job in jobs:
        placed = _placed(task, costs, plans, job)
        if placed is None:
            return None
        plans = placed
    return plans


def _placed(task: Task, costs: _Costs, plans: Plans, job: int) -> Plans | None:
    """Into a load, or as a load of its own between two others."""
    best: tuple[Cost, int, list[int]] | None = None
    for oven, loads in enumerate(plans):
        before = costs.of(oven, loads)
        for tried in _ways(task, oven, loads, job):
            after = costs.of(oven, tried)
            if math.isinf(after[0]):
                continue
            added = (after[0] - before[0], after[1] - before[1])
            if best is None or added < best[0]:
                best = (added, oven, tried)
    if best is None:
        return None
    return [best[2] if oven == best[1] else loads for oven, loads in enumerate(plans)]


def _ways(task: Task, oven: int, loads: list[int], job: int) -> Iterator[list[int]]:
    bit = 1 << job
    if math.isinf(task.duration_s(bit, oven)):
        return
    for at, mask in enumerate(loads):
        if math.isfinite(task.duration_s(mask | bit, oven)):
            yield [*loads[:at], mask | bit, *loads[at + 1 :]]
    for at in range(len(loads) + 1):
        yield [*loads[:at], bit, *loads[at:]]


def _taken(task: Task, costs: _Costs, plans: Plans, dice: Random) -> list[int]:
    """Some jobs, those that are late and their neighbours before others, in any order."""
    weighed: list[tuple[float, int]] = []
    for oven, loads in enumerate(plans):
        is_late = costs.of(oven, loads)[0] > 0.0
        for mask in loads:
            for job in members(mask):
                weighed.append((dice.random() * (1.0 if is_late else 2.0), job))
    weighed.sort()
    out = [job for _, job in weighed[: dice.randint(1, min(_MOST_OUT, len(task.due_s)))]]
    if dice.random() < 0.5:
        out.sort(key=lambda job: task.due_s[job])
    return out


def _without(plans: Plans, out: Sequence[int]) -> Plans:
    gone = sum(1 << job for job in out)
    return [[mask & ~gone for mask in loads if mask & ~gone] for loads in plans]
