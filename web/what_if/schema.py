"""The what-if of the API: its parameters and its answer, for the OpenAPI document."""

from typing import Any

from monitor.model.what_if import Start
from monitor.service.advice import AirKind
from web.what_if.form import PERCENTAGE

_NUMBER = {"type": "number"}
_PERHAPS = {"type": ["number", "null"]}
_TEXT = {"type": "string"}
_SPREAD = {"$ref": "#/components/schemas/Spread"}


def _object(members: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "type": "object",
        "required": [name for name in members if name not in optional],
        "properties": members,
    }


def _list(members: tuple[str, ...]) -> dict[str, Any]:
    return {"type": "array", "items": _object(dict.fromkeys(members, _NUMBER))}


def _parameter(name: str, text: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    return {"name": name, "in": "query", "description": text, "required": required, "schema": schema}


_DRYING = {
    "temperature_c": _NUMBER,
    "limited_by": _TEXT,
    "humidity_pct": _NUMBER,
    "floor_pct": _NUMBER,
    "target_pct": _PERHAPS,
    "reaches_limit": {"type": "boolean"},
    "makes_wetter": {"type": "boolean"},
    "hours": _SPREAD,
    "settles_h": _SPREAD,
    "why": _TEXT,
    "remedies": {"type": "array", "items": _TEXT},
}
SCHEMA = _object(
    {
        "moisture_pct": _SPREAD,
        "outer_pct": _SPREAD,
        "equilibrium_pct": _NUMBER,
        "limit_pct": _NUMBER,
        "looser_limit_pct": _PERHAPS,
        "start_pct": _SPREAD,
        "over_limit_after_h": _SPREAD,
        "outer_over_limit_after_h": _SPREAD,
        "air_taken": _object(
            {
                "hours": _NUMBER,
                "humidity_pct": _NUMBER,
                "temperature_c": _NUMBER,
                "bridged_h": _NUMBER,
                "note": {"type": ["string", "null"]},
            }
        ),
        "curve": _list(("h", "mean_pct", "outer_pct", "inner_pct")),
        "band": _list(("h", "mean_p10_pct", "mean_p90_pct", "outer_p10_pct", "outer_p90_pct")),
        "night_outside": _object(
            {"hours": _NUMBER, "gain_pct": _SPREAD, "gain_g": _SPREAD, "lost_m": _SPREAD, "length_m": _NUMBER}
        ),
        "drying": _object(_DRYING, ("why",)),
        "cautions": {"type": "array", "items": _TEXT},
    }
)
PARAMETERS = (
    _parameter("material", "Key of the catalogue.", _TEXT, required=True),
    _parameter("reel", "Key of the catalogue; left out, the weakest is assumed.", _TEXT),
    _parameter("net-g", "Filament [g], 10 to 50000; 1000 if left out.", _NUMBER),
    _parameter("diameter-mm", "Of the filament [mm], 1 to 4; 1.75 if left out.", _NUMBER),
    _parameter("form", "Wound, or loose.", {"enum": ["spool", "strand"]}),
    _parameter("flanges", "Of the reel.", {"enum": ["closed", "open"]}),
    _parameter("start", "How wet at first.", {"enum": [*(start.value for start in Start), PERCENTAGE]}),
    _parameter("start-pct", "Water at first [%], with start=pct or with none.", _NUMBER),
    _parameter(
        "air",
        f"Where the air comes from: {AirKind.STEADY} (rh, temperature, hours), or of a room of the inventory "
        f"{AirKind.NOW}:ROOM (with hours), {AirKind.WEEK}:ROOM, {AirKind.WEEKEND}:ROOM.",
        _TEXT,
    ),
    _parameter("rh", "Relative humidity [%], 0 to 100.", _NUMBER),
    _parameter("temperature", "Of the air [°C], from 0; 23 if left out.", _NUMBER),
    _parameter("hours", "How long [h], 0.01 to 20000.", _NUMBER),
)
