"""The what-if of the API: its parameters and its answer, for the OpenAPI document."""

from typing import Any

from monitor.model.what_if import Start
from monitor.service.advice import AirKind
from web.openapi_parts import NUMBER, TEXT, array_of, object_of, query, ref
from web.what_if.form import PERCENTAGE

_FIGURE = {"type": "number"}
_TEXT = {"type": "string"}
_SPREAD = ref("Spread")


def _list(members: tuple[str, ...]) -> dict[str, Any]:
    return array_of(object_of(dict.fromkeys(members, _FIGURE)))


_DRYING = {
    "temperature_c": _FIGURE,
    "limited_by": _TEXT,
    "humidity_pct": _FIGURE,
    "floor_pct": _FIGURE,
    "target_pct": NUMBER,
    "reaches_limit": {"type": "boolean"},
    "makes_wetter": {"type": "boolean"},
    "hours": _SPREAD,
    "settles_h": _SPREAD,
    "why": _TEXT,
    "remedies": array_of(_TEXT),
}
SCHEMA = object_of(
    {
        "moisture_pct": _SPREAD,
        "outer_pct": _SPREAD,
        "equilibrium_pct": _FIGURE,
        "limit_pct": _FIGURE,
        "looser_limit_pct": NUMBER,
        "start_pct": _SPREAD,
        "over_limit_after_h": _SPREAD,
        "outer_over_limit_after_h": _SPREAD,
        "air_taken": object_of(
            {
                "hours": _FIGURE,
                "humidity_pct": _FIGURE,
                "temperature_c": _FIGURE,
                "bridged_h": _FIGURE,
                "note": TEXT,
            }
        ),
        "curve": _list(("h", "mean_pct", "outer_pct", "inner_pct")),
        "band": _list(("h", "mean_p10_pct", "mean_p90_pct", "outer_p10_pct", "outer_p90_pct")),
        "night_outside": object_of(
            {"hours": _FIGURE, "gain_pct": _SPREAD, "gain_g": _SPREAD, "lost_m": _SPREAD, "length_m": _FIGURE}
        ),
        "drying": object_of(_DRYING, ("why",)),
        "cautions": array_of(_TEXT),
    }
)
PARAMETERS = (
    query("material", "Key of the catalogue.", _TEXT, required=True),
    query("reel", "Key of the catalogue; left out, the weakest is assumed.", _TEXT),
    query("net-g", "Filament [g], 10 to 50000; 1000 if left out.", _FIGURE),
    query("diameter-mm", "Of the filament [mm], 1 to 4; 1.75 if left out.", _FIGURE),
    query("form", "Wound, or loose.", {"enum": ["spool", "strand"]}),
    query("flanges", "Of the reel.", {"enum": ["closed", "open"]}),
    query("start", "How wet at first.", {"enum": [*(start.value for start in Start), PERCENTAGE]}),
    query("start-pct", "Water at first [%], with start=pct or with none.", _FIGURE),
    query(
        "air",
        f"Where the air comes from: {AirKind.STEADY} (rh, temperature, hours), or of a room of the inventory "
        f"{AirKind.NOW}:ROOM (with hours), {AirKind.WEEK}:ROOM, {AirKind.WEEKEND}:ROOM.",
        _TEXT,
    ),
    query("rh", "Relative humidity [%], 0 to 100.", _FIGURE),
    query("temperature", "Of the air [°C], from 0; 23 if left out.", _FIGURE),
    query("hours", "How long [h], 0.01 to 20000.", _FIGURE),
)
