"""The forms on a sensor's page: strict fields in, what is told or a sentence out."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from werkzeug.datastructures import MultiDict

from monitor.errors import BadInputError, FieldError
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import (
    Back,
    CheckNow,
    CompareNow,
    CorrectBy,
    CorrectionSet,
    InJar,
    Installed,
    Seated,
    SensorTold,
    SensorWish,
)
from web.entry import COMMON, Entry, text_of, when
from web.fields import figure
from web.inside import sentence
from web.present import Presenter
from web.sign_in.visitor import CSRF

# Each kind of form with its own fields; several values of one field are joined by commas.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "in_jar": ("salt",),
    "back": (),
    "checked": (),
    "compared": ("others", "hours"),
    "correct": ("checks",),
    "uncorrect": (),
    "seated": ("sits_at",),
    "installed": ("serial", "tolerance_pct", "interval_months"),
    "withdrawn": ("why",),
}
LABELS: Mapping[str, str] = {
    "kind": "What is told",
    "who": "Who",
    "when": "When",
    "replaces": "The record",
    "salt": "The salt",
    "others": "The other sensors",
    "hours": "Hours",
    "checks": "The points",
    "sits_at": "Where it sits",
    "serial": "Serial number",
    "tolerance_pct": "Tolerance",
    "interval_months": "Months between checks",
    "why": "Why",
}
_MEMBERS = {"at": "when"}


def typed(fields: "MultiDict[str, str]") -> Entry:
    """What was sent, not yet believed."""
    values = {name: ",".join(fields.getlist(name)).strip() for name in fields if name != CSRF}
    return Entry(kind=values.get("kind", ""), values=values)


def faulty(entry: Entry, error: BadInputError) -> Entry:
    """The same with its fault as a sentence of the page's own words."""
    name, _, rest = str(error).partition(" ")
    name = _MEMBERS.get(name, name).rstrip(":")
    words = f"{LABELS[name]} {rest}" if name in LABELS and name != "kind" else str(error)
    return replace(entry, fault=words if words.endswith(("?", ".")) else sentence(words))


def told_of(channel: str, entry: Entry, present: Presenter, now_s: float) -> SensorTold:
    """What a form tells; FieldError names the field and what is allowed."""
    if entry.kind not in FIELDS:
        raise FieldError("kind", f"is {entry.kind[:20]!r}; allowed are {', '.join(FIELDS)}")
    for name in entry.values:
        if name not in (*COMMON, *FIELDS[entry.kind]):
            raise FieldError("kind", f"does not go with the field {name[:30]!r}")
    replaces = entry.value("replaces")
    return SensorTold(
        channel=channel,
        at_s=when(entry, None, present, now_s),
        who=text_of(entry, "who"),
        wish=_WISHES[entry.kind](entry),
        replaces=_whole(entry, "replaces") if replaces else None,
    )


def _whole(entry: Entry, name: str) -> int:
    return _whole_of(name, entry.value(name))


def _whole_of(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise FieldError(name, f"is {text[:20]!r}, which is no whole number")
    return int(text)


def _listed(entry: Entry, name: str) -> list[str]:
    return [item for item in entry.value(name).split(",") if item]


_WISHES: Mapping[str, Callable[[Entry], SensorWish]] = {
    "in_jar": lambda entry: InJar(salt=text_of(entry, "salt")),
    "back": lambda _: Back(),
    "checked": lambda _: CheckNow(),
    "compared": lambda entry: CompareNow(
        others=tuple(_listed(entry, "others")), hours=figure("hours", entry.value("hours", "1"), "0.5 to 48")
    ),
    "correct": lambda entry: CorrectBy(
        checks=tuple(_whole_of("checks", text) for text in _listed(entry, "checks"))
    ),
    "uncorrect": lambda _: CorrectionSet(offset_pct=0.0, gain=1.0),
    "seated": lambda entry: Seated(sits_at=text_of(entry, "sits_at")),
    "installed": lambda entry: Installed(
        serial=text_of(entry, "serial"),
        tolerance_pct=figure("tolerance_pct", entry.value("tolerance_pct", "1.8"), "0.5 to 10 %RH"),
        interval_months=_whole_of("interval_months", entry.value("interval_months", "12")),
    ),
    "withdrawn": lambda entry: Withdrawn(why=text_of(entry, "why")),
}  # fmt: skip
