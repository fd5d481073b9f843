"""May a start that was planned for now begin, or is a person asked? (B-13, B-25)

A stored plan alone never starts anything: somebody armed the oven just now, all is as its person saw it,
and its time came by the clock's own running. Whatever else is so, the person is asked.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from monitor.model.planned_start import PlannedStart, PlannedState, SeenSpool
from monitor.oven import start_limits
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING

LATE_S = 120.0  # later than this it is not begun any more
SETTLE_S = 600.0  # so long after the clock was set nothing begins by itself
FORGET_S = 86_400.0  # asked for so long without an answer, it is missed
EARLY_S = 3600.0  # a cycle of the same load that began so much before its time is this one
# A plan is reckoned anew from what the spools hold now; it moves a little without anything having happened.
_DRIFT_S, _DRIFT_SHARE = 600.0, 0.03
_USED_G, _USED_SHARE = 20.0, 0.03


class Then(StrEnum):
    WAIT = "wait"
    BEGIN = "begin"
    ASK = "ask"
    MISSED = "missed"
    STARTED = "started"  # by a person, meanwhile


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStep:
    """The wall clock was set while the monotonic one ran on [s]."""

    at_mono_s: float
    before_s: float
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What the plan of its load asks for now."""

    run_s: float | None  # None = there is no plan, `why` says why
    most_c: float | None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that is so at this moment."""

    wall_s: float
    mono_s: float
    watching_since_mono_s: float  # when this run of the program began to watch
    is_clock_known: bool
    steps: tuple[ClockStep, ...] = ()
    oven: Supervised | None = None  # None = not in the inventory
    spools: Mapping[str, SeenSpool] = field(default_factory=dict)
    needs: Needs | None = None  # None = not asked of this load, or not just now


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    then: Then
    why: tuple[str, ...] = ()  # sentences
    cycle: str | None = None


_WAIT = Verdict(then=Then.WAIT)


def decide(start: PlannedStart, seen: Seen) -> Verdict:
    """What becomes of it now. BEGIN still goes through all that a start must pass."""
    if not start.is_open or not seen.is_clock_known:
        return _WAIT
    cycle = _begun(start, seen)
    if cycle is not None:
        return Verdict(then=Then.STARTED, cycle=cycle)
    late_s = seen.wall_s - start.start_s
    if start.state is PlannedState.ASKED and late_s > FORGET_S:
        return Verdict(then=Then.MISSED, why=("Nobody confirmed it within a day.",))
    if start.state is not PlannedState.PLANNED:
        return _WAIT
    missed = _missed(start, seen, late_s)
    if missed:
        return Verdict(then=Then.MISSED, why=(missed,))
    why = changed(start, seen)
    if late_s >= 0.0:
        why = (*why, *_hindrances(start, seen))
    if why:
        return Verdict(then=Then.ASK, why=why)
    return _WAIT if late_s < 0.0 else Verdict(then=Then.BEGIN)


def changed(start: PlannedStart, seen: Seen) -> tuple[str, ...]:
    """What is no longer as the person saw it; empty = all of it still is."""
    found = [_oven_changed(start, seen), *(_spool_changed(start, then, seen) for then in start.spools)]
    return tuple(each for each in (*found, _plan_changed(start, seen.needs)) if each)


def _begun(start: PlannedStart, seen: Seen) -> str | None:
    """The cycle that a person started with this very load, about its time or after."""
    cycle = seen.oven.cycle if seen.oven else None
    if cycle is None or cycle.started_wall_s < max(start.start_s - EARLY_S, start.planned_s):
        return None
    inside = sorted(item.key.rpartition(":")[2] for item in cycle.load)
    return cycle.id if inside == sorted(start.load) else None


def _missed(start: PlannedStart, seen: Seen, late_s: float) -> str:
    """Its time went by unseen, or came only because the clock was set."""
    for step in seen.steps:
        if step.before_s < start.start_s <= step.after_s:
            return "The clock was set past its time: it would have begun because of that alone."
    if late_s > LATE_S:
        return "Its time went by without a look at it."
    if late_s > seen.mono_s - seen.watching_since_mono_s:
        return "Its time went by while the program was not running."
    return ""


def _oven_changed(start: PlannedStart, seen: Seen) -> str:
    oven = seen.oven
    if oven is None:
        return "The oven is not in the inventory any more."
    if oven.trip is not None:
        return f"The oven is locked after a fault: {oven.trip.what.rstrip('.')}."
    if oven.is_out_of_service:
        return "The oven is out of service until it is proof-tested."
    if oven.cycle is not None and oven.phase in RUNNING:
        ends_s = seen.wall_s + max(oven.cycle.ends_mono_s - seen.mono_s, 0.0)
        if ends_s > start.start_s:
            return "Another drying runs in the oven beyond that time."
    return ""


def _spool_changed(start: PlannedStart, then: SeenSpool, seen: Seen) -> str:
    now = seen.spools.get(then.key)
    if now is None:
        return f"Spool {then.key} is not in the inventory any more."
    if now.place not in (then.place, start.oven):
        return f"Spool {then.key} was moved to {now.place or 'a place that is not known'}."
    if now.left_g is not None and then.left_g is not None:
        less_g = abs(then.left_g - now.left_g)
        if less_g > max(_USED_G, _USED_SHARE * then.left_g):
            return f"Spool {then.key} has {now.left_g:.0f} g on it now; it had {then.left_g:.0f} g."
    return ""


def _plan_changed(start: PlannedStart, needs: Needs | None) -> str:
    if needs is None or needs.run_s is None or needs.most_c is None:
        return ""  # a sensor may be silent for a while: that is told at its time, not before
    if needs.most_c < start.setpoint_c:
        return f"{needs.most_c:g} °C is the most now; {start.setpoint_c:g} °C was planned."
    enough_s = max(start.needed_s, start.duration_s)
    if needs.run_s > enough_s + max(_DRIFT_S, _DRIFT_SHARE * enough_s):
        return f"It takes {needs.run_s / 3600.0:.1f} h now; it was {start.needed_s / 3600.0:.1f} h."
    return ""


def _hindrances(start: PlannedStart, seen: Seen) -> tuple[str, ...]:
    """Why it does not begin by itself although its time has come."""
    oven, found = seen.oven, []
    if any(seen.mono_s - step.at_mono_s <= SETTLE_S for step in seen.steps):
        found.append("The clock was set a moment ago.")
    if start.is_tray:
        found.append("Whether the tray lies in the oven cannot be seen from here.")
    elif seen.needs is None or seen.needs.run_s is None:
        why = "" if seen.needs is None else seen.needs.why
        found.append(f"Its plan cannot be worked out now. {why}".rstrip())
    if not start.unattended:
        found.append("Somebody has to stay with it.")
    if oven is not None:
        found += _load_wrong(start, oven)
        if not start_limits.has_arming(oven):
            found.append("The oven has no button to arm it at, or is not heard.")
        elif not start_limits.is_armed(oven):
            found.append("The oven is not armed: press its button within the half hour before.")
    return tuple(found)


def _load_wrong(start: PlannedStart, oven: Supervised) -> list[str]:
    inside = {item.key: item.name for item in (oven.site.load if oven.site else ())}
    missing = [key for key in start.load if key not in inside]
    extra = [name for key, name in inside.items() if key not in start.load]
    found = []
    if missing and not start.is_tray:
        found.append(f"Not in the oven: {', '.join(missing)}.")
    if extra:
        found.append(f"Inside, too: {', '.join(extra)}.")
    return found
