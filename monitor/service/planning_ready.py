"""Ready-by for a site: which of its spools go into which of its ovens when; times come from drying plans."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.errors import BadInputError
from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.plan_drying import load_limits, setpoint_c, spread_of
from monitor.estimate.plan_limits import guard_c, least_useful_c
from monitor.estimate.plan_outcome import Leads, Outcome, outcome_at
from monitor.estimate.plan_times import timing_of
from monitor.estimate.plan_words import LONGEST_CYCLE_H
from monitor.model.inventory import Oven
from monitor.model.plan import Goal, RoomAir, When
from monitor.oven.ready_by import Job, Place, Rules, Running, Schedule, ready_by
from monitor.service.planning import RoomWish, load_of, room_air
from monitor.service.queries import Queries


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A spool of the inventory that has to be dry, and cool, by a time."""

    spool: str
    due_s: float
    is_pinned: bool = False  # this very spool, not the oldest of its material


def plan_ready(
    queries: Queries,
    wanted: Sequence[Wanted],
    *,
    rules: Rules | None = None,
    running: Sequence[Running] = (),
    goal: Goal | None = None,
) -> Schedule:
    """The schedule over all ovens of the inventory, from the spools and the rooms as they are now."""
    inventory = queries.inventory()
    for wish in wanted:
        if wish.spool not in inventory.spools:
            raise BadInputError(f"spool {wish.spool!r} is not in the inventory")
    keys = tuple(wish.spool for wish in wanted)
    spools = dict(zip(keys, load_of(queries, keys), strict=True))
    ovens = queries.ovens_as_learned()
    table = Durations(
        spools,
        {key: (oven, room_air(queries, oven, RoomWish())) for key, oven in ovens.items()},
        goal or Goal(),
    )
    jobs = [
        Job(
            key=wish.spool,
            material=inventory.spools[wish.spool].material,
            due_s=wish.due_s,
            opened_s=inventory.spools[wish.spool].since_s,
            is_pinned=wish.is_pinned,
        )
        for wish in wanted
    ]
    places = [Place(key=key, spools_max=oven.spools_max or 1) for key, oven in ovens.items()]
    return ready_by(jobs, places, table.duration_s, now_s=queries.now_s(), rules=rules, running=running)


class Durations:
    """Hours of loads, from each spool's course at the load's temperature; kept, since many loads share it.

    What the spools of a load give to each other's air is left out here: the load's own plan counts it.
    """

    def __init__(
        self, spools: dict[str, LoadSpool], ovens: dict[str, tuple[Oven, RoomAir]], goal: Goal
    ) -> None:
        self._spools = spools
        self._ovens = ovens
        self._goal = goal
        self._known: dict[tuple[str, str, float], Outcome] = {}

    def duration_s(self, keys: frozenset[str], oven_key: str) -> float | None:
        """Heating to the 90th percentile and cooling [s]; None = not in this oven, or not together."""
        oven, room = self._ovens[oven_key]
        together_c = self._hottest_c(keys, oven)
        if together_c < least_useful_c(room.temperature_c):
            return None
        seconds = 0.0
        for key in keys:
            outcome = self._outcome(key, oven_key, together_c)
            alone = self._outcome(key, oven_key, self._hottest_c(frozenset({key}), oven))
            timing = timing_of(spread_of(outcome), When(now_s=0.0))
            is_worse = outcome.aims[0].leads is not alone.aims[0].leads
            if is_worse or outcome.aims[0].leads is Leads.WETTER or timing.run_h > LONGEST_CYCLE_H:
                return None
            if spread_of(outcome).p50 is None:
                return None
            seconds = max(seconds, 3600.0 * (timing.run_h + timing.cool_h))
        return seconds

    def _hottest_c(self, keys: frozenset[str], oven: Oven) -> float:
        load = [self._spools[key] for key in sorted(keys)]
        return setpoint_c(load, load_limits(load, oven), guard_c(oven))

    def _outcome(self, key: str, oven_key: str, temperature_c: float) -> Outcome:
        oven, room = self._ovens[oven_key]
        found = self._known.get((key, oven_key, temperature_c))
        if found is None:
            load = [self._spools[key]]
            found = outcome_at(load, oven, room, self._goal, temperature_c, LONGEST_CYCLE_H)
            self._known[key, oven_key, temperature_c] = found
        return found
