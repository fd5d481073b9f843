"""A simulated year of alarms (A-24): 20 boxes, load against A-19 to A-23, each kind of alarm against the truth.

`./deploy/bench.sh year` runs two seeds of 20 boxes over 365 days, some twenty minutes each on two idle cores;
`YEAR="boxes days seed ..."` another size.
"""

import os

from support.year_count import Judged, Load, median_delay_h
from support.year_site import alarms_of, simulate

BOXES, DAYS, SEEDS = 20, 365.0, (2027, 2028)


def run() -> dict[str, float | str]:
    """All figures, by seed."""
    boxes, days, seeds = BOXES, DAYS, SEEDS
    if asked := os.environ.get("YEAR"):
        first, second, *rest = asked.split()
        boxes, days, seeds = int(first), float(second), tuple(int(seed) for seed in rest)
    found: dict[str, float | str] = {}
    for seed in seeds:
        seen = simulate(boxes, days, seed, processes=2)
        _, load, judged = alarms_of(seen)
        found[f"seed {seed}: boxes, days, charges changed, openings"] = (
            f"{boxes}, {days:g}, {len(seen.year.recharges)}, {len(seen.year.plan.openings)}"
        )
        found |= {f"seed {seed}: {name}": value for name, value in figures(load, judged).items()}
    return found


def figures(load: Load, judged: dict[str, Judged]) -> dict[str, float | str]:
    """The rows of the table, goals named."""
    rows: dict[str, float | str] = {
        "pushes a day, whole span (A-20: 1)": load.a_day,
        "pushes a day, worst 30 days (A-20: 1)": load.worst_30_d,
        "most pushes in any 1 h (A-20: 3)": load.most_in_1_h,
        "the same without site-wide incidents": load.most_in_1_h_incident_apart,
        "most pushes of one storm (A-20: 5)": load.most_of_a_storm,
        "storms told as one": load.storms,
        "raised in quiet hours; of these may sound by A-20": f"{load.in_quiet}; {load.loud_in_quiet}",
        "share of high (A-21: 0.05)": load.high_share,
        "safety pushes (A-21: 0 but the one trip)": load.safety,
        "safety alarms hidden (0)": load.hidden_safety,
        "activations": load.activations,
        "chattering alarms (A-19: 0)": load.chattering,
        "chattering slowly, 3 in 75 min": load.slow_chattering,
        "fleeting, gone at the next look (A-19: 0)": load.fleeting,
        "active for over a day, worst day (A-19: under 5)": load.most_stale,
        "the same, mean": load.mean_stale,
        "time in flood (A-19: 0.01)": load.flood_share,
        "share of the ten most frequent alarms (A-19: 0.05 at most)": load.bad_actor_share,
        "activations by kind": _listed(load.by_type),
        "pushes by kind": _listed(load.pushes_by_type),
    }
    for kind, item in judged.items():
        delay_h = median_delay_h(item)
        told = "" if delay_h is None else f"; median delay {delay_h:.2g} h, worst {max(item.delays_h):.2g} h"
        rows[f"{kind}: raised, false; had to be told, missed"] = (
            f"{item.raised}, {item.false}; {item.events}, {item.missed}{told}"
        )
    return rows


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{kind} {count}" for kind, count in counts.items())
