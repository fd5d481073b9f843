"""What people ask of an oven: start, stop, extend, reset, proof test."""

from dataclasses import replace

from monitor.model.cycle import Cycle, Ending, Order, Origin, Problem, RecordKind, StartOrder, Tally
from monitor.model.oven import OvenPhase
from monitor.oven import ending
from monitor.oven.effects import Answer, PublishReset
from monitor.oven.events import ExtendAsked, ProofFailed, ProofTested, ResetAsked, StartAsked, StopAsked
from monitor.oven.later import why_not_extend, why_not_reset
from monitor.oven.load_limit import allowed
from monitor.oven.moves import Seen
from monitor.oven.orders import answered, remember
from monitor.oven.start import why_not
from monitor.oven.start_limits import is_armed
from monitor.oven.turn import Turn, is_own_stop
from monitor.oven.verdict import RUNNING

_WHO_CHARS = 64  # a controller refuses a longer text


def stop(turn: Turn, event: StopAsked) -> None:
    """B-17: always obeyed, whoever asks, whatever cycle it names, in every state."""
    if is_own_stop(turn.state, event.id):
        return  # the broker gives back what we sent
    turn.record(RecordKind.STOP_ASKED, f"{event.why} (cycle {event.cycle})", who=event.who)
    if turn.state.phase in RUNNING:
        why = f"Stopped by {event.who}: {event.why}"
        ending.end(turn, Seen.STOPPED, Ending.STOPPED, why)
    else:
        if event.id is None:
            turn.switch_off("*", event.why)
        turn.go(Seen.STOPPED)
    turn.change(is_arming_void=True)


def start(turn: Turn, event: StartAsked) -> None:
    """Granted or refused with the weightiest reason; the same order again changes nothing (C.1)."""
    order = event.order
    if _is_repeat(turn, order):
        return
    problems = why_not(turn.state, order, turn.mono_s, turn.wall_s)
    _answer(turn, order, problems[0] if problems else None)
    if problems:
        return
    turn.change(cycles=turn.state.cycles + 1, given=None, stop_since_mono_s=None)
    turn.change(cycle=_cycle(turn, order), is_arming_void=True)  # one arming, one start
    what = f"{order.setpoint_c:g} °C for {order.duration_s / 3600.0:.2f} h, limited by {order.limited_by}"
    if not turn.cycle.is_armed_locally:
        what += "; not locally armed"  # B-11
    if order.origin is Origin.SCHEDULE:
        what += "; begun as planned"  # B-13
    turn.record(RecordKind.CYCLE_STARTED, what, who=order.who)
    turn.go(Seen.STARTED)


def _cycle(turn: Turn, order: StartOrder) -> Cycle:
    state, newest = turn.state, turn.state.window.newest
    assert newest is not None  # checked: the controller is heard
    assert state.site is not None
    bound = allowed(state.site.load, state.parameters)
    height_c = newest.hottest_c if newest.hottest_c is not None else order.setpoint_c
    above_c = order.setpoint_c + min(state.parameters.overshoot_notice_c, state.parameters.guard_c)
    return Cycle(
        id=f"c{int(turn.wall_s):x}-{state.cycles}",
        order=order.id,
        who=order.who,
        is_unattended=order.unattended,
        # What is gone on with after a lost link was armed when it began (B-22).
        is_armed_locally=is_armed(state)
        or (order.resumes is not None and state.cycle is not None and state.cycle.is_armed_locally),
        load=state.site.load,
        setpoint_c=order.setpoint_c,
        asked_setpoint_c=order.setpoint_c,
        ceiling_c=bound.ceiling_c,
        limit_c=bound.limit_c,
        limited_by=bound.limited_by,
        boot=newest.state.boot,
        started_mono_s=turn.mono_s,
        started_wall_s=turn.wall_s,
        duration_s=order.duration_s,
        phase_since_mono_s=turn.mono_s,
        warm_from_c=height_c,
        warm_from_mono_s=turn.mono_s,
        learned_energy_wh=order.learned_energy_wh,
        asked_from_seq=state.permit_seq + 1,
        target_pct=order.target_pct,
        first_m=order.first_m,
        # Begun while still hot from before, it has not overshot (R13).
        tally=Tally(is_overshooting=height_c > above_c),
    )


def extend(turn: Turn, event: ExtendAsked) -> None:
    """B-15: longer by so much, within the same bounds as a start."""
    order = event.order
    if _is_repeat(turn, order):
        return
    problem = why_not_extend(turn.state, order, turn.wall_s)
    _answer(turn, order, problem)
    if problem is not None:
        return
    turn.change_cycle(duration_s=turn.cycle.duration_s + order.extra_s)
    turn.change(version=turn.state.version + 1)
    turn.record(RecordKind.CYCLE_EXTENDED, f"by {order.extra_s / 60.0:.0f} min", who=order.who)


def reset(turn: Turn, event: ResetAsked) -> None:
    """B-30, B-31: clears the latch and starts nothing; a controller's own trip must go there first."""
    order = event.order
    if _is_repeat(turn, order):
        return
    problem = why_not_reset(turn.state, order, turn.mono_s, turn.wall_s)
    _answer(turn, order, problem)
    latched, newest = turn.state.trip, turn.state.window.newest
    if problem is not None or latched is None or newest is None:
        return
    what = f"{order.text} (checked: {', '.join(order.checked)})"
    turn.record(RecordKind.RESET, what, latched.rule, order.who)
    said = newest.state
    if said.trip is None and said.state is not OvenPhase.TRIPPED:
        ending.unlatch(turn)
        return
    turn.change(trip=replace(latched, reset_by=order.who), version=turn.state.version + 1)
    if said.trip is not None:
        who = order.who[:_WHO_CHARS]
        turn.put(PublishReset(oven=turn.state.oven, trip=said.trip.id, boot=said.boot, who=who))


def proof(turn: Turn, event: ProofTested) -> None:
    """B-30, B-50: puts an oven back into service; a latched trip stays until it is reset."""
    turn.change(
        is_out_of_service=False,
        safety_trips=(),
        is_proof_tested_since_trip=True,
        version=turn.state.version + 1,
    )
    turn.record(RecordKind.PROOF_TESTED, "passed", who=event.who)


def proof_failed(turn: Turn, event: ProofFailed) -> None:
    """B-50: what failed a proof test heats nothing until the whole test is passed."""
    if turn.state.phase in RUNNING:
        ending.end(turn, Seen.STOPPED, Ending.STOPPED, f"Its proof test failed: {event.what}")
    turn.change(is_out_of_service=True, version=turn.state.version + 1)
    turn.record(RecordKind.PROOF_FAILED, event.what, who=event.who)


def _is_repeat(turn: Turn, order: Order) -> bool:
    known = answered(turn.state, order)
    if known is not None:
        turn.put(Answer(order=order.id, problem=known.problem, is_repeat=True))
    return known is not None


def _answer(turn: Turn, order: Order, problem: Problem | None) -> None:
    turn.change(answered=remember(turn.state, order, problem))
    turn.put(Answer(order=order.id, problem=problem))
    if problem is not None:
        what = f"{problem.title}: {problem.detail}"
        turn.record(RecordKind.ORDER_REFUSED, what, problem.rule, order.who)
