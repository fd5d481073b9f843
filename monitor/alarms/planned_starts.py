"""What is said of starts that were planned for later: as notices, and in the list of what needs a person."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from monitor.model.answers import Need
from monitor.model.inventory import Oven
from monitor.model.message import Message, MessageKind, Priority
from monitor.model.planned_start import (
    START_CHANGED,
    START_MISSED,
    START_NOW,
    AnyStart,
    PlannedStart,
    PlannedState,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One planned start in words, with the kind of its notice."""

    type: str
    what: str
    why: str
    act: str


def told(start: PlannedStart, oven: str, now_s: float, zone: str) -> Told | None:
    """What a person is asked about it now; None while it only waits for its time, or is over."""
    when = moment(start.start_s, now_s, zone)
    if start.state is PlannedState.ASKED and now_s >= start.start_s:
        return Told(
            type=START_NOW,
            what=f"The drying planned for {when} in {oven} waits: confirm now.",
            why=start.why,
            act=f"Look at {oven}, arm it, and confirm the start on its page; or withdraw it.",
        )
    if start.state is PlannedState.ASKED:
        return Told(
            type=START_CHANGED,
            what=f"The drying planned for {when} in {oven} is not what was planned any more.",
            why=start.why,
            act="Plan it anew; or withdraw it. It does not begin by itself.",
        )
    if start.state is PlannedState.MISSED:
        return Told(
            type=START_MISSED,
            what=f"The drying planned for {when} in {oven} was missed and not begun.",
            why=start.why,
            act="Start it now, or plan it anew; or withdraw it.",
        )
    return None


def notice(start: PlannedStart, oven: str, now_s: float, zone: str) -> Message | None:
    """The message for it; the same of a planned start is one occurrence."""
    said = told(start, oven, now_s, zone)
    if said is None:
        return None
    return Message(
        kind=MessageKind.NOTICE,
        subject=f"{said.type}-{start.oven}",
        occurrence=str(start.number),
        type=said.type,
        place=start.oven,
        priority=Priority.NOTICE,
        at_s=now_s,
        what=said.what,
        why=said.why,
        act=said.act,
        deadline_s=start.due_s,
    )


def waiting(
    starts: Iterable[AnyStart], ovens: Mapping[str, Oven], now_s: float, zone: str
) -> tuple[Need, ...]:
    """Those that ask for somebody; what cannot be read does, too."""
    found = []
    for start in starts:
        if not isinstance(start, PlannedStart):
            when = moment(start.start_s, now_s, zone)
            what = f"A start planned for {when} could not be read: it is not begun."
            found.append(Need(place=start.oven, level="check", what=what, act="Plan it anew; withdraw this."))
            continue
        name = ovens[start.oven].name if start.oven in ovens else start.oven
        said = told(start, name, now_s, zone)
        if said is not None:
            level = "check" if said.type == START_CHANGED else "soon"
            found.append(Need(place=start.oven, level=level, what=said.what, act=said.act))
    return tuple(found)


def moment(at_s: float, now_s: float, zone: str) -> str:
    """'17:00' today, else 'Wed 25 Nov 17:00', in local time."""
    local, today = (dt.datetime.fromtimestamp(each, ZoneInfo(zone)) for each in (at_s, now_s))
    return f"{local:%H:%M}" if local.date() == today.date() else f"{local:%a %d %b %H:%M}"
