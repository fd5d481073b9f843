"""A bag in the OpenAPI document: its parameters and its answer."""

from monitor.model.bag import BagAir, ChargeState, Closure, Contents, Leaked
from web.openapi_parts import NUMBER, TEXT, array_of, object_of, or_null, query

_FIGURE = {"type": "number"}
_TEXT = {"type": "string"}
_WHY = ("days_worst", "days_usual", "grams_6_months", "grams_12_months", "check_by", "renew_by")


_CARD = object_of(
    {
        "low_pct": _FIGURE,
        "high_pct": _FIGURE,
        "most_explained_pct": _FIGURE,
        "open_seam_pct": _FIGURE,
        "leaked": {"enum": [leaked.value for leaked in Leaked]},
        "leaked_why": _TEXT,
    }
)
SCHEMA = object_of(
    {
        "limit_humidity_pct": _FIGURE,
        "room_humidity_pct": _FIGURE,
        "temperature_c": _FIGURE,
        "needs_desiccant": {"type": "boolean"},
        "days_worst": NUMBER,
        "days_usual": NUMBER,
        "film_g_day_worst": _FIGURE,
        "film_g_day_usual": _FIGURE,
        "opening_g_worst": _FIGURE,
        "contents_g": _FIGURE,
        "capacity_g_worst": _FIGURE,
        "capacity_g_usual": _FIGURE,
        "grams_6_months": NUMBER,
        "grams_12_months": NUMBER,
        "check_by": TEXT,
        "renew_by": TEXT,
        "card": or_null(_CARD),
        "cautions": array_of(_TEXT),
    }
    | {f"{name}_why": _TEXT for name in _WHY},
    tuple(f"{name}_why" for name in _WHY),
)
PARAMETERS = (
    query("film", "Key of the films in enclosures.toml; ldpe_100 if left out.", _TEXT),
    query("width-cm", "Of the flat bag [cm], 5 to 150.", _FIGURE, required=True),
    query("length-cm", "Of the flat bag [cm], 5 to 150.", _FIGURE, required=True),
    query("closure", "How it is shut.", {"enum": [closure.value for closure in Closure]}),
    query("air-l", "Air left in it [l]; 0.5 if left out.", _FIGURE),
    query("desiccant", "Key of the catalogue; silica_gel_orange if left out.", _TEXT),
    query("dry-g", "Desiccant, dry [g], 1 to 5000.", _FIGURE, required=True),
    query("state", "Of the desiccant.", {"enum": [state.value for state in ChargeState]}),
    query("loading-pct", "Water per dry desiccant [%], with state=loaded.", _FIGURE),
    query("material", "Key of the catalogue; petg if left out.", _TEXT),
    query("contents", "How wet the filament is.", {"enum": [contents.value for contents in Contents]}),
    query("net-g", "Filament [g]; 1000 if left out.", _FIGURE),
    query(
        "air",
        f"{BagAir.STEADY} (rh, temperature), or of a room of the inventory {BagAir.NOW}:ROOM, "
        f"{BagAir.MONTH}:ROOM.",
        _TEXT,
    ),
    query("rh", "Relative humidity round the bag [%], 1 to 100.", _FIGURE),
    query("temperature", "Round the bag [°C], 0 to 40; 23 if left out.", _FIGURE),
    query("openings", "A week, 0 to 100; none if left out.", _FIGURE),
    query("sealed-days", "Since it was shut [days]; 0 if left out.", _FIGURE),
    query("first-turned", "Highest spot of the card that had turned when it was shut [%RH].", _FIGURE),
    query("first-unturned", "Lowest spot that had not [%RH].", _FIGURE),
    query("turned", "Highest spot of the card that has turned now [%RH].", _FIGURE),
    query("unturned", "Lowest spot that has not [%RH].", _FIGURE),
)
