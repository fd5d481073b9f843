"""The what-if form: its fields, the question read out of them, and what is wrong with one in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.model.what_if import Start
from monitor.service.advice import AirKind, Wish
from monitor.service.queries import Queries
from web.fields import Choice, among, choices, fault_in_words, figure, given

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
    kind = AirKind(among("air", air, tuple(AirKind)))
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
        open_flanges=among("flanges", _or_usual(args, "flanges"), ("closed", "open")) == "open",
        is_strand=among("form", _or_usual(args, "form"), ("spool", "strand")) == "strand",
    )


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
        materials=choices([(m.key, m.name) for m in materials], values["material"]),
        reels=choices([(reel.key, _reel_words(reel.key, reel.name)) for reel in reels], values["reel"]),
        diameters=choices(_diameters(values["diameter-mm"]), values["diameter-mm"]),
        starts=choices(_STARTS, values["start"]),
        own_air=Choice(
            value=AirKind.STEADY.value, words="these figures", is_chosen=values["air"] == AirKind.STEADY.value
        ),
        rooms=_rooms(queries, values["air"]),
        flanges=choices((("closed", "closed"), ("open", "open, spoked")), values["flanges"]),
        forms=choices((("spool", "wound on its reel"), ("strand", "loose filament")), values["form"]),
        wrong=None if error is None else error.field,
        fault=None if error is None else fault_in_words(error, LABELS),
        has_more=any(values[name] != DEFAULTS[name] for name in ("flanges", "form", "diameter-mm")),
    )


def _reel_words(key: str, name: str) -> str:
    return "not known (weakest assumed)" if key == "unknown" else name


def _rooms(queries: Queries, chosen: str) -> tuple[tuple[str, tuple[Choice, ...]], ...]:
    return tuple(
        (
            room.name,
            choices(
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


def _diameters(entered: str) -> list[tuple[str, str]]:
    """The two that are sold, and any other that a link asks for."""
    sold = [("1.75", "1.75 mm"), ("2.85", "2.85 mm")]
    return sold if entered in ("1.75", "2.85") else [*sold, (entered, f"{entered} mm")]


def _start(args: Mapping[str, str]) -> tuple[Start, float | None]:
    has_figure = bool(given(args, "start-pct"))
    chosen = args.get("start", PERCENTAGE if has_figure else DEFAULTS["start"])
    among("start", chosen, tuple(value for value, _ in _STARTS))
    if chosen == PERCENTAGE:
        return Start.DRIED, _number(args, "start-pct", "0 % up to what the material can hold")
    return Start(chosen), None


def _or_usual(args: Mapping[str, str], name: str) -> str:
    return given(args, name) or DEFAULTS[name]


def _needed(args: Mapping[str, str], name: str, allowed: str) -> str:
    text = given(args, name)
    if not text:
        raise FieldError(name, f"is missing; allowed is {allowed}")
    return text


def _number(args: Mapping[str, str], name: str, allowed: str, *, needed: bool = True) -> float:
    text = _needed(args, name, allowed) if needed else _or_usual(args, name)
    return figure(name, text, allowed)
