"""What may be dangerous about ovens and rooms, seen from outside of the supervision. Grants no heat."""

from monitor.model.answers import StatusAnswer
from monitor.model.around import Around, OvenWatch
from monitor.model.condition import Condition

TYPES = ("oven_trip", "oven_hot_unasked", "oven_silent_hot", "oven_proof_overdue", "smoke")
UNASKED_C = 45.0
UNASKED_W = 5.0
SILENT_S = 60.0  # the longest lease
STATE_OLD_S = 30.0  # older than three states of a controller tells nothing of now


def oven_conditions(status: StatusAnswer, around: Around, now_s: float) -> tuple[Condition, ...]:
    """Of every oven of the inventory and every room with a detector."""
    found: list[Condition] = []
    for oven in status.ovens:
        watch = around.ovens.get(oven.key)
        if watch is None:
            of_oven = [kind for kind in TYPES if kind != "smoke"]
            found += [Condition(type=kind, place=oven.key, holds=None) for kind in of_oven]
            continue
        found += [
            _trip(oven.key, oven.name, watch),
            _unasked(oven.key, oven.name, watch),
            _silent(oven.key, oven.name, watch),
            _proof(oven.key, oven.name, watch, now_s),
        ]
    names = {room.key: room.name for room in status.rooms}
    for room, is_smoke in around.smoke.items():
        what = f"The smoke detector in {names.get(room, room)} says smoke." if is_smoke else ""
        found.append(Condition(type="smoke", place=room, holds=is_smoke, what=what))
    return tuple(found)


def _trip(key: str, name: str, watch: OvenWatch) -> Condition:
    what = "" if watch.trip is None else f"{name} has switched its heater off and locked it: {watch.trip}"
    return Condition(type="oven_trip", place=key, holds=watch.trip is not None, what=what)


def _unasked(key: str, name: str, watch: OvenWatch) -> Condition:
    """Power tells by itself; warmth only while it rises, since what was heated cools slowly."""
    kind = "oven_hot_unasked"
    if watch.has_permit is None or watch.state_age_s is None or watch.state_age_s > STATE_OLD_S:
        return Condition(type=kind, place=key, holds=None)
    if watch.has_permit or watch.is_cooling:
        return Condition(type=kind, place=key, holds=False)
    if watch.power_w is not None and watch.power_w > UNASKED_W:
        what = f"{name} takes {watch.power_w:.0f} W without leave to heat; at most {UNASKED_W:.0f} W is idle."
        return Condition(type=kind, place=key, holds=True, value=watch.power_w, limit=UNASKED_W, what=what)
    if watch.chamber_c is None or watch.rising_c_per_min is None:
        return Condition(type=kind, place=key, holds=None)
    what = (
        f"{name} is at {watch.chamber_c:.0f} °C and rising without leave to heat; above {UNASKED_C:.0f} °C."
    )
    return Condition(
        type=kind,
        place=key,
        holds=watch.chamber_c > UNASKED_C and watch.rising_c_per_min > 0.0,
        value=watch.chamber_c,
        limit=UNASKED_C,
        what=what,
    )


def _silent(key: str, name: str, watch: OvenWatch) -> Condition:
    kind = "oven_silent_hot"
    if watch.state_age_s is None or watch.was_hot_or_heating is None:
        return Condition(type=kind, place=key, holds=None)
    what = (
        f"{name} was hot or heating and has been silent for {watch.state_age_s:.0f} s, over {SILENT_S:.0f} s."
    )
    return Condition(
        type=kind,
        place=key,
        holds=watch.was_hot_or_heating and watch.state_age_s > SILENT_S,
        value=watch.state_age_s,
        limit=SILENT_S,
        what=what,
    )


def _proof(key: str, name: str, watch: OvenWatch, now_s: float) -> Condition:
    due_s = watch.proof_due_s
    if due_s is None and not watch.is_left_alone:  # somebody is always there, so nothing rests on a test
        return Condition(type="oven_proof_overdue", place=key, holds=False)
    if due_s is None:  # nobody ever tested it
        what = f"{name} has no yearly test on record."
        return Condition(type="oven_proof_overdue", place=key, holds=True, what=what)
    days = max(now_s - due_s, 0.0) / 86_400.0
    what = f"The yearly test of {name} is {days:.0f} days overdue."
    return Condition(type="oven_proof_overdue", place=key, holds=now_s > due_s, what=what)
