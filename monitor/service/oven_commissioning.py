"""Commissioning of an oven: start of a run, what runs told, and a person's word on it (P07, A-39)."""

from collections.abc import Callable
from dataclasses import dataclass

from monitor.errors import BadInputError, RefusedError
from monitor.model.cycle import Problem
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.oven_look import StartWish
from monitor.model.oven_run import COMMISSIONING, RUN_S, RUN_SETPOINT_C, OvenRun, RunKind
from monitor.oven.fitness import Fit, Learned, fit, unfit_for_all, with_learned
from monitor.oven.learning import Findings, findings
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import OvenParameters, parameters_of
from monitor.ports import Clock, ReadStore
from monitor.service.oven_desk import OvenDesk
from monitor.service.oven_figures import Told, due, mark_of, to_text, told_of
from monitor.service.oven_runs import learned_from
from monitor.service.queries import Queries

_LEAST_SETPOINT_C = 40.0  # nearer to the room an oven shows nothing of itself
_HISTORY = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLook:
    """One run with all that follows from it."""

    run: OvenRun
    found: Findings
    learned: Learned | None  # None = it must be run again
    after: OvenParameters  # what the rules would go by
    unfit: str
    fits: tuple[Fit, ...]
    is_accepted: bool
    is_of_this_oven: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Commissioning:
    """One oven's runs and what is known of it."""

    told: Told
    due: str
    before: OvenParameters  # that hold now
    runs: tuple[RunLook, ...]  # the newest first
    inside: tuple[str, ...]  # names of the spools in it by the inventory
    setpoint_c: float  # of a run that would start now
    accepted: tuple[OvenFact, ...]  # who accepted or took back what, the newest first
    stands: tuple[str, ...]  # what stands against a run


