"""`step`: one thing happens to an oven, and this says what it means and what is to be done."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from monitor.model.cycle import Cycle, Ending, RecordKind
from monitor.model.oven import OvenPhase
from monitor.oven import asked, dried, ending, hard, heard, permits
from monitor.oven.effects import Effect
from monitor.oven.events import (
    Event,
    ExtendAsked,
    FiguresSaid,
    FoundDry,
    Heard,
    ProofFailed,
    ProofTested,
    ResetAsked,
    Restarted,
    SiteSaid,
    StartAsked,
    StopAsked,
    Ticked,
)
from monitor.oven.load_limit import allowed
from monitor.oven.moves import Seen, can
from monitor.oven.parameters import is_only_looser
from monitor.oven.rules import judge
from monitor.oven.rules_course import REACHED_WITHIN_C, is_overshot
from monitor.oven.saved import forgotten
from monitor.oven.site import SITE_FRESH_S
from monitor.oven.state import Supervised
from monitor.oven.turn import Turn
from monitor.oven.verdict import HEATED, RUNNING, Level, Scene, Verdict

_CLOCK_STEP_S = 2.0  # R19
_SILENCE_SLACK_S = 2.0
_TAKE_WITHIN_S, _PROVE_WITHIN_S = 60.0, 120.0  # the controller's own check takes 35 s of it
_WARM_AGAIN_C = 5.0  # an idle oven counts as warm only so far above cool, or it would go to and fro
_LEAST_LOWERING_C = 1.0  # R13


def step(
    state: Supervised, event: Event, now_mono_s: float, wall_s: float
) -> tuple[Supervised, tuple[Effect, ...]]:
    """The next state, and what is to be done, in this order.

    Args:
        state: The state that the last call gave; after a start of the program the saved one.
        event: What happened; `Ticked` at least every `loop_s`, `Restarted` first after a start.
        now_mono_s: Monotonic clock of this run, never backwards [s].
        wall_s: Wall clock, for records, order expiry and dates only [Unix s]; it keeps no heat on.

    Returns:
        The new state, to be kept in the same transaction as the records among the effects, and the
        effects in the order in which to carry them out: off, records, answers, heat (B-17, H37).
    """
    turn = Turn(state, now_mono_s, wall_s)
    late_s, clock_step_s = _keep_time(turn)
    _HANDLERS[type(event)](turn, event)
    verdicts = _supervise(turn, late_s, clock_step_s)
    permits.renew(turn, verdicts)
    return turn.state, turn.effects()


def _restarted(turn: Turn, event: Restarted) -> None:
    """B-21, B-28: what this run cannot know any more is dropped; heat stays off."""
    ending.restart(turn)
    kept = forgotten(turn.state, event.parameters)
    # The stop that was just sent is of this run: its effect is still to be seen.
    stop_mono_s = turn.mono_s if turn.state.stop_since_mono_s is not None else None
    turn.state = replace(kept, stop_since_mono_s=stop_mono_s, stop_sent_mono_s=stop_mono_s)
    turn.change(stepped_mono_s=turn.mono_s, wall_ahead_s=turn.wall_s - turn.mono_s)


def _figures_said(turn: Turn, event: FiguresSaid) -> None:
    """B-52: stricter figures end what runs and count at once; looser ones wait until nothing runs."""
    before = turn.state.parameters
    if event.parameters == before:
        return
    if turn.state.phase in RUNNING:
        if is_only_looser(event.parameters, before):
            return
        why = "The oven's figures have changed: what was confirmed no longer holds."
        ending.end(turn, Seen.STOPPED, Ending.STOPPED_BY_RULE, why, "B-52")
    # Another oven to whoever is about to confirm a start (B-28).
    turn.change(parameters=event.parameters, version=turn.state.version + 1)


def _site_said(turn: Turn, event: SiteSaid) -> None:
    """Another load is another oven to whoever confirmed a start (B-28)."""
    before = turn.state.site
    turn.change(site=event.site, site_mono_s=turn.mono_s)
    if before is None or before.load != event.site.load:
        turn.change(version=turn.state.version + 1)
    if event.site.door_open:
        turn.change(is_arming_void=True)
        if turn.state.phase is OvenPhase.ARMED:
            turn.go(Seen.DISARMED)
    if turn.state.phase in RUNNING and event.site.load:
        _lower_ceiling(turn, event)


def _lower_ceiling(turn: Turn, event: SiteSaid) -> None:
    """What was put in counts at once; a set-point that it does not stand ends the cycle by rule B-14."""
    bound = allowed(event.site.load, turn.state.parameters)
    if bound.limit_c < turn.cycle.limit_c:
        turn.change_cycle(limit_c=bound.limit_c, ceiling_c=bound.ceiling_c, limited_by=bound.limited_by)


def _nothing(turn: Turn, event: Ticked) -> None:
    """Time has passed; that is looked at in any case."""


_HANDLERS: dict[type, Callable[[Turn, Any], None]] = {
    Heard: heard.hear,
    Ticked: _nothing,
    Restarted: _restarted,
    FiguresSaid: _figures_said,
    SiteSaid: _site_said,
    StartAsked: asked.start,
    StopAsked: asked.stop,
    ExtendAsked: asked.extend,
    ResetAsked: asked.reset,
    ProofTested: asked.proof,
    FoundDry: dried.found,
    ProofFailed: asked.proof_failed,
}


def _keep_time(turn: Turn) -> tuple[float, float]:
    """R19, B-25: how late this step is, and by how much the wall clock has jumped [s]."""
    state, ahead_s = turn.state, turn.wall_s - turn.mono_s
    before_s = state.stepped_mono_s
    late_s = max(turn.mono_s - before_s, 0.0) if before_s is not None else 0.0
    jump_s = ahead_s - state.wall_ahead_s if state.wall_ahead_s is not None else 0.0
    has_jumped = abs(jump_s) > _CLOCK_STEP_S
    if has_jumped:
        turn.record(RecordKind.CLOCK_STEP, f"wall clock moved by {jump_s:+.1f} s", "R19")
    # A slow slew below the threshold is followed, a jump is taken up at once.
    turn.change(stepped_mono_s=turn.mono_s, wall_ahead_s=ahead_s)
    return late_s, jump_s if has_jumped else 0.0


def _supervise(turn: Turn, late_s: float, clock_step_s: float) -> tuple[Verdict, ...]:
    """All rules, all deadlines, then the way on; returns what the rules say of the state as it then is."""
    verdicts = _judged(turn, late_s, clock_step_s)
    phase = turn.state.phase
    _obey(turn, verdicts)
    _deadlines(turn)
    _go_on(turn, verdicts)
    # A phase that was just entered has rules of its own, and no permit without them.
    return verdicts if turn.state.phase is phase else _judged(turn, late_s, clock_step_s)


def _judged(turn: Turn, late_s: float, clock_step_s: float) -> tuple[Verdict, ...]:
    return judge(_scene(turn, late_s, clock_step_s))


def _scene(turn: Turn, late_s: float = 0.0, clock_step_s: float = 0.0) -> Scene:
    state = turn.state
    return Scene(
        window=state.window,
        parameters=state.parameters,
        phase=state.phase,
        cycle=state.cycle,
        site=state.site,
        now_mono_s=turn.mono_s,
        late_s=late_s,
        clock_step_s=clock_step_s,
    )


def _obey(turn: Turn, verdicts: tuple[Verdict, ...]) -> None:
    """The worst verdict is done; lesser ones are told of."""
    trips = tuple(v for v in verdicts if v.level is Level.TRIP)
    if trips:
        ending.trip(turn, trips)
        return
    worst = verdicts[0] if verdicts else None
    if worst is not None and worst.level is Level.STOP and turn.state.phase in RUNNING:
        ending.end(turn, Seen.STOPPED, Ending.STOPPED_BY_RULE, worst.what, worst.rule)
        return
    if worst is not None and worst.level is Level.HOLD and turn.state.phase in HEATED:
        ending.hold(turn, worst)
        return
    _withhold(turn, verdicts)
    for verdict in verdicts:
        if verdict.level is Level.NOTICE:
            _notice(turn, verdict)
    _overshoot(turn)


def _withhold(turn: Turn, verdicts: tuple[Verdict, ...]) -> None:
    """R8: since when it has been too hot for a permit."""
    if turn.state.cycle is None or turn.state.phase not in RUNNING:
        return
    is_withheld = any(v.rule == "R8" for v in verdicts)
    since_s = turn.cycle.withheld_since_mono_s
    if is_withheld and since_s is None:
        # The permit that lives may run out now without being missed; the next one is proven anew.
        turn.change_cycle(
            withheld_since_mono_s=turn.mono_s,
            is_acknowledged=False,
            asked_from_seq=turn.state.permit_seq + 1,
        )
    elif not is_withheld and since_s is not None and turn.cycle.is_acknowledged:
        turn.change_cycle(withheld_since_mono_s=None)


def _notice(turn: Turn, verdict: Verdict) -> None:
    """Once in a phase; a clock step is in the book already."""
    if verdict.rule in turn.state.noticed or verdict.rule == "R19":
        return
    turn.change(noticed=(*turn.state.noticed, verdict.rule))
    turn.record(RecordKind.NOTICE, verdict.what, rule=verdict.rule)
    turn.notify(verdict.rule, verdict.what)


def _overshoot(turn: Turn) -> None:
    """R13: counted once each time, and answered by a lower set-point."""
    if turn.state.cycle is None or turn.state.phase not in HEATED:
        return
    cycle, newest = turn.cycle, turn.state.window.newest
    tally, height_c = cycle.tally, newest.hottest_c if newest else None
    if height_c is None:
        return
    if not tally.is_overshooting and is_overshot(_scene(turn)):
        excess_c = height_c - cycle.asked_setpoint_c - turn.state.parameters.overshoot_c
        lower_c = math.floor(10.0 * max(excess_c, _LEAST_LOWERING_C)) / 10.0
        turn.change_cycle(
            tally=replace(tally, overshoots=tally.overshoots + 1, is_overshooting=True),
            setpoint_c=cycle.setpoint_c - lower_c,
        )
    elif tally.is_overshooting and height_c <= cycle.asked_setpoint_c:
        turn.change_cycle(tally=replace(tally, is_overshooting=False))


def _deadlines(turn: Turn) -> None:
    """What ends by the clock alone."""
    if turn.state.first_out_due_mono_s is not None and turn.mono_s >= turn.state.first_out_due_mono_s:
        ending.keep_first_out(turn, is_complete=True)
        turn.change(first_out_due_mono_s=None)
    if turn.state.phase not in RUNNING:
        return
    cycle, newest = turn.cycle, turn.state.window.newest
    silent_s = turn.mono_s - newest.heard_mono_s if newest else 0.0
    in_phase_s = turn.mono_s - cycle.phase_since_mono_s
    if turn.mono_s >= cycle.ends_mono_s:
        ending.end(turn, Seen.TIME_UP, Ending.TIME_UP, "The confirmed time is over.")
    # An oven without a living permit speaks every ten seconds only, however short the lease.
    elif silent_s > max(turn.state.parameters.lease_s, hard.MAX_STATE_AGE_S) + _SILENCE_SLACK_S:
        why = "The oven has not been heard for longer than a lease: its heater is off and stays off."
        ending.end(turn, Seen.LINK_LOST, Ending.LINK_LOST, why, "B-22")
    elif turn.mono_s - turn.state.site_mono_s > SITE_FRESH_S:
        why = "What is in and around the oven has not been told for too long: no permit without it."
        ending.end(turn, Seen.STOPPED, Ending.STOPPED_BY_RULE, why, "B-10")
    elif turn.state.phase is OvenPhase.HOLD and in_phase_s > hard.MAX_HOLD_S:
        what = f"Held for more than five minutes ({cycle.hold_rule})."
        ending.trip(turn, (Verdict(rule="B-04", level=Level.TRIP, what=what),))
    elif turn.state.phase is OvenPhase.PREHEAT_CHECK and in_phase_s > _within_s(cycle):
        ending.end(turn, Seen.STOPPED, Ending.STOPPED_BY_RULE, _not_proven(turn), "B-18")


def _within_s(cycle: Cycle) -> float:
    """B-18: how long a start may stay unproven; shorter as long as its permit is not even taken [s]."""
    return _PROVE_WITHIN_S if cycle.is_acknowledged else _TAKE_WITHIN_S


def _not_proven(turn: Turn) -> str:
    newest = turn.state.window.newest
    refused = newest.state.refused if newest else None
    if turn.cycle.is_acknowledged:
        return "The oven took its permit, but its check before heat does not end, or its fan does not run."
    said = f" It says: {refused.why}" if refused else ""
    return f"The oven did not take its permit within a minute.{said}"


def _go_on(turn: Turn, verdicts: tuple[Verdict, ...]) -> None:
    """The moves that nothing asks for: reached, cleared, cool, found warm, emptied."""
    newest = turn.state.window.newest
    if newest is None or turn.mono_s - newest.heard_mono_s > hard.MAX_STATE_AGE_S:
        return
    phase, height_c = turn.state.phase, newest.hottest_c
    if phase is OvenPhase.HEATING and height_c is not None:
        if height_c >= turn.cycle.setpoint_c - REACHED_WITHIN_C:
            turn.change_cycle(phase_since_mono_s=turn.mono_s)
            turn.go(Seen.AT_SETPOINT)
    elif phase is OvenPhase.HOLD:
        _clear(turn, verdicts)
    elif phase is OvenPhase.COOLING:
        _cooling(turn, is_door_open=bool(newest.state.door_open))
    elif can(phase, Seen.WARM) and heard.is_cool(turn, _WARM_AGAIN_C) is False:
        turn.go(Seen.WARM)
    elif phase is OvenPhase.DONE and newest.state.door_open:
        turn.change(cycle=None)
        turn.go(Seen.EMPTIED)


def _clear(turn: Turn, verdicts: tuple[Verdict, ...]) -> None:
    """B-04: only when nothing holds any more, on a state heard after it began; then all is proven anew."""
    given, newest = turn.state.given, turn.state.window.newest
    if newest is None or newest.heard_mono_s <= turn.cycle.phase_since_mono_s:
        return
    if given is not None and newest.state.seq <= given.permit.state_seq:
        return
    if any(v.level >= Level.WITHHOLD for v in verdicts):
        return
    turn.change(given=None)  # the next permit, which heats again, is due at once
    turn.change_cycle(
        hold_rule=None,
        is_acknowledged=False,
        asked_from_seq=turn.state.permit_seq + 1,
        phase_since_mono_s=turn.mono_s,
    )
    turn.go(Seen.CLEARED)


def _cooling(turn: Turn, *, is_door_open: bool) -> None:
    ended = turn.state.ended
    if is_door_open and ended is not None and not ended.has_door_opened:
        turn.change(ended=replace(ended, has_door_opened=True))
    if heard.is_cool(turn) and turn.state.stop_since_mono_s is None:
        turn.go(Seen.COOL)
