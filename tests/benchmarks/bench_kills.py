"""Five kills of real processes under heat with a lease of two seconds: `python -m benchmarks kills`."""

import tempfile
from pathlib import Path

from support.oven_kills import LEASE_S, LOOP_S, campaign


def run():
    with tempfile.TemporaryDirectory() as folder:
        found = campaign(Path(folder))
    most_s = LEASE_S + LOOP_S
    rows = {
        f"{number} {one.victim}: last heat after the kill [s] (at most {most_s:g})": round(one.heat_s, 2)
        for number, one in enumerate(found, start=1)
    }
    return rows | {
        "of how many it was heating when killed": sum(one.heated_before for one in found),
        "cycle ended as": ", ".join(one.ended for one in found),
        "too late (aim 0)": sum(one.heat_s > most_s for one in found),
        "heat came back by itself (aim 0)": sum(one.came_back for one in found),
    }
