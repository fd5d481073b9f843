"""One look at all alarms of a site: conditions in, changed states and what comes of them out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from monitor.alarms.events import (
    DesignLifted,
    DesignSuppressed,
    Effect,
    Event,
    Moment,
    Sampled,
    Ticked,
    Vanished,
)
from monitor.alarms.hiding import Cause, hiding_rule
from monitor.alarms.priority import priority_of
from monitor.alarms.sampling import is_at_rest
from monitor.alarms.state import AlarmState, Said, Shown, alarm_key, begin, is_safety
from monitor.alarms.step import step
from monitor.model.alarm_row import AlarmRow
from monitor.model.condition import Condition
from monitor.model.hiding_rule import HidingRule
from monitor.model.message import Priority

SENTENCE_MAX = 1_000  # characters; a column has to hold what is kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One event that changed an alarm or has effects."""

    before: AlarmState
    after: AlarmState
    event: Event
    effects: tuple[Effect, ...]


@dataclass(slots=True)
class Looks:
    """What only the run of the program knows of each alarm, by key: monotonic seconds."""

    known_s: dict[str, float] = field(default_factory=dict)  # newest look that told something
    caused_s: dict[str, float] = field(
        default_factory=dict
    )  # newest look at which its hiding cause was there


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """All that one look rests on."""

    rows: Mapping[str, AlarmRow]
    rules: Mapping[str, HidingRule]
    conditions: tuple[Condition, ...]
    modes: frozenset[Cause]  # such as ("drying", "oven-1")
    samples: Mapping[str, str]  # place -> name of its newest reading
    places: frozenset[str]  # that there are; what is nowhere any more ends
    mono_s: float
    moment: Moment


def look(
    states: Mapping[str, AlarmState], scene: Scene, looks: Looks
) -> tuple[dict[str, AlarmState], list[Change]]:
    """The states that are another now, by key, and every change on the way. `looks` is brought up to date."""
    out: dict[str, AlarmState] = {}
    changes: list[Change] = []
    causes = _causes(states, scene)
    seen = set()
    for condition in scene.conditions:
        row = scene.rows.get(condition.type)
        if row is None:
            continue  # the table's own test finds this; a missing row must not stop the others
        key = alarm_key(condition.type, condition.place)
        seen.add(key)
        known = states.get(key)
        if condition.holds is False and (known is None or is_idle(known)):
            looks.known_s[key] = scene.mono_s  # nearly all of them, at every look
            continue
        state = known or begin(condition.type, condition.place)
        after = _one(state, condition, row, scene, causes, looks, changes)
        if after is not state:
            out[key] = after
    for key, state in states.items():
        if key not in seen and (row := scene.rows.get(state.type)) is not None:
            after = _unseen(state, row, scene, changes)
            if after is not state:
                out[key] = after
    return out, changes


def is_idle(state: AlarmState) -> bool:
    """Whether a good sample and time passing change nothing."""
    return is_at_rest(state) and not (state.shelf or state.hiding or state.away)


def sampled_of(
    state: AlarmState, condition: Condition, row: AlarmRow, scene: Scene, covered_s: float
) -> Sampled:
    """A condition as a sample, its priority as of now (A-31).

    What would be no more than a notice is no alarm; what is one already stays one until it is over.
    """
    deadline_s = condition.deadline_s
    respond_s = row.respond_s if deadline_s is None else deadline_s - scene.moment.wall_s
    priority = priority_of(row.consequence, respond_s)
    holds = condition.holds
    if holds and priority is Priority.NOTICE and not state.active:
        holds = False
    said = Said(
        value=condition.value,
        limit=condition.limit,
        deadline_s=deadline_s,
        what=condition.what[:SENTENCE_MAX],
        why=condition.why[:SENTENCE_MAX],
        act=condition.act[:SENTENCE_MAX],
    )
    sample = scene.samples.get(condition.place, "")
    return Sampled(holds=holds, priority=priority, covered_s=covered_s, sample=sample, said=said)


