"""A bag in the OpenAPI document: its parameters and its answer."""

from typing import Any

from monitor.model.bag import BagAir, ChargeState, Closure, Contents, Leaked

_NUMBER = {"type": "number"}
_PERHAPS = {"type": ["number", "null"]}
_TEXT = {"type": "string"}
_DATE = {"type": ["string", "null"]}
_WHY = ("days_worst", "days_usual", "grams_6_months", "grams_12_months", "check_by", "renew_by")


def _object(members: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    required = [name for name in members if name not in optional]
    return {"type": "object", "required": required, "properties": members}


def _parameter(name: str, text: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {"name": name, "in": "query", "description": text, "required": required, "schema": schema}


_CARD = _object(
    {
        "low_pct": _NUMBER,
        "high_pct": _NUMBER,
        "most_explained_pct": _NUMBER,
        "open_seam_pct": _NUMBER,
        "leaked": {"enum": [leaked.value for leaked in Leaked]},
        "leaked_why": _TEXT,
    }
)
SCHEMA = _object(
    {
        "limit_humidity_pct": _NUMBER,
        "room_humidity_pct": _NUMBER,
        "temperature_c": _NUMBER,
        "needs_desiccant": {"type": "boolean"},
        "days_worst": _PERHAPS,
        "days_usual": _PERHAPS,
        "film_g_day_worst": _NUMBER,
        "film_g_day_usual": _NUMBER,
        "opening_g_worst": _NUMBER,
        "contents_g": _NUMBER,
        "capacity_g_worst": _NUMBER,
        "capacity_g_usual": _NUMBER,
        "grams_6_months": _PERHAPS,
        "grams_12_months": _PERHAPS,
        "check_by": _DATE,
        "renew_by": _DATE,
        "card": {"anyOf": [_CARD, {"type": "null"}]},
        "cautions": {"type": "array", "items": _TEXT},
    }
    | {f"{name}_why": _TEXT for name in _WHY},
    tuple(f"{name}_why" for name in _WHY),
)
PARAMETERS = (
    _parameter("film", "Key of the films in enclosures.toml; ldpe_100 if left out.", _TEXT),
    _parameter("width-cm", "Of the flat bag [cm], 5 to 150.", _NUMBER, required=True),
    _parameter("length-cm", "Of the flat bag [cm], 5 to 150.", _NUMBER, required=True),
    _parameter("closure", "How it is shut.", {"enum": [closure.value for closure in Closure]}),
    _parameter("air-l", "Air left in it [l]; 0.5 if left out.", _NUMBER),
    _parameter("desiccant", "Key of the catalogue; silica_gel_orange if left out.", _TEXT),
    _parameter("dry-g", "Desiccant, dry [g], 1 to 5000.", _NUMBER, required=True),
    _parameter("state", "Of the desiccant.", {"enum": [state.value for state in ChargeState]}),
    _parameter("loading-pct", "Water per dry desiccant [%], with state=loaded.", _NUMBER),
    _parameter("material", "Key of the catalogue; petg if left out.", _TEXT),
    _parameter("contents", "How wet the filament is.", {"enum": [contents.value for contents in Contents]}),
    _parameter("net-g", "Filament [g]; 1000 if left out.", _NUMBER),
    _parameter(
        "air",
        f"{BagAir.STEADY} (rh, temperature), or of a room of the inventory {BagAir.NOW}:ROOM, "
        f"{BagAir.MONTH}:ROOM.",
        _TEXT,
    ),
    _parameter("rh", "Relative humidity round the bag [%], 1 to 100.", _NUMBER),
    _parameter("temperature", "Round the bag [°C], 0 to 40; 23 if left out.", _NUMBER),
    _parameter("openings", "A week, 0 to 100; none if left out.", _NUMBER),
    _parameter("sealed-days", "Since it was shut [days]; 0 if left out.", _NUMBER),
    _parameter("first-turned", "Highest spot of the card that had turned when it was shut [%RH].", _NUMBER),
    _parameter("first-unturned", "Lowest spot that had not [%RH].", _NUMBER),
    _parameter("turned", "Highest spot of the card that has turned now [%RH].", _NUMBER),
    _parameter("unturned", "Lowest spot that has not [%RH].", _NUMBER),
)
