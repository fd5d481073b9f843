"""What a state message of the controller changes: window, tally, arming, permit taken or lost, stop seen."""

from dataclasses import replace

from monitor.model.cycle import Actuator, Ending, RecordKind
from monitor.model.oven import OvenPhase, OvenState
from monitor.oven import dried, ending, hard
from monitor.oven.events import Heard
from monitor.oven.moves import Seen, can
from monitor.oven.turn import Turn
from monitor.oven.verdict import RUNNING, Level, Verdict
from monitor.oven.window import Sample

_OLD_BOOTS = 8
_GAP_S = 30.0  # energy is not counted over a longer silence
# A lease that ended sooner than this before its time was ended by somebody.
_EARLY_S, _EARLY_SHARE = 1.0, 1.0 / 6.0
_RETRY_STOP_S = 5.0
_OFF_W = 5.0
# A button at a plug is told from our own switching by its coming later than an ON can be under way.
_RELAY_SETTLES_S = 5.0


def hear(turn: Turn, event: Heard) -> None:
    """Copies, overtaken messages and echoes of an earlier boot tell nothing and are dropped."""
    said, state = event.state, turn.state
    before = state.window.newest
    if said.boot in state.old_boots or not state.window.is_next(said):
        return
    sample = Sample(at_s=said.uptime_s, heard_mono_s=turn.mono_s, state=said)
    turn.change(window=state.window.add(sample))
    if before is not None and before.state.boot != said.boot:
        _booted(turn, before.state.boot)
        before = None
    _tally(turn, before, sample)
    _arming(turn, said)
    _controller_trip(turn, said)
    if turn.state.phase in RUNNING:
        _running(turn, before, sample)
    _stop_effect(turn, said)


def _booted(turn: Turn, old_boot: str) -> None:
    """Another boot: whatever was permitted is gone, and stays gone (B-21)."""
    turn.change(old_boots=(*turn.state.old_boots, old_boot)[-_OLD_BOOTS:], given=None)
    if turn.state.phase in RUNNING:
        why = "The oven's controller restarted: its cycle is interrupted."
        ending.end(turn, Seen.RESTARTED, Ending.RESTARTED, why, "B-21")


def _tally(turn: Turn, before: Sample | None, sample: Sample) -> None:
    if turn.state.cycle is None or turn.state.phase not in RUNNING:
        return
    tally, height_c = turn.cycle.tally, sample.hottest_c
    energy_wh = tally.energy_wh
    if sample.state.power_w is None:
        energy_wh = None  # once not measured, the sum says nothing any more
    elif energy_wh is not None and before is not None:
        energy_wh += sample.state.power_w * min(sample.at_s - before.at_s, _GAP_S) / 3600.0
    peak_c = tally.peak_c
    if height_c is not None:
        peak_c = height_c if peak_c is None else max(peak_c, height_c)
    turn.change_cycle(tally=replace(tally, energy_wh=energy_wh, peak_c=peak_c))


def _arming(turn: Turn, said: OvenState) -> None:
    """B-10: it lapses by itself, and when the door opens after it; only a fresh press arms again."""
    before_s, armed_s = turn.state.armed_s, said.armed_s
    is_pressed = armed_s is not None and armed_s > (before_s or 0.0) + 1.0
    is_void = turn.state.is_arming_void and not is_pressed and bool(armed_s)
    if said.door_open or (turn.state.site is not None and turn.state.site.door_open):
        is_void = True
    turn.change(armed_s=armed_s, is_arming_void=is_void)
    is_armed = bool(armed_s) and not is_void
    seen = Seen.ARMED if is_armed else Seen.DISARMED
    if turn.state.phase is not (OvenPhase.ARMED if is_armed else OvenPhase.IDLE) and can(
        turn.state.phase, seen
    ):
        turn.go(seen)


def _controller_trip(turn: Turn, said: OvenState) -> None:
    """The controller tripped by itself, or what it tripped for has been reset there."""
    latched = turn.state.trip
    if said.trip is None and said.state is not OvenPhase.TRIPPED:
        if latched is not None and latched.reset_by is not None:
            turn.record(RecordKind.RESET, "the controller's trip is gone too", latched.rule, latched.reset_by)
            ending.unlatch(turn)
        return
    rule = said.trip.rule if said.trip else "B-18"
    what = said.trip.what if said.trip else "It says that it has tripped, and not why."
    if latched is not None and said.trip is not None and said.trip.id == latched.controller_trip:
        return
    if latched is not None and said.trip is None:
        return
    verdict = Verdict(rule=rule, level=Level.TRIP, what=f"The oven's controller tripped: {what}")
    ending.trip(turn, (verdict,), said.trip)