class OvenCommissioning:
    """Called from any thread. `start` is the very start of every other cycle."""

    def __init__(
        self,
        desk: OvenDesk,
        store: ReadStore,
        queries: Queries,
        *,
        start: Callable[[str, StartWish, str], tuple[Problem, ...]],
        state: Callable[[OvenFact, None], None],
        clock: Clock,
    ) -> None:
        self._desk, self._store, self._queries = desk, store, queries
        self._start, self._state, self._clock = start, state, clock
        self._found: dict[tuple[str, str, int], Findings] = {}

    def look(self, oven: str) -> Commissioning:
        """Everything about it; BadInputError where there is no such oven."""
        supervised = self._desk.now(oven)
        entry = self._queries.inventory().ovens[oven]
        told = told_of(entry, self._store.oven_facts())
        return Commissioning(
            told=told,
            due=due(entry, told, self._clock.wall_s()),
            before=supervised.parameters,
            runs=tuple(self._looked(run, told) for run in self._store.oven_runs(oven)),
            inside=self._inside(oven),
            setpoint_c=self._setpoint_c(oven),
            accepted=self._store.oven_fact_history(oven, FactKind.LEARNED, _HISTORY),
            stands=self._stands(oven),
        )

    def start(
        self, oven: str, kind: RunKind, order: str, version: int, who: str, shown_s: float
    ) -> tuple[Problem, ...]:
        """An attended start through the same supervision, at a low set-point; empty = granted."""
        stands = self._stands(oven)
        if stands:
            return (Problem(rule="B-51", title="No commissioning run now", detail=stands[0]),)
        inside = self._inside(oven)
        if kind is RunKind.EMPTY and inside:
            detail = f"By the inventory {', '.join(inside)} lie in it. Take out what lies inside, and say so."
            return (Problem(rule="A-39", title="The oven is not empty", detail=detail),)
        if kind is RunKind.LOADED and not inside:
            detail = "For a run with a load put in what you dry as a rule, and say so."
            return (Problem(rule="A-39", title="Nothing lies inside", detail=detail),)
        setpoint_c = self._setpoint_c(oven)
        if setpoint_c < _LEAST_SETPOINT_C:
            least = f"below {_LEAST_SETPOINT_C:g} °C nothing is learned"
            detail = f"Within its limits {setpoint_c:g} °C is the most; {least}."
            return (Problem(rule="B-14", title="Too cool for a run", detail=detail),)
        spools = tuple(s.key for s in self._queries.inventory().spools.values() if s.place == oven)
        wish = StartWish(
            order=order,
            version=version,
            load=(*spools, COMMISSIONING),
            setpoint_c=setpoint_c,
            duration_s=RUN_S,
            limited_by="",
            unattended=False,
            shown_s=shown_s,
        )
        return self._start(oven, wish, who)

    def accept(self, oven: str, run: str, who: str) -> None:
        """The rules go by this run from now on, also where it overshot less than the inventory says."""
        chosen = next((each for each in self.look(oven).runs if each.run.run == run), None)
        if chosen is None:
            raise BadInputError(f"there is no run {run[:40]!r} of this oven")
        if chosen.learned is None:
            raise RefusedError(f"this run cannot be used: {' '.join(chosen.found.problems)}")
        if not chosen.is_of_this_oven:
            raise RefusedError("this run is of the oven as it was before it was changed")
        self._say(oven, to_text(chosen.learned), who)

    def take_back(self, oven: str, who: str) -> None:
        """The inventory's figures hold again, and the larger overshoot counts."""
        if self._facts_of(oven).accepted is None:
            raise RefusedError("nothing was accepted that could be taken back")
        self._say(oven, "", who)

    def _say(self, oven: str, value: str, who: str) -> None:
        fact = OvenFact(oven=oven, at_s=self._clock.wall_s(), kind=FactKind.LEARNED, value=value, who=who)
        self._state(fact, None)

    def _facts_of(self, oven: str) -> Told:
        self._desk.now(oven)
        return told_of(self._queries.inventory().ovens[oven], self._store.oven_facts())

    def _looked(self, run: OvenRun, told: Told) -> RunLook:
        entry = self._queries.inventory().ovens[run.oven]
        found = self._findings(run)
        known = None if found.problems or run.ending is None else learned_from(run, found, entry)
        parameters = with_learned(parameters_of(entry), known)
        materials = self._queries.library().materials.values()
        fits = (
            ()
            if known is None
            else tuple(fit(m.name, m.max_safe_c, parameters, known.swing_c) for m in materials)
        )
        marks = (told.measured, told.accepted)
        was = next((each.oven for each in marks if each is not None and each.run == run.run), mark_of(entry))
        return RunLook(
            run=run,
            found=found,
            learned=known,
            after=parameters,
            unfit="" if known is None else unfit_for_all(found),
            fits=fits,
            is_accepted=told.accepted is not None and told.accepted.run == run.run,
            is_of_this_oven=was == mark_of(entry),
        )

    def _findings(self, run: OvenRun) -> Findings:
        """Kept, since a finished run never changes."""
        key = (run.oven, run.run, len(run.trace) if run.ending is None else -len(run.trace))
        if key not in self._found:
            if len(self._found) > 100:
                self._found.clear()
            self._found[key] = findings(run)
        return self._found[key]

    def _inside(self, oven: str) -> tuple[str, ...]:
        return tuple(s.name for s in self._queries.inventory().spools.values() if s.place == oven)

    def _setpoint_c(self, oven: str) -> float:
        """50 °C, or what the limits of oven and load leave, in whole degrees."""
        state = self._desk.now(oven)
        load = state.site.load if state.site is not None else ()
        bound_c = allowed(load, state.parameters).setpoint_c
        return float(int(min(RUN_SETPOINT_C, bound_c)))

    def _stands(self, oven: str) -> tuple[str, ...]:
        site = self._desk.now(oven).site
        if site is None or not site.is_cutout_confirmed:
            return (
                "No thermal cut-out is confirmed: first have one fitted, then confirm it on the safety page.",
            )
        return ()
