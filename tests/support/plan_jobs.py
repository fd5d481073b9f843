"""Jobs for ovens at random, and every schedule of a small case tried: nothing shared with the product's search."""

import itertools
import math
import random

from monitor.oven.ready_by import Job, Place, Rules

HOUR_S, DAY_S = 3600.0, 86_400.0
MONDAY_S = 1_789_948_800.0  # 2026-09-21 00:00 UTC
MATERIALS = {
    "pla": (43.0, 8.0),
    "petg": (58.0, 7.0),
    "pa6": (78.0, 20.0),
    "pc": (90.0, 6.0),
    "asa": (73.0, 5.0),
}


class Case:
    """Jobs, ovens and the time a load takes: the longest of its members at the coolest temperature inside."""

    def __init__(self, seed, jobs, ovens, *, most=3, tight=1.0):
        dice = random.Random(seed)
        keys = sorted(MATERIALS)
        self.now_s = MONDAY_S + 9 * HOUR_S
        self.jobs = [
            Job(
                key=f"j{n}",
                material=dice.choice(keys),
                due_s=self.now_s + tight * dice.uniform(4, 12 * max(jobs / (ovens * most), 1)) * HOUR_S,
                opened_s=dice.choice([None, self.now_s - dice.uniform(1, 90) * DAY_S]),
                free_s=self.now_s + dice.choice([0.0, 0.0, 0.0, 3.0]) * HOUR_S,
            )
            for n in range(jobs)
        ]
        self.ovens = [
            Place(
                key=f"o{n}",
                spools_max=dice.randint(1, most),
                free_s=self.now_s + dice.choice([0.0, 2.5]) * HOUR_S,
            )
            for n in range(ovens)
        ]
        self.hottest_c = {oven.key: dice.choice([60.0, 80.0, 95.0]) for oven in self.ovens}
        self.hottest_c[self.ovens[0].key] = 95.0
        self.wet = {job.key: dice.uniform(0.5, 1.5) for job in self.jobs}
        self.of = {job.key: job.material for job in self.jobs}

    def duration_s(self, keys, oven):
        coolest_c = min(self.hottest_c[oven], *(MATERIALS[self.of[key]][0] for key in keys))
        hours = []
        for key in keys:
            usual_c, usual_h = MATERIALS[self.of[key]]
            if usual_c > coolest_c + 20.0:
                return None
            hours.append(self.wet[key] * usual_h * 2.0 ** ((usual_c - coolest_c) / 10.0) + 1.0)
        return max(hours) * HOUR_S


OFFICE = Rules(
    attended=tuple((MONDAY_S + d * DAY_S + 7 * HOUR_S, MONDAY_S + d * DAY_S + 23 * HOUR_S) for d in range(7)),
    quiet=tuple((MONDAY_S + d * DAY_S + 13 * HOUR_S, MONDAY_S + d * DAY_S + 14 * HOUR_S) for d in range(7)),
)


def good_moment(time_s):
    """The first one of OFFICE, minute by minute not needed: by its hours."""
    while True:
        hour = (time_s - MONDAY_S) % DAY_S / HOUR_S
        if 7.0 <= hour <= 13.0 or 14.0 <= hour <= 23.0:
            return time_s
        ahead = (13.0 < hour < 14.0 and 14.0 - hour) or (7.0 - hour) % 24.0
        time_s += ahead * HOUR_S


def by_age(jobs):
    """Dues handed to the oldest of each material."""
    dues = {}
    for material in {job.material for job in jobs}:
        those = [job for job in jobs if job.material == material]
        old_first = sorted(those, key=lambda j: (math.inf if j.opened_s is None else j.opened_s, j.due_s))
        dues |= dict(zip([job.key for job in old_first], sorted(job.due_s for job in those), strict=True))
    return dues


def least_late_s(case):
    """Every way to deal the jobs to ovens, group and order them: the least lateness in all."""
    dues = by_age(case.jobs)
    best = math.inf
    for dealt in itertools.product(case.ovens, repeat=len(case.jobs)):
        total = 0.0
        for oven in case.ovens:
            mine = [job for job, place in zip(case.jobs, dealt, strict=True) if place is oven]
            total += _least_alone(case, oven, mine, dues)
            if total >= best:
                break
        best = min(best, total)
    return best


def _least_alone(case, oven, jobs, dues):
    if not jobs:
        return 0.0
    best = math.inf
    for order in _ordered_partitions(jobs):
        if any(len(load) > oven.spools_max for load in order):
            continue
        if not _is_fifo(order):
            continue
        free_s, late = max(oven.free_s, case.now_s), 0.0
        for load in order:
            took = case.duration_s(frozenset(j.key for j in load), oven.key)
            if took is None:
                late = math.inf
                break
            start = good_moment(max([free_s, *(j.free_s for j in load)]))
            free_s = good_moment(start + took)
            late += sum(max(0.0, free_s - dues[j.key]) for j in load)
        best = min(best, late)
    return best


def _is_fifo(order):
    def age(job):
        return (math.inf if job.opened_s is None else job.opened_s, job.due_s)

    seen = []
    for load in order:
        for job in load:
            if any(other.material == job.material and age(other) > age(job) for other in seen):
                return False
        seen += load
    return True


def _ordered_partitions(items):
    if not items:
        yield []
        return
    for size in range(1, len(items) + 1):
        for first in itertools.combinations(items, size):
            rest = [item for item in items if item not in first]
            for others in _ordered_partitions(rest):
                yield [list(first), *others]
