"""B-18: what an oven's supervision may do next. What is not in this table does not happen."""

from enum import StrEnum

from monitor.errors import ForbiddenMoveError
from monitor.model.oven import OvenPhase


class Seen(StrEnum):
    """Facts that move the supervision on."""

    ARMED = "armed at the oven"
    DISARMED = "arming lapsed, or the door opened after it"
    STARTED = "start confirmed by a person, all checks passed"
    PROVEN = "controller took the permit, fan runs"
    AT_SETPOINT = "set-point reached"
    TIME_UP = "confirmed time is over"
    LOWERED = "found dry: held cooler until it is taken out"
    DRY = "found dry: nothing is gained by going on, or it was taken out"
    STOPPED = "stopped by anybody, at the oven, or by a rule"
    HELD = "a rule holds"
    CLEARED = "what held has cleared in time"
    LINK_LOST = "lease ran out while the link was gone"
    RESTARTED = "service, board or controller restarted"
    COOL = "chamber is cool"
    WARM = "found warm, or with its heater on, and no cycle"
    EMPTIED = "door opened after the end"
    TRIPPED = "a rule trips, or the controller did"
    RESET = "a person looked and reset"


_P, _S = OvenPhase, Seen
# A stop and a trip are taken in every phase (B-17, B-03). Whatever ends a cycle leads to cooling with the
# heat off, and nothing leads from there to heat but a new confirmed start (B-21).
_ENDS = {
    _S.TIME_UP: _P.COOLING,
    _S.DRY: _P.COOLING,  # D-13: an estimate may end heat; nothing of it begins or lengthens any
    _S.STOPPED: _P.COOLING,
    _S.LINK_LOST: _P.COOLING,
    _S.RESTARTED: _P.COOLING,
    _S.TRIPPED: _P.TRIPPED,
}
MOVES: dict[OvenPhase, dict[Seen, OvenPhase]] = {
    _P.IDLE: {
        _S.ARMED: _P.ARMED,
        _S.STARTED: _P.PREHEAT_CHECK,  # attended, where there is no arming input (B-11)
        _S.WARM: _P.COOLING,  # an oven found warm is cooled first
        _S.STOPPED: _P.IDLE,
        _S.RESTARTED: _P.IDLE,
        _S.TRIPPED: _P.TRIPPED,
    },
    _P.ARMED: {
        _S.DISARMED: _P.IDLE,
        _S.STARTED: _P.PREHEAT_CHECK,
        _S.STOPPED: _P.IDLE,  # a stop takes the arming with it: a start needs a fresh one
        _S.RESTARTED: _P.IDLE,
        _S.TRIPPED: _P.TRIPPED,
    },
    # Permits are given from here on, but heat counts as proven only once controller and fan answer.
    _P.PREHEAT_CHECK: {_S.PROVEN: _P.HEATING, _S.HELD: _P.HOLD, **_ENDS},
    _P.HEATING: {_S.AT_SETPOINT: _P.DRYING, _S.HELD: _P.HOLD, **_ENDS},
    _P.DRYING: {_S.HELD: _P.HOLD, _S.LOWERED: _P.DRYING, **_ENDS},
    # A hold that clears is checked like a start: a permit is given, taken, the fan proven (B-04).
    _P.HOLD: {_S.CLEARED: _P.PREHEAT_CHECK, **_ENDS},
    _P.COOLING: {
        _S.COOL: _P.DONE,
        _S.STARTED: _P.PREHEAT_CHECK,  # a new confirmed start, with all its checks (B-21, B-22)
        _S.STOPPED: _P.COOLING,
        _S.RESTARTED: _P.COOLING,
        _S.TRIPPED: _P.TRIPPED,
    },
    _P.DONE: {
        _S.ARMED: _P.ARMED,
        _S.STARTED: _P.PREHEAT_CHECK,
        _S.WARM: _P.COOLING,
        _S.EMPTIED: _P.IDLE,
        _S.STOPPED: _P.DONE,
        _S.RESTARTED: _P.IDLE,
        _S.TRIPPED: _P.TRIPPED,
    },
    # B-31: a reset starts nothing. A restart does not clear a latched trip.
    _P.TRIPPED: {
        _S.RESET: _P.IDLE,
        _S.STOPPED: _P.TRIPPED,
        _S.RESTARTED: _P.TRIPPED,
        _S.TRIPPED: _P.TRIPPED,
    },
}


def move(phase: OvenPhase, seen: Seen) -> OvenPhase:
    """The next phase, or ForbiddenMoveError: a caller that asks for it has a bug."""
    try:
        return MOVES[phase][seen]
    except KeyError:
        raise ForbiddenMoveError(f"an oven in {phase} does not accept: {seen}") from None


def can(phase: OvenPhase, seen: Seen) -> bool:
    """Whether the table has this move."""
    return seen in MOVES[phase]
