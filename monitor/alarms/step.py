"""The one way in which an alarm changes: (state, event, its row, when) to (state, what comes of it)."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from monitor.alarms import events as happens
from monitor.alarms.events import Effect, Event, Moment, Noted, Tell
from monitor.alarms.moves import MOVES, REFUSED_OF_SAFETY, Seen
from monitor.alarms.priority import max_priority
from monitor.alarms.sampling import is_at_rest, sampled
from monitor.alarms.state import AlarmState, Away, Hiding, Shelf, Shown, Suppression, activation_id, is_safety
from monitor.errors import RefusedError
from monitor.model.alarm_row import AlarmRow
from monitor.model.audit import SYSTEM
from monitor.model.message import MessageKind, Priority

# how long an alarm may be put aside, by its priority.
SHELVE_MAX_S = {
    Priority.NOTICE: 7 * 86_400.0,
    Priority.LOW: 7 * 86_400.0,
    Priority.MEDIUM: 86_400.0,
    Priority.HIGH: 7_200.0,
    Priority.SAFETY: 0.0,
}
REMIND_S = 86_400.0
REASON_MAX = 200


@dataclass(slots=True)
class _Turn:
    """One step while it is worked out."""

    state: AlarmState
    row: AlarmRow
    moment: Moment
    effects: list[Effect]

    def note(self, what: str, who: str = SYSTEM, why: str = "", waited_s: float | None = None) -> None:
        self.effects.append(Noted(what=what, who=who, why=why, waited_s=waited_s))

    def tell(self, kind: MessageKind) -> None:
        state = self.state
        self.effects.append(Tell(kind=kind, occurrence=state.activation, priority=state.priority))


def step(
    state: AlarmState, event: Event, row: AlarmRow, moment: Moment
) -> tuple[AlarmState, tuple[Effect, ...]]:
    """One event. RefusedError, in one sentence and with nothing changed, where the table of moves says so."""
    if isinstance(event, happens.Sampled) and event.holds is False and is_at_rest(state):
        return state, ()
    turn = _Turn(state, row, moment, [])
    _ACTS[type(event)](turn, event)
    _tell_what_is_owed(turn)
    return turn.state, tuple(turn.effects)


def shelve_max_s(state: AlarmState, row: AlarmRow) -> float:
    """How long it may be put aside at most [s]; 0 = not at all."""
    return 0.0 if is_safety(state, row) else min(row.shelve_max_s, SHELVE_MAX_S[state.priority])


def _refuse(turn: _Turn, seen: Seen, why: str) -> None:
    """Where the table has nothing for this state."""
    if not MOVES[turn.state.shown][seen]:
        raise RefusedError(why)


def _refuse_of_safety(turn: _Turn, seen: Seen) -> None:
    if seen in REFUSED_OF_SAFETY and is_safety(turn.state, turn.row):
        raise RefusedError(f"{turn.row.name} is a matter of safety: it cannot be hidden")


def _sampled(turn: _Turn, event: happens.Sampled) -> None:
    state = turn.state
    if event.holds is None:
        if state.frozen_since_s is None:
            turn.state = replace(state, frozen_since_s=turn.moment.wall_s)
            if state.active or not state.acked:  # of what is normal nobody asks since when it is not known
                turn.note("frozen")
        return
    if state.frozen_since_s is not None:
        turn.state = state = replace(state, frozen_since_s=None)
        if state.active or not state.acked:
            turn.note("known again")
    state, turns_over = sampled(state, event, turn.row)
    priority = max_priority(Priority.LOW, event.priority)  # at least low, or it were a notice
    if event.holds and (event.said != state.said or priority is not state.priority):
        state = replace(state, said=event.said, priority=priority)
    turn.state = state
    if turns_over and not state.active:
        _activate(turn)
    elif turns_over:
        _clear(turn)
    if (
        turn.state.active
        and turn.state.suppression is not Suppression.NONE
        and is_safety(turn.state, turn.row)
    ):
        # A matter of safety is never hidden, even where what hides it came first.
        turn.state = replace(turn.state, shelf=None, hiding=None, away=None)
        turn.note("shown again")
    state = turn.state
    if state.active and event.holds and not state.told_priority.covers(state.priority) and state.told:
        _again(turn, "worse")


def _activate(turn: _Turn) -> None:
    wall_s, waited_s = turn.moment.wall_s, turn.state.pending_s
    count = turn.state.count + 1
    turn.state = replace(
        turn.state,
        active=True,
        acked=False,
        latched=turn.row.latches,
        count=count,
        activation=activation_id(turn.state.key, count, wall_s),
        since_s=wall_s,
        told=False,
        told_priority=Priority.NOTICE,
        acked_by="",
        acked_for_s=0.0,
        pending_s=None,
        window=(),
    )
    turn.note("activated", waited_s=waited_s)


def _clear(turn: _Turn) -> None:
    state = turn.state
    acked = state.acked or not state.told  # what nobody was told of nobody has to have seen
    turn.state = replace(state, active=False, acked=acked, pending_s=None, window=(), acked_for_s=0.0)
    turn.note("cleared")
    if state.told:
        turn.tell(MessageKind.CLEARS)
    shelf = state.shelf
    if shelf is not None and shelf.one_shot:
        turn.state = replace(turn.state, shelf=None)
        turn.note("shelf over")


def _again(turn: _Turn, what: str) -> None:
    """Back to unacknowledged (A-10), as a new activation: who acknowledges must have seen this one (A-04)."""
    count = turn.state.count + 1
    turn.state = replace(
        turn.state,
        acked=False,
        acked_by="",
        acked_for_s=0.0,
        count=count,
        activation=activation_id(turn.state.key, count, turn.moment.wall_s),
        told=False,
    )
    turn.note(what)


def _tell_what_is_owed(turn: _Turn) -> None:
    """The end of each step: what is active, unseen and not hidden, and was not told yet, is told."""
    state, moment = turn.state, turn.moment
    if state.told or state.shown is not Shown.UNACK:
        return
    if moment.is_quiet and not is_safety(state, turn.row):
        return
    kind = MessageKind.ACTIVE if state.told_priority is Priority.NOTICE else MessageKind.WORSE
    turn.state = replace(state, told=True, told_priority=max_priority(state.priority, state.told_priority))
    turn.tell(kind)


def _acknowledged(turn: _Turn, event: happens.Acknowledged) -> None:
    state = turn.state
    if not state.activation or event.activation != state.activation:
        raise RefusedError(f"{turn.row.name} is not what was seen any more: look at it again")
    if state.acked:
        return
    turn.state = replace(state, acked=True, acked_by=event.who, acked_for_s=0.0)
    turn.note("acknowledged", event.who)
    if state.told:
        turn.tell(MessageKind.SEEN)


def _shelved(turn: _Turn, event: happens.Shelved) -> None:
    _refuse_of_safety(turn, Seen.SHELVE)
    _refuse(turn, Seen.SHELVE, f"{turn.row.name} is put aside already: bring it back first")
    why, most_s = _reason(event.why), shelve_max_s(turn.state, turn.row)
    if most_s <= 0.0:
        raise RefusedError(f"{turn.row.name} cannot be put aside")
    if not 60.0 <= event.lasts_s <= most_s:
        raise RefusedError(f"lasts must be 1 minute to {_hours(most_s)} for {turn.row.name}")
    shelf = Shelf(
        since_s=turn.moment.wall_s, lasts_s=event.lasts_s, one_shot=event.one_shot, who=event.who, why=why
    )
    turn.state = replace(turn.state, shelf=shelf)
    turn.note("shelved", event.who, why)


def _unshelved(turn: _Turn, event: happens.Unshelved) -> None:
    if turn.state.shelf is None:
        raise RefusedError(f"{turn.row.name} is not put aside")
    turn.state = replace(turn.state, shelf=None)
    turn.note("unshelved", event.who)
    _back_in_sight(turn)


def _silenced(turn: _Turn, _: happens.Silenced) -> None:
    """Nothing of the alarm itself changes."""


def _out(turn: _Turn, event: happens.OutOfService) -> None:
    _refuse_of_safety(turn, Seen.OUT)
    _refuse(turn, Seen.OUT, f"{turn.row.name} is out of service already")
    why = _reason(event.why)
    away = Away(since_s=turn.moment.wall_s, who=event.who, why=why)
    turn.state = replace(turn.state, away=away)
    turn.note("out of service", event.who, why)


def _returned(turn: _Turn, event: happens.Returned) -> None:
    _refuse(turn, Seen.RETURN, f"{turn.row.name} is not out of service")
    turn.state = replace(turn.state, away=None)
    turn.note("returned", event.who)
    _back_in_sight(turn)


def _reset(turn: _Turn, event: happens.ResetAsked) -> None:
    state = turn.state
    if state.latched and (state.active or state.frozen_since_s is not None):
        raise RefusedError(f"{turn.row.name} still holds or cannot be told: it cannot be reset")
    if state.latched and not state.acked:
        raise RefusedError(f"acknowledge {turn.row.name} before you reset it")
    _refuse(turn, Seen.RESET, f"{turn.row.name} has nothing to reset")
    turn.state = replace(state, latched=False)
    turn.note("reset", event.who)


def _ticked(turn: _Turn, _: happens.Ticked) -> None:
    _pass_time(turn)
    _end_shelf(turn)
    _end_hiding(turn)
    _remind(turn)
    state, row = turn.state, turn.row
    is_due = row.realarm_s is not None and state.acked_for_s >= row.realarm_s
    if is_due and state.shown is Shown.ACKED:
        _again(turn, "told again")


def _pass_time(turn: _Turn) -> None:
    state, elapsed_s = turn.state, max(turn.moment.elapsed_s, 0.0)
    if state.shelf is not None:
        state = replace(state, shelf=replace(state.shelf, elapsed_s=state.shelf.elapsed_s + elapsed_s))
    if state.hiding is not None:
        state = replace(state, hiding=replace(state.hiding, elapsed_s=state.hiding.elapsed_s + elapsed_s))
    if state.active and state.acked and turn.row.realarm_s is not None:
        state = replace(state, acked_for_s=state.acked_for_s + elapsed_s)
    turn.state = state


def _end_shelf(turn: _Turn) -> None:
    shelf = turn.state.shelf
    if shelf is not None and shelf.is_over(turn.moment.wall_s):
        turn.state = replace(turn.state, shelf=None)
        turn.note("shelf over")
        _back_in_sight(turn)


def _end_hiding(turn: _Turn) -> None:
    hiding = turn.state.hiding
    if hiding is not None and not hiding.is_over and hiding.is_due(turn.moment.wall_s):
        turn.state = replace(turn.state, hiding=replace(hiding, is_over=True))
        turn.note("hidden too long", why=hiding.rule)
        _back_in_sight(turn)


def _back_in_sight(turn: _Turn) -> None:
    """What was told once and is worse now, or was never seen, is told again (A-06)."""
    state = turn.state
    if not state.active or not state.told or state.shown not in (Shown.UNACK, Shown.ACKED):
        return
    if not state.acked or not state.told_priority.covers(state.priority):
        _again(turn, "told again" if not state.acked else "worse")


def _remind(turn: _Turn) -> None:
    away = turn.state.away
    if away is None:
        return
    days = int((turn.moment.wall_s - away.since_s) // REMIND_S)
    if days > away.reminded:
        turn.state = replace(turn.state, away=replace(away, reminded=days))
        occurrence = f"out-{round(away.since_s):x}-{days}"
        turn.effects.append(Tell(kind=MessageKind.NOTICE, occurrence=occurrence, priority=Priority.NOTICE))


def _hide(turn: _Turn, event: happens.DesignSuppressed) -> None:
    _refuse_of_safety(turn, Seen.HIDE)
    if turn.state.hiding is not None:
        return
    hiding = Hiding(rule=event.rule, text=event.text, since_s=turn.moment.wall_s, lasts_s=event.lasts_s)
    turn.state = replace(turn.state, hiding=hiding)
    turn.note("hidden", why=event.rule)


def _lift(turn: _Turn, _: happens.DesignLifted) -> None:
    hiding = turn.state.hiding
    if hiding is None:
        return
    turn.state = replace(turn.state, hiding=None)
    if not hiding.is_over:
        turn.note("shown again", why=hiding.rule)
        _back_in_sight(turn)


def _restarted(turn: _Turn, _: happens.Restarted) -> None:
    """As it was kept; what was told stays told, what was owed is told now."""


def _vanished(turn: _Turn, event: happens.Vanished) -> None:
    """The box, sensor or oven is no more: whoever was told of it is told that it is over."""
    state = turn.state
    if state.shown is Shown.NORM:
        return
    turn.state = replace(
        state,
        active=False,
        acked=True,
        latched=False,
        frozen_since_s=None,
        shelf=None,
        hiding=None,
        away=None,
        pending_s=None,
        window=(),
    )
    turn.note("vanished", why=event.why)
    if state.told and (state.active or not state.acked):
        turn.tell(MessageKind.CLEARS if state.active else MessageKind.SEEN)


def _reason(text: str) -> str:
    why = " ".join(text.split())
    if not 1 <= len(why) <= REASON_MAX:
        raise RefusedError(f"why must be 1 to {REASON_MAX} characters")
    return why


def _hours(seconds: float) -> str:
    return f"{seconds / 86_400:g} days" if seconds > 86_400.0 else f"{seconds / 3600:g} hours"


_ACTS: dict[type, Callable[..., None]] = {
    happens.Sampled: _sampled,
    happens.Acknowledged: _acknowledged,
    happens.Shelved: _shelved,
    happens.Unshelved: _unshelved,
    happens.Silenced: _silenced,
    happens.OutOfService: _out,
    happens.Returned: _returned,
    happens.ResetAsked: _reset,
    happens.Ticked: _ticked,
    happens.DesignSuppressed: _hide,
    happens.DesignLifted: _lift,
    happens.Restarted: _restarted,
    happens.Vanished: _vanished,
}