def _causes(states: Mapping[str, AlarmState], scene: Scene) -> frozenset[Cause]:
    """A condition hides from when it holds, before its own delay; one that cannot be told as it was known."""
    told = {(c.type, c.place): c.holds for c in scene.conditions}
    holding = {cause for cause, holds in told.items() if holds}
    frozen = {
        (state.type, state.place)
        for state in states.values()
        if state.active and told.get((state.type, state.place)) is None
    }
    return frozenset(holding | frozen | scene.modes)


def _one(
    state: AlarmState,
    condition: Condition,
    row: AlarmRow,
    scene: Scene,
    causes: frozenset[Cause],
    looks: Looks,
    changes: list[Change],
) -> AlarmState:
    covered_s = _covered_s(state.key, condition, scene, looks)
    event = sampled_of(state, condition, row, scene, covered_s)
    if row.hidden_by and (event.holds or state.active or state.hiding is not None):
        state = _hidden(state, row, event, scene, causes, looks, changes)
    state = _stepped(state, event, row, scene.moment, changes)
    state = _lifted(state, row, scene, looks, changes)
    return _aged(state, row, scene, changes)


def _covered_s(key: str, condition: Condition, scene: Scene, looks: Looks) -> float:
    """Time since the look before, where both told something; a gap counts for nothing (A-16)."""
    if condition.holds is None:
        looks.known_s.pop(key, None)
        return 0.0
    before_s = looks.known_s.get(key)
    looks.known_s[key] = scene.mono_s
    return 0.0 if before_s is None else scene.mono_s - before_s


def _hidden(
    state: AlarmState,
    row: AlarmRow,
    event: Sampled,
    scene: Scene,
    causes: frozenset[Cause],
    looks: Looks,
    changes: list[Change],
) -> AlarmState:
    rule = hiding_rule(row, state.place, scene.rules, causes)
    if rule is None:
        return state
    looks.caused_s[state.key] = scene.mono_s
    if state.hiding is not None or is_safety(state, row) or event.priority is Priority.SAFETY:
        return state
    hides = DesignSuppressed(rule=rule.name, text=rule.text, lasts_s=rule.max_s)
    return _stepped(state, hides, row, scene.moment, changes)


def _lifted(
    state: AlarmState, row: AlarmRow, scene: Scene, looks: Looks, changes: list[Change]
) -> AlarmState:
    """The cause is gone: at once where nothing is hidden, else when what it did has had time to pass."""
    if state.hiding is None:
        return state
    gone_s = scene.mono_s - looks.caused_s.setdefault(state.key, scene.mono_s)
    is_idle = not state.active and state.pending_s is None
    rule = scene.rules.get(state.hiding.rule)  # None: the table of before knew it
    settles_s = 0.0 if rule is None else rule.settles_s
    if gone_s <= 0.0 or (gone_s < settles_s and not is_idle and not state.hiding.is_over):
        return state
    return _stepped(state, DesignLifted(), row, scene.moment, changes)


def _aged(state: AlarmState, row: AlarmRow, scene: Scene, changes: list[Change]) -> AlarmState:
    is_waiting = state.active and state.acked and row.realarm_s is not None
    if not (is_waiting or state.shelf or state.hiding or state.away):
        return state
    return _stepped(state, Ticked(), row, scene.moment, changes)


def _unseen(state: AlarmState, row: AlarmRow, scene: Scene, changes: list[Change]) -> AlarmState:
    """No rule speaks of it: unknown, or its place is gone from the inventory."""
    if state.place and state.place not in scene.places:
        if state.shown is Shown.NORM:
            return state
        gone = Vanished(why="its place is not in the inventory any more")
        return _stepped(state, gone, row, scene.moment, changes)
    if state.active or not state.acked:
        unknown = Sampled(holds=None, priority=state.priority)
        state = _stepped(state, unknown, row, scene.moment, changes)
    return _aged(state, row, scene, changes)


def _stepped(
    state: AlarmState, event: Event, row: AlarmRow, moment: Moment, changes: list[Change]
) -> AlarmState:
    after, effects = step(state, event, row, moment)
    if effects:
        changes.append(Change(before=state, after=after, event=event, effects=effects))
    return after


def held_back(states: Iterable[AlarmState]) -> int:
    """How many are active and in sight, and nobody was told of yet (A-23)."""
    return sum(1 for state in states if state.shown is Shown.UNACK and not state.told)
