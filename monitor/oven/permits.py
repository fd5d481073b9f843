"""Leave to heat: given for one lease, renewed at a third of it, and only while everything holds."""

import math

from monitor.model.cycle import Actuator, Permit
from monitor.model.oven import LivingPermit, OvenPhase
from monitor.oven import hard
from monitor.oven.effects import PublishPermit, RelayOff, RelayOnFor
from monitor.oven.load_limit import allowed
from monitor.oven.site import SITE_FRESH_S
from monitor.oven.state import Given, Supervised
from monitor.oven.turn import Turn
from monitor.oven.verdict import HEATED, Level, Verdict

_RENEW_SHARE = 1.0 / 3.0
_TAKEN_WITHIN_S = 4.0  # two states of a heating oven
# Below the set-point by this a relay comes on again: some 65 switchings an hour in the reference oven (R17).
_RELAY_BAND_C = 1.0
# The last lease reaches a little beyond the end, so that the end comes as an end and not as a lost link.
_PAST_THE_END_S = 5.0
_SHORTEST_ON_S = 1.0
# A hold: nothing is colder than this, so nothing is heated; it ends by itself in three states' time.
_NO_HEAT_C, _NO_HEAT_LEASE_S = 0.0, 6.0


def why_none(state: Supervised, verdicts: tuple[Verdict, ...], mono_s: float) -> str | None:
    """Why there may be no permit at this moment; None = there may. Everything is looked at each time."""
    if state.phase not in HEATED or state.cycle is None:
        return f"an oven in {state.phase} is not heated"
    unfit = _unfit(state, mono_s)
    if unfit is not None:
        return unfit
    worst = next((v for v in verdicts if v.level >= Level.WITHHOLD), None)
    if worst is not None:
        return worst.what
    return _beyond_limits(state)


def _unfit(state: Supervised, mono_s: float) -> str | None:
    """What forbids any permit of this cycle, also one that heats nothing."""
    cycle, newest = state.cycle, state.window.newest
    assert cycle is not None
    if state.trip is not None or state.is_out_of_service:
        return "it is locked out"
    if newest is None or newest.state.boot != cycle.boot:
        return "its controller is not the one that the cycle began with"
    if mono_s - newest.heard_mono_s + state.window.delay_s() > hard.MAX_STATE_AGE_S:
        return "its newest state is too old"
    if newest.state.trip is not None or newest.state.state is OvenPhase.TRIPPED:
        return "its controller has tripped"
    if state.site is None or mono_s - state.site_mono_s > SITE_FRESH_S:
        return "what is around it is not known"
    return "its time is over" if mono_s >= cycle.ends_mono_s else None


def _beyond_limits(state: Supervised) -> str | None:
    """The limits of the start once more: nothing that happened since may have carried it over one."""
    cycle = state.cycle
    assert cycle is not None
    for load in (cycle.load, state.site.load if state.site else ()):
        bound = allowed(load, state.parameters)
        if cycle.setpoint_c > bound.setpoint_c or cycle.ceiling_c > bound.ceiling_c:
            return f"{bound.limited_by} does not stand it"
    if cycle.duration_s > state.parameters.longest_s:
        return "it is longer than allowed"
    unarmed = cycle.setpoint_c > hard.MAX_UNARMED_C or cycle.duration_s > hard.MAX_UNARMED_S
    if unarmed and not cycle.is_armed_locally:
        return "it was not armed at the oven"
    return None


def renew(turn: Turn, verdicts: tuple[Verdict, ...]) -> None:
    """A permit, or the ON of a relay, where it is due; in a hold the permit that takes the heat away."""
    if turn.state.phase is OvenPhase.HOLD and turn.state.parameters.actuator is Actuator.CONTROLLER:
        _take_heat_away(turn)
        return
    if why_none(turn.state, verdicts, turn.mono_s) is not None:
        if turn.state.parameters.actuator is Actuator.RELAY:
            _relay_off(turn)  # its countdown would end it too, a lease later
        return
    if turn.state.parameters.actuator is Actuator.RELAY:
        _renew_relay(turn)
    elif _is_due(turn.state, turn.mono_s):
        permit = _give(turn)
        turn.put(PublishPermit(oven=turn.state.oven, permit=permit))


