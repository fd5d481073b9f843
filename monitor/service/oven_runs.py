"""Records commissioning runs from the states that the supervision takes in; called on the worker's thread."""

from dataclasses import dataclass, field, replace

from monitor.model.audit import SYSTEM
from monitor.model.cycle import Cycle
from monitor.model.inventory import Oven
from monitor.model.oven import OvenPhase
from monitor.model.oven_fact import FactKind, OvenChanges, OvenFact
from monitor.model.oven_run import COMMISSIONING, TRACE_APART_S, TRACE_MAX, OvenRun, RunKind, TracePoint
from monitor.oven import hard
from monitor.oven.fitness import Learned, learned
from monitor.oven.learning import Findings, findings
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING
from monitor.service.oven_figures import mark_of, to_text

_KEEP_EVERY_S = 300.0
_AFTER_HEAT_S = 3600.0
_SPOOLS_GUESSED = 2  # where the inventory does not say how many it takes
_OVER = frozenset({OvenPhase.IDLE, OvenPhase.ARMED, OvenPhase.DONE})


@dataclass(slots=True)
class _Going:
    run: OvenRun
    begun_mono_s: float
    kept_mono_s: float
    points: list[TracePoint] = field(default_factory=list)
    # Since the last point: the heater switches between two of them, and its mean counts.
    heater: list[float] = field(default_factory=list)
    power_w: list[float] = field(default_factory=list)


class OvenRuns:
    """At most one run of each oven at a time; it is written every five minutes and at its end."""

    def __init__(self) -> None:
        self._going: dict[str, _Going] = {}

    def is_going(self, oven: str) -> bool:
        return oven in self._going

    def seen(
        self,
        before: Supervised,
        after: Supervised,
        entry: Oven | None,
        *,
        rule: str | None,
        mono_s: float,
        wall_s: float,
    ) -> OvenChanges | None:
        """One step of the supervision; what is to be written of a run, or None.

        Another cycle that begins while a run still cools ends that run: nothing of it is the run's any more,
        and what the run found counts at once, not an hour into what was begun by the old figures.

        Args:
            entry: The oven in the inventory; needed once a run is over.
            rule: That ended the cycle in this step.
            mono_s, wall_s: The clocks of the step [s].
        """
        going = self._going.get(after.oven)
        cycle = after.cycle if after.phase in RUNNING else None
        is_replaced = going is not None and cycle is not None and cycle.id != going.run.run
        if going is None:
            if cycle is None or not _is_run(cycle):
                return None
            going = self._going[after.oven] = _begun(cycle, after)
        newest = after.window.newest
        if newest is not None and newest is not before.window.newest and not is_replaced:
            self._add(going, after, mono_s)
        is_heat_over = going.run.heated_s is None and after.phase not in RUNNING
        if is_heat_over:
            going.run = _ended(going.run, after, rule, mono_s - going.begun_mono_s)
        is_over = is_replaced or _is_over(going, after, mono_s)
        if not (is_heat_over or is_over or mono_s - going.kept_mono_s >= _KEEP_EVERY_S):
            return None
        going.kept_mono_s = mono_s
        run = replace(going.run, trace=tuple(going.points))
        changes = OvenChanges(runs={(run.oven, run.run): run})
        if is_over:
            del self._going[after.oven]
            if is_replaced and cycle is not None and _is_run(cycle):
                self._going[after.oven] = _begun(cycle, after)
            fact = None if entry is None else measured(run, entry, wall_s)
            changes.facts += [] if fact is None else [fact]
        return changes

    def _add(self, going: _Going, after: Supervised, mono_s: float) -> None:
        newest = after.window.newest
        assert newest is not None
        at_s = mono_s - going.begun_mono_s
        if len(going.points) >= TRACE_MAX:
            return
        said = newest.state
        going.heater.append(said.heater)
        if said.power_w is not None:
            going.power_w.append(said.power_w)
        if going.points and at_s - going.points[-1].at_s < TRACE_APART_S - 0.5:
            return
        heater = sum(going.heater) / len(going.heater)
        power_w = sum(going.power_w) / len(going.power_w) if going.power_w else None
        going.heater.clear()
        going.power_w.clear()
        going.points.append(
            TracePoint(
                at_s=at_s,
                chamber_c=said.chamber_c,
                heater=heater,
                power_w=power_w,
                door_open=said.door_open,
            )
        )


def learned_from(run: OvenRun, found: Findings, entry: Oven) -> Learned:
    """What the rules may take from a run."""
    guessed = entry.spools_max or _SPOOLS_GUESSED
    room_c = run.room_c if run.room_c is not None else 20.0
    return learned(
        run.run,
        found,
        setpoint_c=run.setpoint_c,
        room_c=room_c,
        spools_max=0 if run.kind is RunKind.LOADED else guessed,
        oven=mark_of(entry),
    )


def measured(run: OvenRun, entry: Oven, at_s: float) -> OvenFact | None:
    """What a run without problems found, as a fact that counts at once where it is the worse; else None."""
    found = findings(run)
    if found.problems:
        return None
    value = to_text(learned_from(run, found, entry))
    return OvenFact(oven=run.oven, at_s=at_s, kind=FactKind.MEASURED, value=value, who=SYSTEM)


def _is_run(cycle: Cycle) -> bool:
    return any(item.key == COMMISSIONING for item in cycle.load)


def _begun(cycle: Cycle, state: Supervised) -> _Going:
    spools = sum(item.key != COMMISSIONING for item in cycle.load)
    run = OvenRun(
        oven=state.oven,
        run=cycle.id,
        at_s=cycle.started_wall_s,
        who=cycle.who,
        kind=RunKind.LOADED if spools else RunKind.EMPTY,
        setpoint_c=cycle.asked_setpoint_c,
        room_c=None if state.site is None else state.site.room_c,
        spools=spools,
    )
    return _Going(run=run, begun_mono_s=cycle.started_mono_s, kept_mono_s=cycle.started_mono_s)


def _ended(run: OvenRun, state: Supervised, rule: str | None, heated_s: float) -> OvenRun:
    ended = state.ended
    if ended is None or ended.cycle != run.run:
        return replace(run, heated_s=heated_s)
    return replace(run, heated_s=heated_s, ending=ended.ending, rule=rule, why=ended.why)


def _is_over(going: _Going, state: Supervised, mono_s: float) -> bool:
    """Once it is cold; how far it overshoots after a trip belongs to the run."""
    if going.run.heated_s is None:
        return False
    newest = state.window.newest
    hottest_c = None if newest is None else newest.hottest_c
    is_late = mono_s - going.begun_mono_s - going.run.heated_s > _AFTER_HEAT_S
    is_cold = hottest_c is not None and hottest_c < hard.COOL_C
    return state.phase in _OVER or is_late or (is_cold and state.phase is not OvenPhase.COOLING)
