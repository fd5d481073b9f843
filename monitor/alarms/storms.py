"""Many alarms at once have one cause: they are told together, and the first of them is named (A-22, A-25)."""

from dataclasses import dataclass, replace
from functools import reduce

from monitor.alarms.priority import max_priority
from monitor.model.message import Priority

WINDOW_S = 600.0
PLACES = 4
MOST_UNSEEN = 8
MOST_TOLD = 5  # of one storm; more urgent ones are told all the same


@dataclass(frozen=True, slots=True, kw_only=True)
class Raised:
    """An alarm that people would be told of now."""

    key: str
    place: str
    name: str  # of the kind of alarm, in words
    priority: Priority
    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Storm:
    id: str
    since_s: float
    newest_s: float
    first: str  # key of the one that came first
    members: tuple[str, ...]
    told: int = 0  # messages
    told_members: int = 0
    priority: Priority = Priority.NOTICE


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What was raised within the window, and the storm that goes on."""

    recent: tuple[Raised, ...] = ()
    storm: Storm | None = None
    unseen: tuple[Storm, ...] = ()  # told, and not all of their alarms were seen or are over


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What may be the common cause, as seen from outside the alarms."""

    broker_is_away: bool = False
    clock_was_set: bool = False
    has_just_started: bool = False  # the board, after a power cut perhaps
    damp_rooms: tuple[str, ...] = ()  # names of rooms whose air became clearly damper


def gather(
    before: Gathered, raised: tuple[Raised, ...], now_s: float
) -> tuple[Gathered, tuple[Raised, ...], Storm | None]:
    """Sorts what is to be told: (what is kept, what is told one by one, the storm if it is told of now).

    Matters of safety must not come here: they are told one by one, at once (A-21).
    """
    recent = tuple(r for r in before.recent if abs(now_s - r.at_s) <= WINDOW_S) + raised
    storm = before.storm
    if storm is not None and abs(now_s - storm.newest_s) > WINDOW_S:
        storm = None
    if storm is None and len({item.place or item.key for item in recent}) >= PLACES and raised:
        storm = _begun(recent)
    elif storm is not None and raised:
        new = tuple(item.key for item in raised if item.key not in storm.members)
        storm = replace(storm, members=storm.members + new, newest_s=now_s)
    if storm is None or not raised:
        return replace(before, recent=recent, storm=storm), raised, None
    most = reduce(max_priority, (item.priority for item in raised), storm.priority)
    if not _is_news(storm, most):
        return replace(before, recent=recent, storm=storm), (), None
    storm = replace(storm, told=storm.told + 1, told_members=len(storm.members), priority=most)
    unseen = (*(other for other in before.unseen if other.id != storm.id), storm)[-MOST_UNSEEN:]
    return Gathered(recent=recent, storm=storm, unseen=unseen), (), storm


def seen_by(gathered: Gathered, unseen_keys: frozenset[str]) -> tuple[Gathered, tuple[Storm, ...]]:
    """Storms of whose alarms none is unacknowledged any more leave; they are the second of the answer."""
    over = tuple(storm for storm in gathered.unseen if not unseen_keys.intersection(storm.members))
    if not over:
        return gathered, ()
    return replace(gathered, unseen=tuple(s for s in gathered.unseen if s not in over)), over


def probable_cause(signs: Signs) -> str:
    """One sentence that says where to look first."""
    if signs.clock_was_set:
        return "The board's clock was set a moment ago: look at the time first."
    if signs.broker_is_away:
        return "The broker cannot be reached: look at it and at the network first."
    if signs.has_just_started:
        return "The monitor has just started: was there a power cut?"
    if signs.damp_rooms:
        return f"The air became damper in {', '.join(signs.damp_rooms[:3])}: look there first."
    return "Look for one cause: a window, the network, the power."


def _begun(recent: tuple[Raised, ...]) -> Storm:
    first = min(recent, key=lambda item: item.at_s)
    newest_s = max(item.at_s for item in recent)
    return Storm(
        id=f"storm-{max(round(newest_s), 0):x}",
        since_s=first.at_s,
        newest_s=newest_s,
        first=first.key,
        members=tuple(dict.fromkeys(item.key for item in recent)),
    )


def _is_news(storm: Storm, most: Priority) -> bool:
    """Told when it begins, when it is more urgent, and each time that it has doubled."""
    if storm.told == 0 or not storm.priority.covers(most):
        return True
    return storm.told < MOST_TOLD and len(storm.members) >= 2 * storm.told_members
