"""Whether an event can be true: refused in one sentence that names the field and the allowed range."""

import difflib
import math

from monitor.errors import BadInputError
from monitor.library import Library
from monitor.model.inventory import Inventory, Spool
from monitor.model.records import Withdrawn, effective
from monitor.model.spool_event import Dried, Moved, Signs, Spoiled, SpoolEvent, SpoolHistory, Used, Weighed
from monitor.service.air import rfc3339

TEXT_MAX = 200
AHEAD_S = 300.0  # a phone's clock may run this much ahead
_SIGNS_MAX = 8
_HEAVIEST_G = 60_000.0
_NAMED = 12


def check_event(event: SpoolEvent, history: SpoolHistory, inventory: Inventory, library: Library) -> None:
    """BadInputError if it cannot be true of this spool at that time."""
    spool = history.present()
    if spool is None:
        raise BadInputError(f"spool {event.spool!r} is not in the inventory any more")
    check_text("who", event.who)
    earliest_s = spool.since_s or 1_577_836_800.0
    if not earliest_s <= event.at_s <= event.entered_s + AHEAD_S:
        raise BadInputError(
            "at must lie between the spool's beginning and now, which is"
            f" {rfc3339(earliest_s)} to {rfc3339(event.entered_s)}"
        )
    _replaced(event, history)
    what = event.what
    if isinstance(what, Moved):
        _place(what.place, inventory)
    elif isinstance(what, Used):
        _used(what, event, history, spool)
    elif isinstance(what, Weighed):
        _weighed(what, event, history, spool)
    elif isinstance(what, Dried):
        _dried(what, event, spool, earliest_s, library)
    elif isinstance(what, Signs):
        if not 1 <= len(what.seen) <= _SIGNS_MAX or len(set(what.seen)) != len(what.seen):
            raise BadInputError(f"seen must name 1 to {_SIGNS_MAX} signs, each once")
    elif isinstance(what, Spoiled | Withdrawn):
        check_text("why", what.why)
        if isinstance(what, Withdrawn) and event.replaces is None:
            raise BadInputError("replaces must name the record that is withdrawn")


def check_number(name: str, value: float, lowest: float, highest: float, unit: str) -> None:
    """Refuses what is no number of the range."""
    if not math.isfinite(value) or not lowest <= value <= highest:
        raise BadInputError(f"{name} is {value:g}; allowed are {lowest:g} to {highest:g} {unit}")


def check_text(name: str, value: str) -> None:
    if not 1 <= len(value.strip()) <= TEXT_MAX or any(ord(char) < 32 for char in value):
        raise BadInputError(f"{name} must be text of 1 to {TEXT_MAX} characters in one line")


def _replaced(event: SpoolEvent, history: SpoolHistory) -> None:
    if event.replaces is None:
        return
    standing = {each.event_id for each in effective(history.events)}
    if event.replaces not in standing:
        raise BadInputError(f"replaces is {event.replaces}, which is no standing record of this spool")


def _place(place: str | None, inventory: Inventory) -> None:
    places = sorted({*inventory.rooms, *inventory.boxes, *inventory.ovens})
    if place is not None and place not in places:
        raise BadInputError(
            f"place {place[:63]!r} is no room, box or oven of the inventory{_among(place, places)}"
        )


def _among(place: str, places: list[str]) -> str:
    """The allowed ones where they can be read; else the near ones."""
    named = places if len(places) <= _NAMED else difflib.get_close_matches(place[:63], places, n=5)
    return f"; allowed are {', '.join(named)}" if named else ""


def _used(what: Used, event: SpoolEvent, history: SpoolHistory, spool: Spool) -> None:
    left_g = spool.net_g - _told_used_g(event, history, spool)
    check_number("grams", what.grams, 0.01, max(left_g, 0.01), "g, which is what is left on it")


def _told_used_g(event: SpoolEvent, history: SpoolHistory, spool: Spool) -> float:
    """Filament used so far, without the record that is being corrected [g]."""
    others = [e.what for e in effective(history.events) if e.event_id != event.replaces]
    return spool.used_g + sum(other.grams for other in others if isinstance(other, Used))


def _weighed(what: Weighed, event: SpoolEvent, history: SpoolHistory, spool: Spool) -> None:
    check_number("resolution_g", what.resolution_g, 0.001, 100.0, "g")
    if not 1 <= what.repeats <= 20:
        raise BadInputError(f"repeats is {what.repeats}; allowed are 1 to 20")
    reel_g = spool.reel_g or 0.0
    # What is said to be left may be off by a tenth, and some of what was used may not have been told.
    left_g = 0.5 * max(spool.net_g - _told_used_g(event, history, spool), 0.0)
    highest_g = min(2.0 * (spool.net_g + max(reel_g, 1_000.0)), _HEAVIEST_G)
    why = "g: a spool is not lighter than its reel and half of the filament that was not used"
    check_number("mass_g", what.mass_g, max(reel_g + left_g, 1.0), highest_g, why)


def _dried(what: Dried, event: SpoolEvent, spool: Spool, earliest_s: float, library: Library) -> None:
    check_number("hours", what.hours, 0.1, 168.0, "h")
    material = library.material(spool.material)
    check_number(
        "temperature_c",
        what.temperature_c,
        25.0,
        material.softening_c,
        f"°C, where {material.short_name} softens",
    )
    if what.room_humidity_pct is not None:
        check_number("room_humidity_pct", what.room_humidity_pct, 0.0, 100.0, "%RH")
    if event.at_s - 3600.0 * what.hours < earliest_s:
        raise BadInputError("hours reach back before the spool's beginning; at is the end of the drying")
