"""The forms by which people tell what happened to a spool: strict fields in, an event or a sentence out."""

import math
from collections.abc import Callable, Mapping

from monitor.errors import BadInputError, FieldError
from monitor.model.catalogue import Material
from monitor.model.inventory import Spool
from monitor.model.records import Withdrawn
from monitor.model.spool_event import (
    Bagged,
    Dried,
    Moved,
    Opened,
    Sign,
    Signs,
    Spoiled,
    SpoolEvent,
    Used,
    Weighed,
    What,
)
from web import entry as entries
from web.entry import Entry, check_known, is_ticked, local_text, number_of, text_of, when
from web.present import Presenter

NOWHERE = ""  # the place of a spool that nobody can find
# What each kind has besides the fields that every form has.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "moved": ("place",),
    "used": ("amount", "unit"),
    "weighed": ("mass_g", "resolution_g", "repeats", "is_warm"),
    "dried": ("temperature_c", "hours", "room_humidity_pct"),
    "signs": ("seen",),
    "bagged": (),
    "opened": (),
    "spoiled": ("why",),
    "withdrawn": ("why",),
}
ACTS = tuple(kind for kind in FIELDS if kind != "withdrawn")  # what can be told anew
# What a field is called on the page.
LABELS: Mapping[str, str] = {
    "kind": "What happened",
    "who": "Who",
    "when": "When",
    "replaces": "The record",
    "place": "Where to",
    "amount": "Amount",
    "unit": "Unit",
    "mass_g": "Weight with its reel",
    "resolution_g": "Step of the scale",
    "repeats": "Times weighed",
    "is_warm": "Still warm",
    "temperature_c": "Temperature",
    "hours": "Hours",
    "room_humidity_pct": "Humidity of the room",
    "seen": "What is seen",
    "why": "Why",
}
_MEMBERS = {"at": "when", "grams": "amount"}  # what the service calls a field, where the page differs


def faulty(entry: Entry, error: BadInputError) -> Entry:
    """The same with its fault at the field it is about."""
    return entries.faulty(entry, error, FIELDS, LABELS, _MEMBERS)


def event_of(
    entry: Entry,
    spool: Spool,
    material: Material,
    original: SpoolEvent | None,
    present: Presenter,
    now_s: float,
) -> SpoolEvent:
    """The event that a form tells of; FieldError names the field and what is allowed."""
    check_known(entry, FIELDS)
    return SpoolEvent(
        spool=spool.key,
        at_s=when(entry, None if original is None else original.at_s, present, now_s),
        entered_s=now_s,
        who=text_of(entry, "who"),
        what=_WHATS[entry.kind](entry, spool, material),
        replaces=entry.replaces,
    )


def entry_of(event: SpoolEvent, present: Presenter) -> Entry:
    """The form of a record that is to be corrected, filled in as it stands."""
    what = event.what
    values = {"when": local_text(present, event.at_s), "who": ""}
    seen: tuple[str, ...] = ()
    if isinstance(what, Moved):
        values["place"] = what.place or NOWHERE
    elif isinstance(what, Used):
        values |= {"amount": f"{what.grams:.6g}", "unit": "g"}
    elif isinstance(what, Weighed):
        values |= {
            "mass_g": f"{what.mass_g:.8g}",
            "resolution_g": f"{what.resolution_g:g}",
            "repeats": str(what.repeats),
        }
        values |= {"is_warm": "yes"} if what.is_warm else {}
    elif isinstance(what, Dried):
        room = what.room_humidity_pct
        values |= {"temperature_c": f"{what.temperature_c:g}", "hours": f"{what.hours:g}"}
        values |= {} if room is None else {"room_humidity_pct": f"{room:g}"}
    elif isinstance(what, Signs):
        seen = tuple(str(sign) for sign in what.seen)
    elif isinstance(what, Spoiled | Withdrawn):
        values["why"] = what.why
    return Entry(kind=what.kind, values=values, seen=seen, replaces=event.event_id)


def grams_of(length_m: float, diameter_mm: float, density_kg_m3: float) -> float:
    """Mass of a length of filament [g]."""
    section_m2 = math.pi * (diameter_mm / 2000.0) ** 2
    return 1000.0 * section_m2 * length_m * density_kg_m3


def _moved(entry: Entry, _spool: Spool, _material: Material) -> What:
    if "place" not in entry.values:
        raise FieldError("place", "is missing: choose a box, a room, an oven, or that nobody knows")
    return Moved(place=entry.value("place") or None)


def _used(entry: Entry, spool: Spool, material: Material) -> What:
    unit = entry.value("unit", "g")
    if unit not in ("g", "m"):
        raise FieldError("unit", f"is {unit[:20]!r}; allowed are g and m")
    amount = number_of(entry, "amount", "what was printed, above 0")
    if unit == "g":
        return Used(grams=amount)
    if not 0.0 < amount <= 20_000.0:
        raise FieldError("amount", f"is {amount:g} m; allowed are metres above 0, up to what is left on it")
    return Used(grams=grams_of(amount, spool.diameter_mm, material.density_kg_m3))


def _weighed(entry: Entry, _spool: Spool, _material: Material) -> What:
    text = entry.value("repeats", "1")
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise FieldError("repeats", f"is {text[:20]!r}; allowed are 1 to 20")
    return Weighed(
        mass_g=number_of(entry, "mass_g", "grams, of spool and reel together"),
        resolution_g=number_of(entry, "resolution_g", "0.001 to 100 g"),
        repeats=int(text),
        is_warm=is_ticked(entry, "is_warm"),
    )


def _dried(entry: Entry, _spool: Spool, _material: Material) -> What:
    has_room = bool(entry.value("room_humidity_pct"))
    return Dried(
        temperature_c=number_of(entry, "temperature_c", "degrees Celsius of the air round it"),
        hours=number_of(entry, "hours", "0.1 to 168 h"),
        room_humidity_pct=number_of(entry, "room_humidity_pct", "0 to 100 %RH") if has_room else None,
    )


def _signs(entry: Entry, _spool: Spool, _material: Material) -> What:
    if not entry.seen:
        raise FieldError("seen", "is missing: tick at least one line")
    try:
        return Signs(seen=tuple(Sign(name) for name in entry.seen))
    except ValueError:
        raise FieldError("seen", f"may name only: {', '.join(Sign)}") from None


_WHATS: Mapping[str, Callable[[Entry, Spool, Material], What]] = {
    "moved": _moved,
    "used": _used,
    "weighed": _weighed,
    "dried": _dried,
    "signs": _signs,
    "bagged": lambda *_: Bagged(),
    "opened": lambda *_: Opened(),
    "spoiled": lambda entry, *_: Spoiled(why=text_of(entry, "why")),
    "withdrawn": lambda entry, *_: Withdrawn(why=text_of(entry, "why")),
}
