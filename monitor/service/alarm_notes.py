"""What the desk of alarms keeps and writes, as text and lines; and what it reads off a status."""

import json
import logging
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, replace
from typing import Any

from monitor.alarms.events import Effect, Noted
from monitor.alarms.saved import from_text
from monitor.alarms.state import AlarmState
from monitor.alarms.storms import Gathered, Raised, Storm
from monitor.errors import StoreError
from monitor.model.answers import BoxAnswer, RoomAnswer, StatusAnswer, seconds_of
from monitor.model.audit import SYSTEM, AuditEntry, AuditKind
from monitor.model.message import Priority

log = logging.getLogger(__name__)


def airs(status: StatusAnswer) -> Iterator[BoxAnswer | RoomAnswer]:
    """All places whose air is read."""
    yield from status.boxes
    yield from status.rooms


def samples(status: StatusAnswer) -> dict[str, str]:
    """Which reading is the newest of each place."""
    return {place.key: place.air.at or "" for place in airs(status)}


def places(status: StatusAnswer) -> frozenset[str]:
    """Everything that the inventory has."""
    return frozenset(
        (
            *(box.key for box in status.boxes),
            *(room.key for room in status.rooms),
            *(spool.key for spool in status.spools),
            *(oven.key for oven in status.ovens),
        )
    )


def noted(effects: tuple[Effect, ...]) -> list[Noted]:
    """Those effects that are lines of the log."""
    return [effect for effect in effects if isinstance(effect, Noted)]


def detail(before: AlarmState, after: AlarmState, line: Noted) -> dict[str, object]:
    """From, to and cause of a transition (A-13)."""
    detail: dict[str, object] = {
        "place": after.place,
        "activation": after.activation,
        "from": str(before.shown),
        "to": str(after.shown),
        "priority": str(after.priority),
    }
    if after.said.value is not None:
        detail |= {"value": after.said.value, "limit": after.said.limit}
    return detail | ({"why": line.why} if line.why else {})


def entry(wall_s: float, who: str, about: str, what: str, detail: dict[str, object]) -> AuditEntry:
    """A line of the log of all that was done."""
    return AuditEntry(
        at_ms=round(wall_s * 1000),
        who=who or SYSTEM,
        kind=AuditKind.ALARM,
        about=about,
        what=what,
        detail=detail,
    )


def loaded(texts: Mapping[str, str]) -> dict[str, AlarmState]:
    """What was kept; one that cannot be read begins anew, and says so in the program's log."""
    states = {}
    for key, text in texts.items():
        try:
            states[key] = from_text(text)
        except StoreError:
            log.exception("what was known of an alarm cannot be read alarm=%s", key)
    return states


# Due dates of a site that are told of at once. All that the desk keeps has to fit into its column, or no
# commit would go through any more; what is left out delivery knows by itself.
_NOTICED_MOST = 400


def heard_since(status: StatusAnswer, from_s: float) -> bool:
    """Whether every placed sensor has been heard since a time: then nothing more is to be waited for."""
    found = [place.air for place in airs(status) if place.air.due_s is not None]
    return bool(found) and all(air.at is not None and seconds_of(air.at) >= from_s for air in found)


def desk_text(gathered: Gathered, silent_until_s: float | None, noticed: Iterable[str] = ()) -> str:
    """What the desk keeps beside the alarms."""
    storm = gathered.storm
    kept = {
        "recent": [asdict(item) for item in gathered.recent[-40:]],
        "storm": None if storm is None else _storm_plain(storm),
        "unseen": [_storm_plain(item) for item in gathered.unseen[-3:]],
        "silent_until_s": silent_until_s,
        "noticed": sorted(noticed)[:_NOTICED_MOST],
    }
    return json.dumps(kept, separators=(",", ":"), allow_nan=False)


def _storm_plain(storm: Storm) -> dict[str, object]:
    # Of a great storm the newest members may be named anew after a restart.
    return asdict(replace(storm, members=storm.members[:40]))


def _storm_from(plain_storm: dict[str, Any]) -> Storm:
    more = {"priority": Priority(plain_storm["priority"]), "members": tuple(plain_storm["members"])}
    return Storm(**(plain_storm | more))


def desk_from(text: str | None) -> tuple[Gathered, float | None, frozenset[str]]:
    """What `desk_text` wrote; nothing known where it cannot be read."""
    if text is None:
        return Gathered(), None, frozenset()
    try:
        kept = json.loads(text)
        recent = tuple(Raised(**(r | {"priority": Priority(r["priority"])})) for r in kept["recent"])
        storm = None if kept["storm"] is None else _storm_from(kept["storm"])
        unseen = tuple(_storm_from(item) for item in kept["unseen"])
        return (
            Gathered(recent=recent, storm=storm, unseen=unseen),
            kept["silent_until_s"],
            frozenset(kept.get("noticed", ())),
        )
    except (ValueError, KeyError, TypeError):
        log.exception("what was known of a storm of alarms cannot be read")
        return Gathered(), None, frozenset()
