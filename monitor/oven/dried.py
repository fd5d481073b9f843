"""D-13: what is dry is held cooler until it is fetched, or its heat ends. It only takes heat away."""

import math

from monitor.model.cycle import Ending, RecordKind
from monitor.model.oven import OvenPhase, OvenState
from monitor.oven import ending, hard
from monitor.oven.events import FoundDry
from monitor.oven.moves import Seen
from monitor.oven.turn import Turn

_LEAST_LOWER_C = 1.0  # a hold that is no cooler than this spares nothing


def found(turn: Turn, event: FoundDry) -> None:
    """Only of the cycle that dries now; what was worked out for another one, or too late, changes nothing."""
    if turn.state.phase is not OvenPhase.DRYING or turn.cycle.id != event.cycle:
        return
    if turn.cycle.dry_since_wall_s is not None:
        return
    if event.hold_c is None:
        ending.end(turn, Seen.DRY, Ending.DRY, event.why, "D-13")
        return
    if not _is_cooler(event.hold_c, turn.cycle.setpoint_c):
        return  # it is held there already: the confirmed end comes as it was confirmed
    before_c = turn.cycle.setpoint_c
    turn.change_cycle(setpoint_c=event.hold_c, dry_since_wall_s=turn.wall_s)
    until = "until it is taken out, or its time is over"
    what = f"lowered from {before_c:g} to {event.hold_c:g} °C {until}: {event.why}"
    turn.record(RecordKind.LOWERED, what, rule="D-13")
    turn.go(Seen.LOWERED)


def _is_cooler(hold_c: float, setpoint_c: float) -> bool:
    """Never up, and no number that is none: a permit of it could not be told from one of no heat."""
    return math.isfinite(hold_c) and hard.LEAST_HOLD_C <= hold_c <= setpoint_c - _LEAST_LOWER_C


def is_taken_out(turn: Turn, said: OvenState) -> bool:
    """The door opens on what was held because it is dry: somebody fetches it, and no heat waits for that."""
    if turn.cycle.dry_since_wall_s is None or not said.door_open:
        return False
    ending.end(turn, Seen.DRY, Ending.DRY, "The door was opened after it was dry.", "D-13")
    return True
