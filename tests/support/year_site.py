"""A whole simulated year (or part of one) of a site, from its truth to what was told; used by bench and suite."""

import multiprocessing
from collections import deque
from dataclasses import dataclass, replace
from typing import Any

from support.year_alarms import Mishaps, Told, YearOfAlarms
from support.year_boxes import Followed, Following, Gaps, draw_gaps
from support.year_count import Judged, Load, Truths, load_of
from support.year_spools import SpoolLook, follow_spools
from support.year_truth import (
    BLOCK_S,
    DAY_S,
    HOUR_S,
    Leak,
    Opening,
    Stretch,
    Year,
    YearTruth,
    draw_plan,
    draw_site,
)

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


class Watchers:
    """The estimator beside the truth: whoever is told of used up desiccant changes it, so each needs the other.

    While it works at one stretch the truth goes on with the next: people hear of it six hours later.
    """

    def __init__(self, followings: list[Following], processes: int) -> None:
        parts = [followings[first::processes] for first in range(processes)]
        self._workers: list[Any] = [_Here(parts[0])] if processes == 1 else [_away(part) for part in parts]
        self._is_busy = False

    def told(self, stretch: Stretch) -> frozenset[int]:
        """The boxes whose desiccant was told to be used up by the end of the stretch before this one."""
        found = self._answers()
        for worker in self._workers:
            worker.send(stretch)
        self._is_busy = True
        return frozenset(number for numbers in found for number in numbers)

    def followed(self) -> list[Followed]:
        """What was made of every box; ends the work."""
        self._answers()
        for worker in self._workers:
            worker.send(None)
        found = dict(item for worker in self._workers for item in worker.recv())
        return [found[number] for number in sorted(found)]

    def _answers(self) -> list[Any]:
        found = [worker.recv() for worker in self._workers] if self._is_busy else []
        self._is_busy = False
        return found


class _Here:
    """A worker in this process, asked like one at the other end of a pipe."""

    def __init__(self, followings: list[Following]) -> None:
        self._followings, self._answers = followings, deque[Any]()

    def send(self, stretch: Stretch | None) -> None:
        self._answers.append(_work(self._followings, stretch))

    def recv(self) -> Any:
        return self._answers.popleft()


def _away(followings: list[Following]) -> Any:
    here, there = multiprocessing.Pipe()
    multiprocessing.Process(target=_work_on, args=(there, followings), daemon=True).start()
    return here


def _work_on(pipe: Any, followings: list[Following]) -> None:
    is_on = True
    while is_on:
        stretch = pipe.recv()
        pipe.send(_work(followings, stretch))
        is_on = stretch is not None


def _work(followings: list[Following], stretch: Stretch | None) -> list[Any]:
    if stretch is None:
        return [(following.number, following.followed()) for following in followings]
    for following in followings:
        following.take(stretch)
    return [following.number for following in followings if following.is_told]


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
    away = (days / 2.0 * DAY_S, (days / 2.0 + 1.0) * DAY_S)
    gaps = draw_gaps(round(days * DAY_S / BLOCK_S), boxes, seed, away)
    watchers = Watchers(
        [Following(box, plan, gaps.heard(n), n, seed) for n, box in enumerate(drawn[:boxes])], processes
    )
    year = YearTruth(drawn, plan, seed).course(days, watchers.told)
    followed = watchers.followed()
    spools = follow_spools(year, followed, seed, tables_only=tables_only)
    return Seen(days=days, seed=seed, year=year, gaps=gaps, followed=followed, spools=spools)


def alarms_of(seen: Seen) -> tuple[Told, Load, dict[str, Judged]]:
    """The table and rules as they are now, over what was seen."""
    told = YearOfAlarms(seen.year, seen.gaps, seen.followed, seen.spools, seen.mishaps, seen.seed).run()
    kinds = tuple(load_alarm_table().rows)
    return told, load_of(told, seen.days, kinds), Truths(seen.year, seen.gaps, seen.mishaps).judge(told)
