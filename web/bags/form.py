"""The form of a bag: its fields, the question read out of them, and what is wrong with one in words."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.library.enclosures import load_enclosures
from monitor.model.bag import BagAir, BagWish, CardReading, ChargeState, Closure, Contents
from monitor.service.queries import Queries
from web.fields import Choice, among, choices, fault_in_words, given, needed, number, one_of

LABELS = {
    "film": "Bag",
    "width-cm": "Width",
    "length-cm": "Length",
    "closure": "Closed",
    "air-l": "Air left in it",
    "desiccant": "Desiccant",
    "dry-g": "Amount of desiccant",
    "state": "Its state",
    "loading-pct": "Water already in it",
    "material": "Material",
    "contents": "The filament is",
    "net-g": "Amount of filament",
    "air": "Air",
    "rh": "Humidity",
    "temperature": "Temperature",
    "openings": "Openings",
    "sealed-days": "Shut for",
    "first-turned": "The card when it was shut",
    "first-unturned": "The card when it was shut",
    "turned": "The card now",
    "unturned": "The card now",
}
DEFAULTS = {
    "film": "ldpe_100",
    "width-cm": "30",
    "length-cm": "40",
    "closure": Closure.WELDED.value,
    "air-l": "0.5",
    "desiccant": "silica_gel_orange",
    "dry-g": "50",
    "state": ChargeState.FRESH.value,
    "loading-pct": "",
    "material": "petg",
    "contents": Contents.DRIED.value,
    "net-g": "1000",
    "air": BagAir.STEADY.value,
    "rh": "50",
    "temperature": "23",
    "openings": "0",
    "sealed-days": "0",
    "first-turned": "",
    "first-unturned": "",
    "turned": "",
    "unturned": "",
}
_CARD = ("sealed-days", "first-turned", "first-unturned", "turned", "unturned")
_SPOT = "1 to 95 %RH, the figure beside the spot"
_MOST_TEXT = 40  # of what is shown again


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """The form as it is shown again: what was entered, and what is wrong with it."""

    values: Mapping[str, str]
    films: tuple[Choice, ...]
    closures: tuple[Choice, ...]
    desiccants: tuple[Choice, ...]
    states: tuple[Choice, ...]
    materials: tuple[Choice, ...]
    contents: tuple[Choice, ...]
    own_air: Choice
    rooms: tuple[tuple[str, tuple[Choice, ...]], ...]
    wrong: str | None
    fault: str | None
    has_card: bool


def read(args: Mapping[str, str]) -> BagWish:
    """The question in a query string; FieldError names the field and what is allowed."""
    air, _, room = (given(args, "air") or DEFAULTS["air"]).partition(":")
    among("air", air, tuple(BagAir))
    is_own = BagAir(air) is BagAir.STEADY
    state = ChargeState(one_of(args, "state", DEFAULTS["state"], tuple(ChargeState)))
    is_loaded = state is ChargeState.LOADED
    return BagWish(
        film=given(args, "film") or DEFAULTS["film"],
        width_cm=needed(args, "width-cm", "5 to 150 cm"),
        length_cm=needed(args, "length-cm", "5 to 150 cm"),
        closure=Closure(one_of(args, "closure", DEFAULTS["closure"], tuple(Closure))),
        air_l=_or_usual(args, "air-l", "0 to 100 l"),
        desiccant=given(args, "desiccant") or DEFAULTS["desiccant"],
        dry_g=needed(args, "dry-g", "1 to 5000 g"),
        state=state,
        loading_pct=needed(args, "loading-pct", "0 to 200 %") if is_loaded else None,
        material=given(args, "material") or DEFAULTS["material"],
        contents=Contents(one_of(args, "contents", DEFAULTS["contents"], tuple(Contents))),
        net_g=_or_usual(args, "net-g", "10 to 50000 g"),
        air=BagAir(air),
        room=None if is_own else room,
        humidity_pct=needed(args, "rh", "1 to 100 %RH") if is_own else None,
        temperature_c=_or_usual(args, "temperature", "0 to 40 °C") if is_own else None,
        openings_week=_or_usual(args, "openings", "0 to 100 a week"),
        sealed_days=_or_usual(args, "sealed-days", "0 to 3650 days"),
        first_card=_card(args, "first-turned", "first-unturned"),
        card=_card(args, "turned", "unturned"),
    )


def form_of(queries: Queries, args: Mapping[str, str], error: FieldError | None) -> Form:
    """The form with what was entered, kept as it was typed."""
    values = {name: args.get(name, default)[:_MOST_TEXT] for name, default in DEFAULTS.items()}
    library = queries.library()
    materials = sorted(library.materials.values(), key=lambda m: (m.key == "unknown", m.name.lower()))
    return Form(
        values=values,
        films=choices([(film.key, film.name) for film in load_enclosures().films.values()], values["film"]),
        closures=choices([("welded", "welded by heat"), ("zip", "zip, pressed shut")], values["closure"]),
        desiccants=choices(
            [(kind.key, kind.name) for kind in library.desiccants.values()], values["desiccant"]
        ),
        states=choices(
            [("fresh", "fresh from the oven or a shut tin"), ("loaded", "holding some water already")],
            values["state"],
        ),
        materials=choices([(m.key, m.name) for m in materials], values["material"]),
        contents=choices(
            [("dried", "dried just before"), ("room", "as moist as this air")], values["contents"]
        ),
        own_air=Choice(
            value=BagAir.STEADY.value, words="these figures", is_chosen=values["air"] == BagAir.STEADY.value
        ),
        rooms=_rooms(queries, values["air"]),
        wrong=None if error is None else error.field,
        fault=None if error is None else fault_in_words(error, LABELS),
        has_card=any(values[name] != DEFAULTS[name] for name in _CARD),
    )


def _or_usual(args: Mapping[str, str], name: str, allowed: str) -> float:
    value = number(args, name, allowed)
    return float(DEFAULTS[name]) if value is None else value


def _card(args: Mapping[str, str], turned: str, unturned: str) -> CardReading | None:
    """Both fields empty: nobody looked."""
    low, high = number(args, turned, _SPOT), number(args, unturned, _SPOT)
    return None if low is None and high is None else CardReading(turned_pct=low, unturned_pct=high)


def _rooms(queries: Queries, chosen: str) -> tuple[tuple[str, tuple[Choice, ...]], ...]:
    return tuple(
        (
            room.name,
            choices(
                [
                    (f"{BagAir.MONTH}:{room.key}", f"The last 30 days of {room.name}"),
                    (f"{BagAir.NOW}:{room.key}", f"{room.name} as it is now"),
                ],
                chosen,
            ),
        )
        for room in queries.inventory().rooms.values()
    )
