"""What people are told of alarms, as messages."""

from collections.abc import Mapping
from dataclasses import replace

from monitor.alarms.events import Tell
from monitor.alarms.state import AlarmState
from monitor.alarms.storms import Storm
from monitor.model.alarm_row import AlarmRow
from monitor.model.message import STORM, Message, MessageKind


def message_of(state: AlarmState, row: AlarmRow, tell: Tell, at_s: float) -> Message:
    """One alarm: what is so, why it matters, what to do, by when (A-30)."""
    said = state.said
    what, why, act = said.what or f"{row.name}.", said.why or row.why, said.act or row.act
    if tell.kind is MessageKind.CLEARS:
        what, why, act = f"It is over: {what}", "", ""
    elif tell.kind is MessageKind.NOTICE:
        away = state.away
        since = "" if away is None else f" {away.who} took it out of service: {away.why}"
        what = f"{row.name} is still out of service and tells nobody anything.{since}"
        why, act = "What it watches is not watched.", "Return it to service when the work is done."
    return Message(
        kind=tell.kind,
        subject=state.key,
        occurrence=tell.occurrence,
        type=state.type,
        place=state.place,
        priority=tell.priority,
        at_s=at_s,
        what=what,
        why=why,
        act=act,
        deadline_s=said.deadline_s if tell.kind in (MessageKind.ACTIVE, MessageKind.WORSE) else None,
    )


def storm_message(
    storm: Storm, states: Mapping[str, AlarmState], rows: Mapping[str, AlarmRow], cause: str, at_s: float
) -> Message:
    """Many alarms as one: how many, where to look, which came first (A-22, A-25)."""
    first = states.get(storm.first)
    named = "" if first is None else first.said.what or f"{rows[first.type].name}."
    others = len(storm.members) - 1
    deadlines = [state.said.deadline_s for key in storm.members if (state := states.get(key)) is not None]
    what = f"{len(storm.members)} alarms at once. First: {named} And {others} more."
    return replace(
        _of_storm(
            storm, storm.told, MessageKind.ACTIVE if storm.told == 1 else MessageKind.WORSE, what, at_s
        ),
        why="So many at once have one cause more likely than many.",
        act=cause,
        deadline_s=min((d for d in deadlines if d is not None), default=None),
    )


def storm_seen(storm: Storm, at_s: float) -> tuple[Message, ...]:
    """Nothing more is sent of it, however often it was told: all its alarms were acknowledged or are over."""
    return tuple(
        _of_storm(storm, number, MessageKind.SEEN, "All alarms of it were seen or are over.", at_s)
        for number in range(1, storm.told + 1)
    )


def _of_storm(storm: Storm, number: int, kind: MessageKind, what: str, at_s: float) -> Message:
    """Each time that a storm is told is an occurrence of its own, or it would be told once only."""
    return Message(
        kind=kind,
        subject=STORM,
        occurrence=f"{storm.id}-{number}",
        type=STORM,
        place="",
        priority=storm.priority,
        at_s=at_s,
        what=what,
        covers=storm.members,
    )
