"""A form as it was typed, and the reading of its fields: shared by the forms of spools, boxes and sensors."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from werkzeug.datastructures import MultiDict

from monitor.errors import BadInputError, FieldError
from web.fields import figure
from web.inside import sentence
from web.present import Presenter
from web.sign_in.visitor import CSRF

TEXT_MAX = 200
COMMON = ("kind", "who", "when", "replaces")  # every form has these


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


def faulty(
    entry: Entry,
    error: BadInputError,
    kinds: Mapping[str, Sequence[str]],
    labels: Mapping[str, str],
    members: Mapping[str, str],
) -> Entry:
    """The same with its fault as a sentence of the page's own words, at the field it is about.

    Args:
        kinds: Fields of each kind of form.
        labels: What a field is called on the page.
        members: What the service calls a field, where the page differs.
    """
    entry = entry if entry.kind in kinds else replace(entry, kind="")
    name, _, rest = str(error).partition(" ")
    if isinstance(error, FieldError):
        name, rest = error.field, error.fault
    name = members.get(name, name)
    if name not in labels:
        return replace(entry, fault=sentence(str(error)), wrong="kind")
    return replace(entry, fault=sentence(f"{labels[name]} {rest}"), wrong=name)


def check_known(entry: Entry, kinds: Mapping[str, Sequence[str]]) -> None:
    """FieldError if the kind, one of the fields or the number of a record is none that we know."""
    if entry.kind not in kinds:
        raise FieldError("kind", f"is {entry.kind[:20]!r}; allowed are {', '.join(kinds)}")
    allowed = (*COMMON, *kinds[entry.kind])
    for name in (*entry.values, *(("seen",) if entry.seen else ())):
        if name not in allowed:
            raise FieldError("kind", f"does not go with the field {name[:30]!r}")
    if entry.value("replaces") and entry.replaces is None:
        raise FieldError("replaces", f"is {entry.value('replaces')[:20]!r}, which is no number of a record")


def local_text(present: Presenter, time_s: float) -> str:
    """A moment as the field for a local time wants it."""
    return present.clock(time_s, "%Y-%m-%dT%H:%M:%S")


def when(entry: Entry, known_s: float | None, present: Presenter, now_s: float) -> float:
    """The moment that a form tells of; left as it was filled in, it is `known_s` itself."""
    text = entry.value("when")
    if not text:
        return now_s if known_s is None else known_s
    if known_s is not None and text == local_text(present, known_s):
        return known_s  # to the fraction, and in the right one of two hours when clocks go back
    return local_moment("when", text, present, now_s)


def local_moment(name: str, text: str, present: Presenter, now_s: float) -> float:
    """A moment that was typed in the site's own time."""
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is not None or not 2000 <= moment.year < 2100:
        raise FieldError(name, f"is {text[:25]!r}; write a date and a time such as 2026-11-25 14:30")
    return moment.replace(tzinfo=present.local(now_s).tzinfo).timestamp()


def text_of(entry: Entry, name: str) -> str:
    """One line of text that must be there."""
    text = entry.value(name)
    if not text or len(text) > TEXT_MAX or any(ord(char) < 32 for char in text):
        raise FieldError(name, f"must be text of 1 to {TEXT_MAX} characters in one line")
    return text


def number_of(entry: Entry, name: str, allowed: str) -> float:
    """A number that must be there; `allowed` says which are."""
    text = entry.value(name)
    if not text:
        raise FieldError(name, f"is missing; allowed are {allowed}")
    return figure(name, text, allowed)


def is_ticked(entry: Entry, name: str) -> bool:
    """Whether a box is ticked."""
    text = entry.value(name)
    if text not in ("", "yes"):
        raise FieldError(name, f"is {text[:20]!r}; allowed is yes, or nothing")
    return text == "yes"
