"""The forms by which people tell what happened to a spool: strict fields in, an event or a sentence out."""

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from werkzeug.datastructures import MultiDict

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
from web.inside import sentence
from web.present import Presenter
from web.sign_in.visitor import CSRF

NOWHERE = ""  # the place of a spool that nobody can find
TEXT_MAX = 200
# Every form has these; each kind has its own besides.
_COMMON = ("kind", "who", "when", "replaces")
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A form as it was typed, and what is wrong with it."""

    kind: str
    values: Mapping[str, str] = field(default_factory=dict)
    seen: tuple[str, ...] = ()
    replaces: int | None = None
    fault: str = ""
    wrong: str = ""  # name of the field

    def value(self, name: str, otherwise: str = "") -> str:
        return self.values.get(name, otherwise)


def typed(fields: "MultiDict[str, str]") -> Entry:
    """What was sent, not yet believed."""
    values = {name: fields.get(name, "").strip() for name in fields if name not in ("seen", CSRF)}
    replaces = values.get("replaces", "")
    return Entry(
        kind=values.get("kind", ""),
        values=values,
        seen=tuple(fields.getlist("seen")),
        replaces=int(replaces) if replaces.isascii() and replaces.isdigit() and len(replaces) < 16 else None,
    )


def told_by(entry: Entry, name: str | None) -> Entry:
    """The same by whoever is signed in; None: by the name that was typed."""
    return entry if name is None else replace(entry, values={**entry.values, "who": name})


def faulty(entry: Entry, error: BadInputError) -> Entry:
    """The same with its fault as a sentence of the page's own words, at the field it is about."""
    entry = entry if entry.kind in FIELDS else replace(entry, kind="")
    name, _, rest = str(error).partition(" ")
    if isinstance(error, FieldError):
        name, rest = error.field, error.fault
    name = _MEMBERS.get(name, name)
    if name not in LABELS:
        return replace(entry, fault=sentence(str(error)), wrong="kind")
    return replace(entry, fault=sentence(f"{LABELS[name]} {rest}"), wrong=name)


def event_of(
    entry: Entry,
    spool: Spool,
    material: Material,
    original: SpoolEvent | None,
    present: Presenter,
    now_s: float,
) -> SpoolEvent:
    """The event that a form tells of; FieldError names the field and what is allowed."""
    if entry.kind not in FIELDS:
        raise FieldError("kind", f"is {entry.kind[:20]!r}; allowed are {', '.join(FIELDS)}")
    _only_known(entry)
    if entry.value("replaces") and entry.replaces is None:
        raise FieldError("replaces", f"is {entry.value('replaces')[:20]!r}, which is no number of a record")
    return SpoolEvent(
        spool=spool.key,
        at_s=_when(entry, original, present, now_s),
        entered_s=now_s,
        who=_text(entry, "who"),
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


def local_text(present: Presenter, time_s: float) -> str:
    """A moment as the field for a local time wants it."""
    return present.clock(time_s, "%Y-%m-%dT%H:%M:%S")


def grams_of(length_m: float, diameter_mm: float, density_kg_m3: float) -> float:
    """Mass of a length of filament [g]."""
    section_m2 = math.pi * (diameter_mm / 2000.0) ** 2
    return 1000.0 * section_m2 * length_m * density_kg_m3


def _only_known(entry: Entry) -> None:
    allowed = (*_COMMON, *FIELDS[entry.kind])
    for name in (*entry.values, *(("seen",) if entry.seen else ())):
        if name not in allowed:
            raise FieldError("kind", f"does not go with the field {name[:30]!r}")


def _when(entry: Entry, original: SpoolEvent | None, present: Presenter, now_s: float) -> float:
    text = entry.value("when")
    if not text:
        return now_s if original is None else original.at_s
    if original is not None and text == local_text(present, original.at_s):
        return original.at_s  # to the fraction, and in the right one of two hours when clocks go back
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is not None or not 2000 <= moment.year < 2100:
        raise FieldError("when", f"is {text[:25]!r}; write a date and a time such as 2026-11-25 14:30")
    zone = present.local(now_s).tzinfo
    return moment.replace(tzinfo=zone).timestamp()


def _text(entry: Entry, name: str) -> str:
    text = entry.value(name)
    if not text or len(text) > TEXT_MAX or any(ord(char) < 32 for char in text):
        raise FieldError(name, f"must be text of 1 to {TEXT_MAX} characters in one line")
    return text


def _number(entry: Entry, name: str, allowed: str) -> float:
    text = entry.value(name)
    if not text:
        raise FieldError(name, f"is missing; allowed are {allowed}")
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FieldError(name, f"is {text[:20]!r}, which is no number; allowed are {allowed}")
    return value


def _moved(entry: Entry, _spool: Spool, _material: Material) -> What:
    if "place" not in entry.values:
        raise FieldError("place", "is missing: choose a box, a room, an oven, or that nobody knows")
    return Moved(place=entry.value("place") or None)


def _used(entry: Entry, spool: Spool, material: Material) -> What:
    unit = entry.value("unit", "g")
    if unit not in ("g", "m"):
        raise FieldError("unit", f"is {unit[:20]!r}; allowed are g and m")
    amount = _number(entry, "amount", "what was printed, above 0")
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
        mass_g=_number(entry, "mass_g", "grams, of spool and reel together"),
        resolution_g=_number(entry, "resolution_g", "0.001 to 100 g"),
        repeats=int(text),
        is_warm=_is_ticked(entry, "is_warm"),
    )


def _dried(entry: Entry, _spool: Spool, _material: Material) -> What:
    has_room = bool(entry.value("room_humidity_pct"))
    return Dried(
        temperature_c=_number(entry, "temperature_c", "degrees Celsius of the air round it"),
        hours=_number(entry, "hours", "0.1 to 168 h"),
        room_humidity_pct=_number(entry, "room_humidity_pct", "0 to 100 %RH") if has_room else None,
    )


def _signs(entry: Entry, _spool: Spool, _material: Material) -> What:
    if not entry.seen:
        raise FieldError("seen", "is missing: tick at least one line")
    try:
        return Signs(seen=tuple(Sign(name) for name in entry.seen))
    except ValueError:
        raise FieldError("seen", f"may name only: {', '.join(Sign)}") from None


def _is_ticked(entry: Entry, name: str) -> bool:
    text = entry.value(name)
    if text not in ("", "yes"):
        raise FieldError(name, f"is {text[:20]!r}; allowed is yes, or nothing")
    return text == "yes"


_WHATS: Mapping[str, Callable[[Entry, Spool, Material], What]] = {
    "moved": _moved,
    "used": _used,
    "weighed": _weighed,
    "dried": _dried,
    "signs": _signs,
    "bagged": lambda *_: Bagged(),
    "opened": lambda *_: Opened(),
    "spoiled": lambda entry, *_: Spoiled(why=_text(entry, "why")),
    "withdrawn": lambda entry, *_: Withdrawn(why=_text(entry, "why")),
}
