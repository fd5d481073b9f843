"""An alarm as pages, commands and the broker see it."""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass

from monitor.alarms.saved import from_text
from monitor.alarms.state import AlarmState, Shown
from monitor.errors import StoreError
from monitor.model.alarm_row import AlarmRow
from monitor.model.answers import AlarmAnswer
from monitor.model.message import Priority
from monitor.service.air import rfc3339


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmLook:
    """One alarm with all that its page shows beside the published object. Points in time in Unix seconds."""

    alarm: AlarmAnswer
    beneath: str  # state without what suppresses it
    suppression: str
    frozen_since_s: float | None
    acked_by: str
    needs_reset: bool
    value: float | None
    limit: float | None
    hidden_text: str  # why a rule hides it; empty = none does
    shelved_until_s: float | None
    shelved_one_shot: bool
    set_aside_by: str  # who shelved it or took it out of service
    set_aside_why: str
    shelve_max_s: float  # 0 = cannot be put aside


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """What is so, but not for long enough to be an alarm yet."""

    key: str
    what: str
    left_s: float  # told in so long if it stays so, and its readings come


def waiting_of(states: Iterable[AlarmState], rows: Mapping[str, AlarmRow]) -> tuple[Waiting, ...]:
    """The first to be told first. What something hides waits for that."""
    found = (
        Waiting(
            key=state.key,
            what=state.said.what or rows[state.type].name,
            left_s=max(rows[state.type].on_delay_s - state.pending_s, 0.0),
        )
        for state in states
        if state.pending_s is not None and state.shown is Shown.NORM and state.type in rows
    )
    return tuple(sorted(found, key=lambda item: (item.left_s, item.key)))


def answer_of(state: AlarmState, row: AlarmRow) -> AlarmAnswer:
    """The object of the contract."""
    said = state.said
    since_s = state.since_s if state.since_s is not None else _aside_since_s(state)
    return AlarmAnswer(
        key=state.key,
        type=state.type,
        place=state.place,
        klass=str(row.alarm_class),
        state=str(state.shown),
        condition=state.condition,
        priority=str(state.priority),
        since=rfc3339(since_s),
        deadline=None if said.deadline_s is None else rfc3339(said.deadline_s),
        what=said.what or row.name,
        why=said.why or row.why,
        act=said.act or row.act,
        activation=state.activation,
    )


def look_of(state: AlarmState, row: AlarmRow, shelve_max_s: float) -> AlarmLook:
    shelf, away, hiding = state.shelf, state.away, state.hiding
    aside = away if away is not None else shelf
    return AlarmLook(
        alarm=answer_of(state, row),
        beneath=str(state.beneath),
        suppression=str(state.suppression),
        frozen_since_s=state.frozen_since_s,
        acked_by=state.acked_by,
        needs_reset=state.beneath is Shown.LATCHD,
        value=state.said.value,
        limit=state.said.limit,
        hidden_text=hiding.text if hiding is not None and not hiding.is_over else "",
        shelved_until_s=None if shelf is None else shelf.since_s + shelf.lasts_s,
        shelved_one_shot=shelf is not None and shelf.one_shot,
        set_aside_by="" if aside is None else aside.who,
        set_aside_why="" if aside is None else aside.why,
        shelve_max_s=shelve_max_s,
    )


def committed(texts: Iterable[str], rows: Mapping[str, AlarmRow]) -> tuple[AlarmAnswer, ...]:
    """The same of what the store keeps; what cannot be read is left out, the desk's log names it."""
    states: dict[str, AlarmState] = {}
    for text in texts if rows else ():
        with suppress(StoreError):
            state = from_text(text)
            states[state.key] = state
    return answers_of(states, rows)


def answers_of(states: Mapping[str, AlarmState], rows: Mapping[str, AlarmRow]) -> tuple[AlarmAnswer, ...]:
    """All that are not normal, the most urgent first."""
    shown = [s for s in states.values() if s.shown is not Shown.NORM and s.type in rows]
    ranked = sorted(shown, key=lambda state: (_URGENCY[state.priority], _RANK[state.shown], state.key))
    return tuple(answer_of(state, rows[state.type]) for state in ranked)


_RANK = {
    shown: rank
    for rank, shown in enumerate(
        (
            Shown.UNACK,
            Shown.LATCHD,
            Shown.ACKED,
            Shown.RTNUN,
            Shown.DSUPR,
            Shown.SHLVD,
            Shown.OOSRV,
            Shown.NORM,
        )
    )
}
_URGENCY = {priority: rank for rank, priority in enumerate(reversed(Priority))}


def _aside_since_s(state: AlarmState) -> float:
    """Of what never was active: since when it is set aside or hidden."""
    aside = state.away or state.shelf or state.hiding
    return 0.0 if aside is None else aside.since_s