def _is_due(state: Supervised, mono_s: float) -> bool:
    """At a third of the lease; at once when set-point or ceiling have been lowered.

    Only on a state that was heard in this very step: what happened at the oven since an older one, such
    as a stop at its button, cannot be known, and a permit must not undo it (B-17).
    """
    given, newest, cycle = state.given, state.window.newest, state.cycle
    assert newest is not None
    assert cycle is not None
    if newest.heard_mono_s < mono_s:
        return False
    if given is None:
        return True
    if newest.state.seq <= given.permit.state_seq:
        return False  # the lease counts from the state: the same one again would prolong nothing
    if _is_untaken(newest.state.permit, given, mono_s):
        return True
    if cycle.setpoint_c < given.permit.setpoint_c or cycle.ceiling_c < given.permit.ceiling_c:
        return True
    return mono_s - given.rests_on_mono_s >= _RENEW_SHARE * state.parameters.lease_s


def _take_heat_away(turn: Turn) -> None:
    """B-04: a stop would end the cycle for good, so a hold replaces the living permit by one of no heat.

    Once when it begins, and again while the oven shows heat: that one was lost. An oven with its door open
    takes none, and has none. Where none may be given, the lease that lives runs out.
    """
    state, newest = turn.state, turn.state.window.newest
    if _unfit(state, turn.mono_s) is not None or newest is None or newest.state.door_open:
        return
    given = state.given
    if given is not None:
        is_late = turn.mono_s - given.given_mono_s >= _TAKEN_WITHIN_S
        if not is_late or newest.state.seq <= given.permit.state_seq or newest.state.heater <= 0.0:
            return
    turn.put(PublishPermit(oven=state.oven, permit=_give(turn, is_heat=False)))


def _is_untaken(shown: LivingPermit | None, given: Given, mono_s: float) -> bool:
    """The oven still shows an older permit, seconds later: the newest one was lost, and is followed early."""
    return (
        shown is not None and shown.seq < given.permit.seq and mono_s - given.given_mono_s >= _TAKEN_WITHIN_S
    )


def _give(turn: Turn, *, is_heat: bool = True) -> Permit:
    """The next permit; its number rises whatever came before (contract 3)."""
    state, cycle = turn.state, turn.cycle
    newest = state.window.newest
    assert newest is not None
    said = newest.state.permit
    seq = max(state.permit_seq, said.seq if said and said.cycle == cycle.id else 0) + 1
    left_s = cycle.ends_mono_s - turn.mono_s
    setpoint_c = cycle.setpoint_c if is_heat else _NO_HEAT_C
    lease_s = state.parameters.lease_s if is_heat else _NO_HEAT_LEASE_S
    permit = Permit(
        cycle=cycle.id,
        seq=seq,
        boot=cycle.boot,
        state_seq=newest.state.seq,
        # Down, never up: what goes out may not be above what was decided.
        setpoint_c=math.floor(setpoint_c * 100.0) / 100.0,
        ceiling_c=math.floor(cycle.ceiling_c * 100.0) / 100.0,
        lease_s=round(min(lease_s, left_s + _PAST_THE_END_S), 1),
    )
    given = Given(permit=permit, given_mono_s=turn.mono_s, rests_on_mono_s=newest.heard_mono_s)
    turn.change(permit_seq=seq, given=given)
    return permit


def _renew_relay(turn: Turn) -> None:
    """Two-point control by a switch that falls off by itself (B-24)."""
    state, newest = turn.state, turn.state.window.newest
    assert newest is not None
    hottest_c = newest.hottest_c
    if hottest_c is None or hottest_c >= turn.cycle.setpoint_c:
        _relay_off(turn)
    elif _is_due(state, turn.mono_s) and (
        state.given is not None or hottest_c < turn.cycle.setpoint_c - _RELAY_BAND_C
    ):
        permit = _give(turn)
        # The countdown begins when the ON arrives, not when the state was heard: shorter by that.
        waited_s = turn.mono_s - newest.heard_mono_s
        on_s = max(min(permit.lease_s, hard.MAX_LEASE_S) - waited_s, _SHORTEST_ON_S)
        turn.put(RelayOnFor(oven=state.oven, on_s=on_s))


def _relay_off(turn: Turn) -> None:
    if turn.state.given is not None:
        turn.change(given=None)
        turn.put(RelayOff(oven=turn.state.oven, why="warm enough, or no permit"))
