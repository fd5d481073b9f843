"""What people told of a box, as a list: what stands, and what was corrected or withdrawn."""

from collections.abc import Mapping, Sequence

from monitor.library import Library
from monitor.model.box_event import (
    BoxEvent,
    BoxWhat,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Recharged,
)
from monitor.model.records import effective
from web.boxes.words import kind_name
from web.present import Presenter
from web.spools.records import Record, ended

COLOURS: Mapping[Colour, str] = {
    Colour.DRY: "as when dry",
    Colour.TURNING: "turning",
    Colour.TURNED: "turned all through",
}


def standing(events: Sequence[BoxEvent], library: Library, present: Presenter) -> tuple[Record, ...]:
    """What holds, the newest first."""
    return tuple(record(event, library, present) for event in reversed(effective(events)))


def gone(events: Sequence[BoxEvent], library: Library, present: Presenter) -> tuple[Record, ...]:
    """What no longer holds, with who ended it and why; the newest end first."""
    by_number = {event.event_id: event for event in events}
    return tuple(
        record(by_number[event.replaces], library, present, ended(event, present))
        for event in reversed(events)
        if event.replaces is not None and event.replaces in by_number
    )


def record(event: BoxEvent, library: Library, present: Presenter, end: str = "") -> Record:
    """One record in words; `end` tells how it ended, where it did."""
    return Record(
        number=event.event_id,
        kind=event.what.kind,
        words=told(event.what, library),
        when=present.clock(event.at_s, "%d %b %Y %H:%M"),
        who=event.who,
        gone=end,
    )


def told(what: BoxWhat, library: Library) -> str:
    """What happened, in a few words."""
    if isinstance(what, Recharged):
        oven = ", from the oven" if what.is_regenerated else ""
        water = "" if what.loading_pct is None else f", {what.loading_pct:g} % water in it"
        return f"Desiccant changed: {kind_name(library, what.desiccant)}, {what.dry_g:g} g{oven}{water}"
    if isinstance(what, ChargeWeighed):
        return f"Desiccant weighed {what.mass_g:.8g} g on a scale of {what.resolution_g:g} g"
    if isinstance(what, ColourSeen):
        return f"Colour of the beads: {COLOURS[what.colour]}"
    if isinstance(what, NothingDone):
        return "Nobody changed anything"
    return f"Withdrawn: {what.why}"
