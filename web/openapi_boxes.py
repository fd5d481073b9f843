"""The part of the OpenAPI document that says what a box answers."""

from typing import Any

from web.openapi_parts import AIR, KEY, NAMED, NUMBER, TEXT, list_of, object_of, or_null, ref

_TOLD = or_null(ref("Spread"))
_QUESTIONS = ("desiccant_changed", "contents_changed")

SCHEMAS: dict[str, Any] = {
    "Box": object_of(
        NAMED
        | {"room": KEY}
        | AIR
        | {
            "limit_humidity_pct": NUMBER,
            "limit_material": TEXT,
            "desiccant": or_null(ref("Desiccant")),
            "tightness": object_of({"air_changes_per_h": ref("Spread"), "water_g_per_day": ref("Spread")}),
            "lid_openings_7d": {"type": ["integer", "null"]},
            "diagnosis": {
                "type": "array",
                "items": object_of(
                    {
                        "cause": {"type": "string"},
                        "probability": {"type": "number"},
                        "advice": {"type": "string"},
                        "evidence": {"type": "string"},
                    }
                ),
            },
            "spools": {"type": "array", "items": KEY},
            "estimate_at": TEXT,
            "missing": {"type": "array", "items": {"type": "string"}},
            "questions": {
                "type": "array",
                "items": object_of(
                    {
                        "at": {"type": "string"},
                        "kind": {"enum": list(_QUESTIONS)},
                        "words": {"type": "string"},
                    }
                ),
            },
            "lid_open_since": TEXT,
        }
    ),
    "Desiccant": object_of(
        {
            "kind": {"type": "string"},
            "dry_g": {"type": "number"},
            "loading_pct": ref("Spread"),
            "used": ref("Spread"),
            "water_g": ref("Spread"),
            "spent": {"type": ["boolean", "null"]},
            "days_left": ref("Spread"),
            "filled": TEXT,
            "regenerated": {"type": "boolean"},
            "tells_by": {"enum": ["humidity", "water let in", None]},
            "settled_pct": _TOLD,
            "days_left_season": _TOLD,
            "spent_since": TEXT,
            "fill_g_30_days": _TOLD,
            "fill_g_90_days": _TOLD,
            "opening_g": NUMBER,
            "opening_days": NUMBER,
            "colour": TEXT,
            "danger": TEXT,
        }
    ),
    "BoxCourse": object_of(
        {
            "past": list_of("BoxPoint"),
            "ahead": list_of("BoxPoint"),
            "marks": {
                "type": "array",
                "items": object_of(
                    {
                        "at": {"type": "string"},
                        "kind": {"type": "string"},
                        "words": {"type": "string"},
                        "is_told": {"type": "boolean"},
                        "event_id": {"type": ["integer", "null"]},
                    }
                ),
            },
            "limit_loading_pct": NUMBER,
        }
    ),
    "BoxPoint": object_of({"at": {"type": "string"}, "loading_pct": ref("Spread"), "humidity_pct": _TOLD}),
}
