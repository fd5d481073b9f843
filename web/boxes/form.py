"""The forms by which people tell what was done to a box: strict fields in, an event or a sentence out."""

import datetime as dt
from collections.abc import Callable, Collection, Mapping

from monitor.errors import BadInputError, FieldError
from monitor.model.box_event import (
    BoxEvent,
    BoxWhat,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Recharged,
)
from monitor.model.records import Withdrawn
from monitor.model.spool_event import Moved, SpoolEvent
from web import entry as entries
from web.entry import Entry, check_known, is_ticked, local_text, number_of, text_of, when
from web.present import Presenter

# What each kind has besides the fields that every form has. `noticed` is the moment of a question.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "recharged": ("desiccant", "dry_g", "is_regenerated", "loading_pct", "noticed"),
    "put_in": ("spool", "noticed"),
    "took_out": ("spool", "place", "noticed"),
    "weighed": ("mass_g", "resolution_g"),
    "colour": ("colour",),
    "nothing_done": ("noticed",),
    "withdrawn": ("why",),
}
ACTS = tuple(kind for kind in FIELDS if kind != "withdrawn")  # what a link may open
MOVES = ("put_in", "took_out")  # these are written down with the spool
# What a field is called on the page.
LABELS: Mapping[str, str] = {
    "kind": "What happened",
    "who": "Who",
    "when": "When",
    "replaces": "The record",
    "desiccant": "Kind",
    "dry_g": "How much",
    "is_regenerated": "From the oven",
    "loading_pct": "Water in it already",
    "noticed": "The moment asked about",
    "spool": "Which spool",
    "place": "Where to",
    "mass_g": "Weight",
    "resolution_g": "Step of the scale",
    "colour": "Colour",
    "why": "Why",
}
_MEMBERS = {"at": "when"}  # what the service calls a field, where the page differs


def faulty(entry: Entry, error: BadInputError) -> Entry:
    """The same with its fault at the field it is about."""
    return entries.faulty(entry, error, FIELDS, LABELS, _MEMBERS)


def box_event_of(
    entry: Entry, box: str, original: BoxEvent | None, present: Presenter, now_s: float
) -> BoxEvent:
    """The event that a form tells of; FieldError names the field and what is allowed."""
    check_known(entry, FIELDS)
    known_s = noticed_s(entry) if original is None else original.at_s
    if entry.kind == "nothing_done" and known_s is None:
        raise FieldError("noticed", "is missing: say it beside the question")
    return BoxEvent(
        box=box,
        at_s=when(entry, known_s, present, now_s),
        entered_s=now_s,
        who=text_of(entry, "who"),
        what=_WHATS[entry.kind](entry),
        replaces=entry.replaces,
    )


def move_of(
    entry: Entry, box: str, inside: Collection[str], others: Collection[str], present: Presenter, now_s: float
) -> SpoolEvent:
    """The move that a form tells of.

    Args:
        inside: Keys of the spools in this box.
        others: Keys of all other spools.
    """
    check_known(entry, FIELDS)
    is_in = entry.kind == "put_in"
    spool, allowed = entry.value("spool"), others if is_in else inside
    if spool not in allowed:
        where = "is not one that lies elsewhere" if is_in else "is not one that lies in this box"
        raise FieldError("spool", f"is missing: choose one of them{'' if not spool else f'; it {where}'}")
    return SpoolEvent(
        spool=spool,
        at_s=when(entry, noticed_s(entry), present, now_s),
        entered_s=now_s,
        who=text_of(entry, "who"),
        what=Moved(place=box if is_in else _place(entry, box)),
    )


def entry_of(event: BoxEvent, present: Presenter) -> Entry:
    """The form of a record that is to be corrected, filled in as it stands."""
    what = event.what
    values = {"when": local_text(present, event.at_s), "who": ""}
    if isinstance(what, Recharged):
        values |= {"desiccant": what.desiccant, "dry_g": f"{what.dry_g:.8g}"}
        values |= {"is_regenerated": "yes"} if what.is_regenerated else {}
        values |= {} if what.loading_pct is None else {"loading_pct": f"{what.loading_pct:.6g}"}
    elif isinstance(what, ChargeWeighed):
        values |= {"mass_g": f"{what.mass_g:.8g}", "resolution_g": f"{what.resolution_g:g}"}
    elif isinstance(what, ColourSeen):
        values["colour"] = str(what.colour)
    elif isinstance(what, Withdrawn):
        values["why"] = what.why
    else:
        values["noticed"] = rfc3339(event.at_s)
    return Entry(kind=what.kind, values=values, replaces=event.event_id)


def asked_about(kind: str, at: str, present: Presenter) -> Entry:
    """A form that a question opens: with its moment filled in. Nothing of it, if that is none."""
    entry = Entry(kind=kind, values={"noticed": at})
    try:
        at_s = noticed_s(entry)
    except FieldError:
        at_s = None
    if at_s is None:
        return Entry(kind=kind)
    return Entry(kind=kind, values={"noticed": at, "when": local_text(present, at_s)})


def noticed_s(entry: Entry) -> float | None:
    """The moment that a question is about; None where the form answers none."""
    text = entry.value("noticed")
    if not text:
        return None
    try:
        moment = dt.datetime.fromisoformat(text[:40])
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 2000 <= moment.year < 2100:
        raise FieldError("noticed", f"is {text[:25]!r}, which is no moment")
    return moment.timestamp()


def rfc3339(time_s: float) -> str:
    """A moment as an answer writes it."""
    return dt.datetime.fromtimestamp(time_s, dt.UTC).isoformat(timespec="microseconds")


def _place(entry: Entry, box: str) -> str | None:
    if "place" not in entry.values:
        raise FieldError("place", "is missing: choose a room, a box, an oven, or that nobody knows")
    if entry.value("place") == box:
        raise FieldError("place", "is this box: choose another place")
    return entry.value("place") or None


def _recharged(entry: Entry) -> BoxWhat:
    if not entry.value("desiccant"):
        raise FieldError("desiccant", "is missing: choose what was put in")
    has_water = bool(entry.value("loading_pct"))
    return Recharged(
        desiccant=entry.value("desiccant"),
        dry_g=number_of(entry, "dry_g", "grams, dry"),
        loading_pct=number_of(entry, "loading_pct", "percent of its dry mass") if has_water else None,
        is_regenerated=is_ticked(entry, "is_regenerated"),
    )


def _weighed(entry: Entry) -> BoxWhat:
    return ChargeWeighed(
        mass_g=number_of(entry, "mass_g", "grams, without bag or tray"),
        resolution_g=number_of(entry, "resolution_g", "0.001 to 100 g"),
    )


def _colour(entry: Entry) -> BoxWhat:
    try:
        return ColourSeen(colour=Colour(entry.value("colour")))
    except ValueError:
        raise FieldError("colour", f"is missing: choose one of {', '.join(Colour)}") from None


_WHATS: Mapping[str, Callable[[Entry], BoxWhat]] = {
    "recharged": _recharged,
    "weighed": _weighed,
    "colour": _colour,
    "nothing_done": lambda _: NothingDone(),
    "withdrawn": lambda entry: Withdrawn(why=text_of(entry, "why")),
}
