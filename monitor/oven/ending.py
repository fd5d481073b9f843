"""How heat ends: the end of a cycle, a hold, a trip with its first-out record.

An end and a trip publish a stop, after which the controller never heats that cycle again (B-17). A hold goes
on later, so it takes the heat away by a permit of no heat instead, and by the lease behind it.
"""

from dataclasses import replace

from monitor.model.cycle import EndedCycle, Ending, Fired, FirstOut, LatchedTrip, RecordKind, TraceSample
from monitor.model.oven import OvenPhase, Trip
from monitor.oven import hard
from monitor.oven.effects import KeepFirstOut
from monitor.oven.moves import Seen
from monitor.oven.turn import Turn
from monitor.oven.verdict import RUNNING, Level, Verdict


def end(turn: Turn, seen: Seen, ending: Ending, why: str, rule: str | None = None) -> None:
    """The running cycle ends; nothing but a new confirmed start heats again (B-21)."""
    cycle = turn.cycle
    if ending is Ending.LINK_LOST:
        # B-22: the lease has ended the heat, and a stop would end it for good: it may be gone on with. Where
        # it has not, the first state that is heard again says so, and is answered by a stop.
        turn.let_lapse(why)
    else:
        turn.switch_off(cycle.id, why)
    _close(turn, ending, why, rule)
    turn.go(seen)
    if ending not in (Ending.TIME_UP, Ending.DRY):
        turn.notify(rule or "B-17", why)


def _close(turn: Turn, ending: Ending, why: str, rule: str | None) -> None:
    cycle = turn.cycle
    ran_s = min(max(turn.mono_s - cycle.started_mono_s, 0.0), cycle.duration_s)
    turn.change(
        ended=EndedCycle(
            cycle=cycle.id,
            ending=ending,
            why=why,
            ran_s=ran_s,
            duration_s=cycle.duration_s,
            setpoint_c=cycle.setpoint_c,
            load=tuple(item.key for item in cycle.load),
            ended_wall_s=turn.wall_s,
            ended_mono_s=turn.mono_s,
        )
    )
    turn.record(RecordKind.CYCLE_ENDED, f"{ending} after {ran_s / 60.0:.0f} min: {why}", rule=rule)


def hold(turn: Turn, verdict: Verdict) -> None:
    """Heat off at once, yet not for good; too many holds in one cycle are a trip (B-04)."""
    holds = turn.cycle.holds + 1
    if holds > hard.MAX_HOLDS:
        what = f"Held more than {hard.MAX_HOLDS} times in one cycle, now: {verdict.what}"
        trip(turn, (Verdict(rule="B-04", level=Level.TRIP, what=what),))
        return
    turn.let_lapse(verdict.what)
    turn.change_cycle(holds=holds, hold_rule=verdict.rule, phase_since_mono_s=turn.mono_s)
    turn.record(RecordKind.HELD, verdict.what, rule=verdict.rule)
    turn.go(Seen.HELD)
    turn.notify(verdict.rule, verdict.what)


def trip(turn: Turn, verdicts: tuple[Verdict, ...], controller: Trip | None = None) -> None:
    """Heat off by every means, latched, with the first rule that fired as its cause (B-03, A-25)."""
    if turn.state.trip is not None:
        _add_to_trip(turn, verdicts, controller)
        return
    first = verdicts[0]
    turn.switch_off("*", first.what)
    if turn.state.phase in RUNNING:
        _close(turn, Ending.TRIPPED, first.what, first.rule)
    turn.change(
        trip=_latched(turn, verdicts, controller),
        trips=turn.state.trips + 1,
        first_out_due_mono_s=turn.mono_s + hard.FIRST_OUT_S,
        is_proof_tested_since_trip=False,
        is_arming_void=True,  # whoever armed it has not seen this yet (B-30)
    )
    turn.record(RecordKind.TRIPPED, first.what, rule=first.rule)
    turn.go(Seen.TRIPPED)
    if turn.state.trip is not None and turn.state.trip.is_safety:
        _count(turn)
    keep_first_out(turn, is_complete=False)
    turn.notify(first.rule, first.what, is_safety=True)


def _latched(turn: Turn, verdicts: tuple[Verdict, ...], controller: Trip | None) -> LatchedTrip:
    is_safety = any(v.rule in hard.LOCAL_RESET for v in verdicts)
    return LatchedTrip(
        id=f"t{int(turn.wall_s):x}-{turn.state.trips + 1}",
        rule=verdicts[0].rule,
        what=verdicts[0].what,
        is_safety=is_safety or (controller is not None and not controller.remote_reset),
        at_wall_s=turn.wall_s,
        at_mono_s=turn.mono_s,
        fired=tuple(Fired(rule=v.rule, what=v.what, after_ms=0) for v in verdicts),
        controller_trip=controller.id if controller else None,
        boot=_boot(turn) if controller else None,
    )


