"""The advice on a room in the OpenAPI document: its parameters and its answer."""

from monitor.model.room_air import Airing, Basis
from web.openapi_parts import NUMBER, array_of, object_of, or_null, query, ref

_FIGURE = {"type": "number"}
_TEXT = {"type": "string"}
_FLAG = {"type": "boolean"}
_WHOLE = {"type": "integer"}


_HOUR = object_of(
    {
        "hour": _WHOLE,
        "days": _WHOLE,
        "vapour_g_m3": ref("Spread"),
        "opening_g": _FIGURE,
    }
)
_MONTH = object_of(
    {
        "month": _TEXT,
        "days": _WHOLE,
        "vapour_g_m3": _FIGURE,
        "dew_point_c": NUMBER,
        "humidity_pct": _FIGURE,
        "temperature_c": _FIGURE,
    }
)
_DAY = object_of(
    {
        "days": _WHOLE,
        "hours": array_of(_HOUR),
        "driest": _HOUR,
        "dampest": _HOUR,
        "swing_g_m3": _FIGURE,
        "worth_waiting": _FLAG,
        "box_volume_l": _FIGURE,
        "volume_is_assumed": _FLAG,
        "charge_g": NUMBER,
        "advice": _TEXT,
    }
)
_SEASON = object_of(
    {
        "months": array_of(_MONTH),
        "driest": _MONTH,
        "dampest": _MONTH,
        "ratio": _FIGURE,
        "is_whole_year": _FLAG,
    }
)
_AIRING = object_of(
    {
        "outside_c": _FIGURE,
        "outside_pct": _FIGURE,
        "inside_pct": _FIGURE,
        "vapour_g_m3": _FIGURE,
        "dew_point_c": NUMBER,
        "room_pct": _FIGURE,
        "verdict": {"enum": [verdict.value for verdict in Airing]},
        "least_change_pct": _FIGURE,
        "advice": _TEXT,
    }
)
_MEASURE = object_of(
    {
        "target_pct": _FIGURE,
        "target_hours": _FIGURE,
        "vapour_g_m3": _FIGURE,
        "leak_share": _FIGURE,
        "boxes": array_of(
            object_of(
                {
                    "key": _TEXT,
                    "name": _TEXT,
                    "leak_share": NUMBER,
                    "leak_share_why": _TEXT,
                    "leak_g_day": NUMBER,
                    "leak_g_day_why": _TEXT,
                    "leak_then_g_day": NUMBER,
                },
                ("leak_share_why", "leak_g_day_why"),
            )
        ),
        "advice": _TEXT,
    }
)
SCHEMA = object_of(
    {
        "key": _TEXT,
        "name": _TEXT,
        "at": _TEXT,
        "usual": object_of(
            {
                "basis": {"enum": [basis.value for basis in Basis]},
                "temperature_c": _FIGURE,
                "humidity_pct": _FIGURE,
                "vapour_g_m3": _FIGURE,
                "words": _TEXT,
            }
        ),
        "warmed_c": _FIGURE,
        "warmed_pct": _FIGURE,
        "cool_c": _FIGURE,
        "cool_pct": _FIGURE,
        "cool_carried_c": _FIGURE,
        "cool_carried_pct": _FIGURE,
        "day": or_null(_DAY),
        "day_why": _TEXT,
        "season": or_null(_SEASON),
        "season_why": _TEXT,
        "airing": or_null(_AIRING),
        "airing_why": _TEXT,
        "measure": or_null(_MEASURE),
        "measure_why": _TEXT,
        "missing": array_of(_TEXT),
    },
    ("day_why", "season_why", "airing_why", "measure_why"),
)
PARAMETERS = (
    query("outside-temperature", "Of the air outside [°C], -40 to 50; with outside-rh.", _FIGURE),
    query("outside-rh", "Of the air outside [%RH], 1 to 100; with outside-temperature.", _FIGURE),
    query("target-rh", "Humidity to hold in the room [%RH], 20 to 80.", _FIGURE),
    query("target-hours", "For how many hours of each day [h], 1 to 24; 24 if left out.", _FIGURE),
)