def _running(turn: Turn, before: Sample | None, sample: Sample) -> None:
    if dried.is_taken_out(turn, sample.state):
        return
    if turn.state.phase is OvenPhase.HOLD:
        return
    if turn.state.parameters.actuator is Actuator.RELAY:
        _relay(turn, sample)
        return
    permit = sample.state.permit
    is_ours = permit is not None and permit.cycle == turn.cycle.id
    if permit is not None and is_ours and permit.seq >= turn.cycle.asked_from_seq:
        if not turn.cycle.is_acknowledged:
            turn.change_cycle(is_acknowledged=True)
        _proven(turn, sample)
    elif permit is None:
        _lost(turn, before, sample)


def _proven(turn: Turn, sample: Sample) -> None:
    """The fan moves air, and the controller's own check before heat is over, before it counts as heating."""
    is_proven = sample.state.fan or not turn.state.parameters.has_fan
    is_proven = is_proven and sample.state.state is not OvenPhase.PREHEAT_CHECK
    if turn.state.phase is OvenPhase.PREHEAT_CHECK and is_proven:
        begin_warming(turn, sample.hottest_c)
        turn.go(Seen.PROVEN)


def begin_warming(turn: Turn, from_c: float | None) -> None:
    """R11 counts from here."""
    begun_c = turn.cycle.warm_from_c if from_c is None else from_c
    turn.change_cycle(warm_from_c=begun_c, warm_from_mono_s=turn.mono_s, phase_since_mono_s=turn.mono_s)


def _lost(turn: Turn, before: Sample | None, sample: Sample) -> None:
    """A permit that was there is gone: ended at the oven, run out while withheld, or lost with the link."""
    if sample.state.state is OvenPhase.HOLD:
        return  # its door took the heat, not a person's stop: rule B-04 holds, and it may go on
    earlier = before.state.permit if before is not None else None
    if before is not None and earlier is not None and earlier.cycle == turn.cycle.id:
        lived_s = sample.at_s - before.at_s
        if lived_s < earlier.left_s - min(_EARLY_S, _EARLY_SHARE * turn.state.parameters.lease_s):
            # B-17: local stop always wins, and nothing from afar heats again.
            ending.end(turn, Seen.STOPPED, Ending.STOPPED, "It was stopped at the oven.")
            return
    if turn.mono_s >= turn.cycle.ends_mono_s:
        return  # its last lease ended with its time
    if not turn.cycle.is_acknowledged:
        return  # none was there yet, or it may run out because the chamber is too hot (R8)
    why = "The link was lost for longer than a lease: the heater switched itself off and stays off."
    ending.end(turn, Seen.LINK_LOST, Ending.LINK_LOST, why, "B-22")


def _relay(turn: Turn, sample: Sample) -> None:
    """A relay proves nothing but that it is heard; its own button is a stop at the oven."""
    given = turn.state.given
    if turn.state.phase is OvenPhase.PREHEAT_CHECK:
        _proven(turn, replace(sample, state=replace(sample.state, fan=True)))
        return
    if given is None or sample.state.heater > 0.0:
        return
    since_s = turn.mono_s - given.given_mono_s
    if _RELAY_SETTLES_S < since_s < given.permit.lease_s - _EARLY_S:
        ending.end(turn, Seen.STOPPED, Ending.STOPPED, "It was switched off at the relay.")


def _stop_effect(turn: Turn, said: OvenState) -> None:
    """B-17, H09: a stop counts once its effect is seen; until then it is sent again."""
    state = turn.state
    is_live = said.permit is not None or said.heater > 0.0
    if state.stop_since_mono_s is not None:
        if not is_live and (said.power_w or 0.0) <= _OFF_W:
            after_s = turn.mono_s - state.stop_since_mono_s
            turn.record(RecordKind.STOP_CONFIRMED, f"no permit, no heat after {after_s:.0f} s")
            turn.change(stop_since_mono_s=None)
        elif turn.mono_s - (state.stop_sent_mono_s or -1e9) >= _RETRY_STOP_S:
            turn.switch_off("*", "The heater is still on.")
        return
    if is_live and state.phase not in RUNNING:
        # Nobody here permitted that: an old permit of before a restart, or somebody else's (H39).
        turn.switch_off("*", "The oven heats, or may, and nobody here permitted it.")
        turn.notify("H39", "The oven held a permit that is not of a running cycle; it was stopped.")


def is_cool(turn: Turn, margin_c: float = 0.0) -> bool | None:
    """B-19: below 45 °C or within 10 °C of the room; None = no sensor tells."""
    newest = turn.state.window.newest
    if newest is None or newest.hottest_c is None:
        return None
    room_c = turn.state.site.room_c if turn.state.site else None
    limit_c = hard.COOL_C if room_c is None else max(hard.COOL_C, room_c + hard.COOL_ABOVE_ROOM_C)
    return newest.hottest_c < limit_c + margin_c