def _add_to_trip(turn: Turn, verdicts: tuple[Verdict, ...], controller: Trip | None) -> None:
    """What fires after the first is kept with it; it may make a trip graver, never lighter."""
    latched = turn.state.trip
    assert latched is not None
    known = {fired.rule for fired in latched.fired}
    new = [v for v in verdicts if v.rule not in known]
    is_new_controller = controller is not None and controller.id != latched.controller_trip
    if not new and not is_new_controller:
        return
    after_ms = round(1000.0 * (turn.mono_s - (latched.at_mono_s or turn.mono_s)))
    graver = any(v.rule in hard.LOCAL_RESET for v in new)
    graver = graver or (controller is not None and not controller.remote_reset)
    turn.change(
        trip=replace(
            latched,
            fired=(*latched.fired, *(Fired(rule=v.rule, what=v.what, after_ms=after_ms) for v in new)),
            is_safety=latched.is_safety or graver,
            controller_trip=controller.id if controller else latched.controller_trip,
            boot=_boot(turn) if controller else latched.boot,
            reset_by=None,  # granted on what was known then
        ),
        version=turn.state.version + 1,
    )
    for verdict in new:
        turn.record(RecordKind.TRIPPED, verdict.what, rule=verdict.rule)
    if graver and not latched.is_safety:
        _count(turn)
    if turn.state.stop_sent_mono_s is None or turn.mono_s - turn.state.stop_sent_mono_s > 1.0:
        turn.switch_off("*", latched.what)


def _count(turn: Turn) -> None:
    """B-30: the third safety trip within 30 days takes the oven out of service."""
    recent = [t for t in turn.state.safety_trips if abs(turn.wall_s - t) <= hard.SAFETY_TRIPS_WITHIN_S]
    trips = (*recent, turn.wall_s)[-16:]
    is_out = turn.state.is_out_of_service or len(trips) >= hard.SAFETY_TRIPS
    turn.change(safety_trips=trips, is_out_of_service=is_out)


def _boot(turn: Turn) -> str | None:
    newest = turn.state.window.newest
    return newest.state.boot if newest else None


def keep_first_out(turn: Turn, *, is_complete: bool) -> None:
    """The trace around the trip, from what the window holds (A-25)."""
    latched = turn.state.trip
    if latched is None or latched.at_mono_s is None:
        return
    tripped_s = latched.at_mono_s
    trace = tuple(
        TraceSample(
            after_ms=round(1000.0 * (sample.heard_mono_s - tripped_s)),
            chamber_c=sample.state.chamber_c,
            heater=sample.state.heater,
            power_w=sample.state.power_w,
            fan=sample.state.fan,
        )
        for sample in turn.state.window.samples
        if abs(sample.heard_mono_s - tripped_s) <= hard.FIRST_OUT_S
    )
    first_out = FirstOut(
        oven=turn.state.oven,
        trip=latched.id,
        at_wall_s=latched.at_wall_s,
        fired=latched.fired,
        trace=trace,
        is_complete=is_complete,
    )
    turn.put(KeepFirstOut(first_out=first_out))


def unlatch(turn: Turn) -> None:
    """B-31: the latch is gone, and nothing else has changed. What the trace has by now is kept."""
    if turn.state.first_out_due_mono_s is not None:
        keep_first_out(turn, is_complete=False)
    turn.change(trip=None, first_out_due_mono_s=None, cycle=None)
    turn.go(Seen.RESET)


def restart(turn: Turn) -> None:
    """B-21: whatever ran is interrupted, and its heat is switched off once more to be sure."""
    state = turn.state
    if state.phase in RUNNING:
        cycle = turn.cycle
        ran_s = min(max(turn.wall_s - cycle.started_wall_s, 0.0), cycle.duration_s)  # at most, by the wall
        why = (
            f"The program restarted: interrupted at {ran_s / 60.0:.0f} of {cycle.duration_s / 60.0:.0f} min."
        )
        turn.switch_off("*", why)
        _close(turn, Ending.RESTARTED, why, "B-21")
        assert turn.state.ended is not None
        turn.change(ended=replace(turn.state.ended, ran_s=ran_s, ended_mono_s=None))
        turn.notify("B-21", why)
    elif state.phase is OvenPhase.COOLING:
        turn.switch_off("*", "The program restarted.")
    turn.go(Seen.RESTARTED)
