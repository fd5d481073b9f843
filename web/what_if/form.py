"""The what-if form: its fields, the question read out of them, and what is wrong with one in words."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.model.what_if import Start
from monitor.service.advice import AirKind, Wish
from monitor.service.queries import Queries

PERCENTAGE = "pct"  # a start that is given as a figure
# What a field is called on the page; the names are those of the command's options.
LABELS = {
    "material": "Material",
    "reel": "Reel",
    "net-g": "Amount",
    "diameter-mm": "Diameter",
    "form": "Form",
    "flanges": "Flanges",
    "start": "At the start",
    "start-pct": "Water at the start",
    "air": "Air",
    "rh": "Humidity",
    "temperature": "Temperature",
    "hours": "How long",
}
DEFAULTS = {
    "material": "pla",
    "reel": "unknown",
    "net-g": "1000",
    "diameter-mm": "1.75",
    "form": "spool",
    "flanges": "closed",
    "start": Start.DRIED.value,
    "start-pct": "",
    "air": AirKind.STEADY.value,
    "rh": "50",
    "temperature": "23",
    "hours": "24",
}
_STARTS = (
    (Start.DRIED.value, "freshly dried"),
    (Start.SOLD.value, "as sold, sealed"),
    (Start.WEEK.value, "open for a week in this air"),
    (PERCENTAGE, "a percentage of water"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One line of a list to choose from."""

    value: str
    words: str
    is_chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """The form as it is shown again: what was entered, and what is wrong with it."""

    values: Mapping[str, str]
    materials: tuple[Choice, ...]
    reels: tuple[Choice, ...]
    diameters: tuple[Choice, ...]
    starts: tuple[Choice, ...]
    own_air: Choice
    rooms: tuple[tuple[str, tuple[Choice, ...]], ...]
    flanges: tuple[Choice, ...]
    forms: tuple[Choice, ...]
    wrong: str | None  # name of the field
    fault: str | None  # the sentence
    has_more: bool  # something is chosen among what is folded away


def read(args: Mapping[str, str]) -> Wish:
    """The question in a query string; FieldError names the field and what is allowed."""
    air, _, room = args.get("air", DEFAULTS["air"]).partition(":")
    kind = AirKind(_one_of("air", air, tuple(AirKind)))
    start, start_pct = _start(args)
    is_own = kind is AirKind.STEADY
    return Wish(
        material=_needed(args, "material", "a key of the catalogue, such as pla"),
        reel=args.get("reel", DEFAULTS["reel"]),
        air=kind,
        room=None if is_own else room,
        humidity_pct=_number(args, "rh", "0 to 100 %") if is_own else None,
        temperature_c=_number(args, "temperature", "from 0 °C", needed=False) if is_own else None,
        hours=_number(args, "hours", "0.01 to 20000 h") if kind in (AirKind.STEADY, AirKind.NOW) else None,
        diameter_mm=_number(args, "diameter-mm", "1 to 4 mm", needed=False),
        net_g=_number(args, "net-g", "10 to 50000 g", needed=False),
        start=start,
        start_pct=start_pct,
        open_flanges=_one_of("flanges", _given(args, "flanges"), ("closed", "open")) == "open",
        is_strand=_one_of("form", _given(args, "form"), ("spool", "strand")) == "strand",
    )


def fault_in_words(error: FieldError) -> str:
    """The sentence for a person: the field by the name it has on the page."""
    return f"{LABELS.get(error.field, error.field)} {error.fault}."


def form_of(queries: Queries, args: Mapping[str, str], error: FieldError | None) -> Form:
    """The form with what was entered, kept as it was typed."""
    values = {name: args.get(name, default) for name, default in DEFAULTS.items()}
    if "start" not in args and args.get("start-pct"):
        values["start"] = PERCENTAGE
    library = queries.library()
    # What nobody can name comes last.
    materials = sorted(library.materials.values(), key=lambda m: (m.key == "unknown", m.name.lower()))
    reels = sorted(library.reels.values(), key=lambda reel: reel.key != "unknown")
    return Form(
        values=values,
        materials=_choices([(m.key, m.name) for m in materials], values["material"]),
        reels=_choices([(reel.key, _reel_words(reel.key, reel.name)) for reel in reels], values["reel"]),
        diameters=_choices(_diameters(values["diameter-mm"]), values["diameter-mm"]),
        starts=_choices(_STARTS, values["start"]),
        own_air=Choice(
            value=AirKind.STEADY.value, words="these figures", is_chosen=values["air"] == AirKind.STEADY.value
        ),
        rooms=_rooms(queries, values["air"]),
        flanges=_choices((("closed", "closed"), ("open", "open, spoked")), values["flanges"]),
        forms=_choices((("spool", "wound on its reel"), ("strand", "loose filament")), values["form"]),
        wrong=None if error is None else error.field,
        fault=None if error is None else fault_in_words(error),
        has_more=any(values[name] != DEFAULTS[name] for name in ("flanges", "form", "diameter-mm")),
    )


def _reel_words(key: str, name: str) -> str:
    return "not known (weakest assumed)" if key == "unknown" else name


def _rooms(queries: Queries, chosen: str) -> tuple[tuple[str, tuple[Choice, ...]], ...]:
    return tuple(
        (
            room.name,
            _choices(
                (
                    (f"{AirKind.NOW}:{room.key}", f"{room.name} as it is now, kept up"),
                    (f"{AirKind.WEEKEND}:{room.key}", f"Over the weekend in {room.name}"),
                    (f"{AirKind.WEEK}:{room.key}", f"The last 7 days of {room.name}"),
                ),
                chosen,
            ),
        )
        for room in queries.inventory().rooms.values()
    )


def _choices(pairs: list[tuple[str, str]] | tuple[tuple[str, str], ...], chosen: str) -> tuple[Choice, ...]:
    return tuple(Choice(value=value, words=words, is_chosen=value == chosen) for value, words in pairs)


def _diameters(entered: str) -> list[tuple[str, str]]:
    """The two that are sold, and any other that a link asks for."""
    sold = [("1.75", "1.75 mm"), ("2.85", "2.85 mm")]
    return sold if entered in ("1.75", "2.85") else [*sold, (entered, f"{entered} mm")]


def _start(args: Mapping[str, str]) -> tuple[Start, float | None]:
    has_figure = bool(args.get("start-pct", "").strip())
    chosen = args.get("start", PERCENTAGE if has_figure else DEFAULTS["start"])
    _one_of("start", chosen, tuple(value for value, _ in _STARTS))
    if chosen == PERCENTAGE:
        return Start.DRIED, _number(args, "start-pct", "0 % up to what the material can hold")
    return Start(chosen), None


def _given(args: Mapping[str, str], name: str) -> str:
    return args.get(name, "").strip() or DEFAULTS[name]


def _needed(args: Mapping[str, str], name: str, allowed: str) -> str:
    text = args.get(name, "").strip()
    if not text:
        raise FieldError(name, f"is missing; allowed is {allowed}")
    return text


def _number(args: Mapping[str, str], name: str, allowed: str, *, needed: bool = True) -> float:
    text = _needed(args, name, allowed) if needed else _given(args, name)
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FieldError(name, f"is {text[:20]!r}, which is no number; allowed are {allowed}")
    return value


def _one_of(name: str, value: str, allowed: tuple[str, ...]) -> str:
    if value not in allowed:
        raise FieldError(name, f"is {value[:20]!r}; allowed are {', '.join(allowed)}")
    return value
