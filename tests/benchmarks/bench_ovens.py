"""Monitor and controller together on a simulated oven: all faults, a thousand nominal cycles, a hundred kills.

`python -m benchmarks ovens`; `python -m benchmarks.bench_ovens CYCLES KILLS` for other numbers.
"""

import multiprocessing
import sys
from collections import Counter

from support.oven_campaign import VICTIMS, Killed, Ran, kill, nominal
from support.oven_joint import LEARNED
from support.oven_matrix import CASES, FAULTS, Found, inject

CYCLES, KILLS = 1000, 100


def run(cycles=CYCLES, kills=KILLS):
    """Prints the table of faults; returns the sums. Every core works on it."""
    with multiprocessing.get_context("spawn").Pool() as pool:
        found = pool.map(_fault, range(len(CASES)), chunksize=1)
        killed = pool.map(_kill, range(kills), chunksize=2)
        ran = pool.map(_nominal, range(cycles), chunksize=5)
    print("\n".join(_table(found)))
    return _faults(found) | _cycles(ran) | _kills(killed)


def _fault(number: int) -> Found:
    return inject(*CASES[number])


def _kill(number: int) -> Killed | str:
    """A broken invariant is a result, not an end of the whole campaign."""
    try:
        return kill(number)
    except AssertionError as error:
        return f"{number}: {error}"


def _nominal(number: int) -> Ran | str:
    try:
        ran = nominal(number)
        if ran.wrong:
            print(f"cycle {number}: {ran.wrong}", file=sys.stderr, flush=True)
        return ran
    except AssertionError as error:
        return f"{number}: {error}"


def _table(found: list[Found]) -> list[str]:
    lines = [
        "| fault | rows | at | told of by | told after | last heat after | limit | chamber's peak | limit |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for (fault, moment), seen in zip(CASES, found, strict=True):
        within_s = fault.within_s[min(fault.moments.index(moment), len(fault.within_s) - 1)]
        limit = "goes on" if within_s > 1e5 else f"{within_s:g} s"
        told = "-" if seen.found_s is None else f"{seen.found_s:.0f} s"
        wrong = "".join(f" **{what}**" for what in seen.misses(fault, moment))
        lines.append(
            f"| {fault.name}{wrong} | {fault.rows} | {moment} | {', '.join(seen.rules) or '-'} | {told} "
            f"| {seen.off_s:.0f} s | {limit} | {seen.peak_c:.1f} °C | {fault.most_c:g} °C |"
        )
    return lines


def _faults(found: list[Found]) -> dict:
    missed = sum(bool(seen.misses(*case)) for case, seen in zip(CASES, found, strict=True))
    return {
        "faults injected": len(FAULTS),
        "in how many moments": len(CASES),
        "missed, late or too hot (aim 0)": missed,
    }


def _cycles(ran: list[Ran | str]) -> dict:
    whole = [one for one in ran if isinstance(one, Ran)]
    wrong = {number: one.wrong for number, one in enumerate(ran) if isinstance(one, Ran) and one.wrong}
    broken = [one for one in ran if isinstance(one, str)]
    for why in broken:
        print(f"broken: {why}")
    tripped = sum(why.startswith(("tripped", "ended")) for why in wrong.values())
    return {
        "nominal cycles": len(ran),
        "hours simulated in them": round(sum(one.hours for one in whole)),
        "doors opened in them": sum(one.doors for one in whole),
        "false trips and stops (aim 0)": tripped,
        "false holds and notices": len(wrong) - tripped,
        "broken invariants in them (aim 0)": len(broken),
        "highest chamber over its set-point [°C]": round(max(one.peak_above_c for one in whole), 2),
        "least distance to the load's limit [°C]": round(min(one.below_limit_c for one in whole), 2),
    }


def _kills(killed: list[Killed | str]) -> dict:
    whole = [one for one in killed if isinstance(one, Killed)]
    for why in killed:
        if isinstance(why, str):
            print(f"broken: {why}")
    longest = {
        f"longest heat after a kill of: {victim} [s] (at most {LEARNED.lease_s:g})": max(
            one.heat_s for one in whole if one.victim == victim
        )
        for victim in VICTIMS
        if any(one.victim == victim for one in whole)
    }
    return {
        "kills": len(killed),
        **longest,
        "heat came back by itself (aim 0)": Counter(one.came_back for one in whole)[True],
        "broken invariants in them (aim 0)": len(killed) - len(whole),
    }


if __name__ == "__main__":
    for what, value in run(*map(int, sys.argv[1:3])).items():
        print(f"| {what} | {value} |")
