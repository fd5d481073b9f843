"""How right plans are against the reference solver, and how good and fast ready-by is for forty jobs."""

import time
from statistics import mean, median

from support.plan_jobs import OFFICE, Case
from support.plan_loads import VENTED, load_spool, plan_of
from support.plan_truth import compared

from monitor.oven.ready_by import ready_by

_CASES = range(30)


def run() -> dict[str, float]:
    """Errors, seconds of one core, hours."""
    cases = [compared(seed) for seed in _CASES]
    found: dict[str, float] = {
        "cases": len(cases),
        "worst_time_error": max(abs(each.time_error()) for each in cases),
        "median_time_error": median(abs(each.time_error()) for each in cases),
        "worst_floor_error": max(abs(each.floor_error()) for each in cases),
        "plan_one_spool_s": _took(lambda: plan_of(load_spool("petg", start_pct=0.2))),
        "plan_one_spool_vented_s": _took(lambda: plan_of(load_spool("petg", start_pct=0.2), oven=VENTED)),
        "plan_four_spools_vented_s": _took(
            lambda: plan_of(*(load_spool("petg", key=f"p{n}", start_pct=0.2) for n in range(4)), oven=VENTED)
        ),
    }
    exact = [_scheduled(seed, 12, 0.6) for seed in range(5)]
    found["twelve_jobs_exact_longest_s"] = max(took for took, _ in exact)
    for tight, words in ((1.0, "overloaded"), (2.5, "busy"), (5.0, "relaxed")):
        runs = [_scheduled(seed, 40, tight) for seed in range(4)]
        found[f"forty_jobs_{words}_s"] = max(took for took, _ in runs)
        found[f"forty_jobs_{words}_late_h"] = mean(each.late_s for _, each in runs) / 3600.0
        found[f"forty_jobs_{words}_bound_h"] = mean(each.bound_s for _, each in runs) / 3600.0
        found[f"forty_jobs_{words}_gap_h"] = mean(each.gap_s for _, each in runs) / 3600.0
    return found


def _scheduled(seed, jobs, tight):
    case = Case(seed, jobs=jobs, ovens=4, most=4, tight=tight)
    begun_s = time.process_time()
    schedule = ready_by(case.jobs, case.ovens, case.duration_s, now_s=case.now_s, rules=OFFICE)
    return time.process_time() - begun_s, schedule


def _took(act):
    begun_s = time.process_time()
    act()
    return time.process_time() - begun_s
