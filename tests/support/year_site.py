"""A whole simulated year (or part of one) of a site, from its truth to what was told; used by bench and suite."""

import multiprocessing
from dataclasses import dataclass, replace

from support.year_alarms import Mishaps, Told, YearOfAlarms
from support.year_boxes import Followed, Gaps, draw_gaps, follow_box
from support.year_count import Judged, Load, Truths, load_of
from support.year_spools import SpoolLook, follow_spools
from support.year_truth import DAY_S, HOUR_S, Leak, Opening, Year, YearTruth, draw_plan, draw_site

from monitor.library.alarm_table import load_alarm_table

LEAKY = 1  # the box whose seal fails after a third of the time, for 25 days


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that the alarms of a year rest on."""

    days: float
    seed: int
    year: Year
    gaps: Gaps
    followed: list[Followed]
    spools: dict[str, list[SpoolLook]]

    @property
    def mishaps(self) -> Mishaps:
        days = self.days
        clock_s = days * 0.6 // 1.0 * DAY_S + 10.0 * HOUR_S
        trip_s = days * 0.7 // 1.0 * DAY_S + 14.0 * HOUR_S
        return Mishaps(
            clock=(clock_s, clock_s + 2_400.0),
            trip=(trip_s, trip_s + HOUR_S),
            starts=tuple(days * share // 1.0 * DAY_S + 9.0 * HOUR_S for share in (0.2, 0.45, 0.8)),
        )


def simulate(
    boxes: int,
    days: float,
    seed: int,
    tables: int = 2,
    processes: int = 1,
    *,
    tables_only: bool = False,
    more: tuple[Opening, ...] = (),
) -> Seen:
    """Truth, readings and estimates; nothing here depends on the alarm table.

    With `tables_only` the spools in boxes are not followed: most of the time goes there.
    """
    drawn = draw_site(boxes, seed, tables)
    leak = Leak(box=LEAKY, from_s=days / 3.0 * DAY_S, to_s=(days / 3.0 + 25.0) * DAY_S)
    plan = draw_plan(drawn, days, seed, (leak,), tables)
    plan = replace(plan, openings=tuple(sorted((*plan.openings, *more), key=lambda item: item.from_s)))
    year = YearTruth(drawn, plan, seed).course(days)
    away = (days / 2.0 * DAY_S, (days / 2.0 + 1.0) * DAY_S)
    gaps = draw_gaps(len(year.time_s), boxes, seed, away)
    jobs = [(year, gaps, number, seed) for number in range(boxes)]
    if processes > 1:
        with multiprocessing.Pool(processes) as pool:
            followed = pool.starmap(follow_box, jobs, chunksize=1)
    else:
        followed = [follow_box(*job) for job in jobs]
    spools = follow_spools(year, followed, seed, tables_only=tables_only)
    return Seen(days=days, seed=seed, year=year, gaps=gaps, followed=followed, spools=spools)


def alarms_of(seen: Seen) -> tuple[Told, Load, dict[str, Judged]]:
    """The table and rules as they are now, over what was seen."""
    told = YearOfAlarms(seen.year, seen.gaps, seen.followed, seen.spools, seen.mishaps, seen.seed).run()
    kinds = tuple(load_alarm_table().rows)
    return told, load_of(told, seen.days, kinds), Truths(seen.year, seen.gaps, seen.mishaps).judge(told)
