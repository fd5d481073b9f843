"""The advice on a room in the OpenAPI document: its parameters and its answer."""

from typing import Any

from monitor.model.room_air import Airing, Basis

_NUMBER = {"type": "number"}
_PERHAPS = {"type": ["number", "null"]}
_TEXT = {"type": "string"}
_FLAG = {"type": "boolean"}
_WHOLE = {"type": "integer"}


def _object(members: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    required = [name for name in members if name not in optional]
    return {"type": "object", "required": required, "properties": members}


def _perhaps(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


def _list(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


def _parameter(name: str, text: str) -> dict[str, Any]:
    return {"name": name, "in": "query", "description": text, "required": False, "schema": _NUMBER}


_HOUR = _object(
    {
        "hour": _WHOLE,
        "days": _WHOLE,
        "vapour_g_m3": {"$ref": "#/components/schemas/Spread"},
        "opening_g": _NUMBER,
    }
)
_MONTH = _object(
    {
        "month": _TEXT,
        "days": _WHOLE,
        "vapour_g_m3": _NUMBER,
        "dew_point_c": _PERHAPS,
        "humidity_pct": _NUMBER,
        "temperature_c": _NUMBER,
    }
)
_DAY = _object(
    {
        "days": _WHOLE,
        "hours": _list(_HOUR),
        "driest": _HOUR,
        "dampest": _HOUR,
        "swing_g_m3": _NUMBER,
        "worth_waiting": _FLAG,
        "box_volume_l": _NUMBER,
        "volume_is_assumed": _FLAG,
        "charge_g": _PERHAPS,
        "advice": _TEXT,
    }
)
_SEASON = _object(
    {"months": _list(_MONTH), "driest": _MONTH, "dampest": _MONTH, "ratio": _NUMBER, "is_whole_year": _FLAG}
)
_AIRING = _object(
    {
        "outside_c": _NUMBER,
        "outside_pct": _NUMBER,
        "inside_pct": _NUMBER,
        "vapour_g_m3": _NUMBER,
        "dew_point_c": _PERHAPS,
        "room_pct": _NUMBER,
        "verdict": {"enum": [verdict.value for verdict in Airing]},
        "least_change_pct": _NUMBER,
        "advice": _TEXT,
    }
)
_MEASURE = _object(
    {
        "target_pct": _NUMBER,
        "target_hours": _NUMBER,
        "vapour_g_m3": _NUMBER,
        "leak_share": _NUMBER,
        "boxes": _list(
            _object(
                {
                    "key": _TEXT,
                    "name": _TEXT,
                    "leak_share": _PERHAPS,
                    "leak_share_why": _TEXT,
                    "leak_g_day": _PERHAPS,
                    "leak_g_day_why": _TEXT,
                    "leak_then_g_day": _PERHAPS,
                },
                ("leak_share_why", "leak_g_day_why"),
            )
        ),
        "advice": _TEXT,
    }
)
SCHEMA = _object(
    {
        "key": _TEXT,
        "name": _TEXT,
        "at": _TEXT,
        "usual": _object(
            {
                "basis": {"enum": [basis.value for basis in Basis]},
                "temperature_c": _NUMBER,
                "humidity_pct": _NUMBER,
                "vapour_g_m3": _NUMBER,
                "words": _TEXT,
            }
        ),
        "warmed_c": _NUMBER,
        "warmed_pct": _NUMBER,
        "cool_c": _NUMBER,
        "cool_pct": _NUMBER,
        "cool_carried_c": _NUMBER,
        "cool_carried_pct": _NUMBER,
        "day": _perhaps(_DAY),
        "day_why": _TEXT,
        "season": _perhaps(_SEASON),
        "season_why": _TEXT,
        "airing": _perhaps(_AIRING),
        "airing_why": _TEXT,
        "measure": _perhaps(_MEASURE),
        "measure_why": _TEXT,
        "missing": _list(_TEXT),
    },
    ("day_why", "season_why", "airing_why", "measure_why"),
)
PARAMETERS = (
    _parameter("outside-temperature", "Of the air outside [°C], -40 to 50; with outside-rh."),
    _parameter("outside-rh", "Of the air outside [%RH], 1 to 100; with outside-temperature."),
    _parameter("target-rh", "Humidity to hold in the room [%RH], 20 to 80."),
    _parameter("target-hours", "For how many hours of each day [h], 1 to 24; 24 if left out."),
)
