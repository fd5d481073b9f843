"""The OpenAPI 3.1 document of the API."""

from typing import Any

from monitor import __version__
from web import openapi_events
from web.sign_in import schema as sign_in
from web.what_if import schema as what_if

_NUMBER = {"type": ["number", "null"]}
_TEXT = {"type": ["string", "null"]}
_SPREAD = {
    "type": "object",
    "required": ["p10", "p50", "p90"],
    "properties": {"p10": _NUMBER, "p50": _NUMBER, "p90": _NUMBER, "why": {"type": "string"}},
}
_FRESHNESS = {"enum": ["fresh", "late", "stale", "lost", "never"]}
_AIR = {
    "at": _TEXT,
    "temperature_c": _NUMBER,
    "humidity_pct": _NUMBER,
    "dew_point_c": _NUMBER,
    "vapour_g_m3": _NUMBER,
    "age_s": _NUMBER,
    "stale": {"type": "boolean"},
    "freshness": _FRESHNESS,
    "due_s": _NUMBER,
    "suspect": _TEXT,
    "humidity_change_pct": _NUMBER,
    "dew_point_change_c": _NUMBER,
}


def _object(members: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    required = [name for name in members if name not in optional]
    return {"type": "object", "required": required, "properties": members}


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _list(name: str) -> dict[str, Any]:
    return {"type": "array", "items": _ref(name)}


_KEY = {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]{0,62}$"}
_NAMED = {"key": _KEY, "name": {"type": "string"}}
_SCHEMAS: dict[str, Any] = {
    "Spread": _SPREAD,
    "Room": _object(_NAMED | _AIR),
    "Box": _object(
        _NAMED
        | {"room": _KEY}
        | _AIR
        | {
            "limit_humidity_pct": _NUMBER,
            "limit_material": _TEXT,
            "desiccant": {"anyOf": [_ref("Desiccant"), {"type": "null"}]},
            "tightness": _object({"air_changes_per_h": _ref("Spread"), "water_g_per_day": _ref("Spread")}),
            "lid_openings_7d": {"type": ["integer", "null"]},
            "diagnosis": {
                "type": "array",
                "items": _object(
                    {
                        "cause": {"type": "string"},
                        "probability": {"type": "number"},
                        "advice": {"type": "string"},
                    }
                ),
            },
            "spools": {"type": "array", "items": _KEY},
        }
    ),
    "Desiccant": _object(
        {
            "kind": {"type": "string"},
            "dry_g": {"type": "number"},
            "loading_pct": _ref("Spread"),
            "used": _ref("Spread"),
            "water_g": _ref("Spread"),
            "spent": {"type": ["boolean", "null"]},
            "days_left": _ref("Spread"),
        }
    ),
    "Spool": _object(
        _NAMED
        | {
            "material": {"type": "string"},
            "place": _TEXT,
            "moisture_pct": _ref("Spread"),
            "outer_pct": _ref("Spread"),
            "limit_pct": _NUMBER,
            "heading_for_pct": _NUMBER,
            "length_m": _NUMBER,
            "dry_length_m": _ref("Spread"),
            "verdict": {"enum": ["ready", "dry_first", "not_sure", "damaged"]},
            "use_before": _TEXT,
            "exposure_h": _NUMBER,
            "profile": {"type": "array", "items": _object({"depth_m": _NUMBER, "moisture_pct": _NUMBER})},
            "looser_limit_pct": _NUMBER,
            "water_g": {"anyOf": [_ref("Spread"), {"type": "null"}]},
            "left_g": _NUMBER,
            "trend": {"enum": ["run", "pause", "recover", "sealed", None]},
            "reasons": {"type": "object", "additionalProperties": {"type": "string"}},
            "account": {"type": ["object", "null"]},
        }
    ),
    "Oven": _object(
        _NAMED
        | {
            "at": _TEXT,
            "chamber_c": _NUMBER,
            "setpoint_c": _NUMBER,
            "ceiling_c": _NUMBER,
            "state": _TEXT,
            "cycle": _TEXT,
            "left_s": _NUMBER,
            "water_left_g": _ref("Spread"),
            "trip": {"type": ["object", "null"]},
            "age_s": _NUMBER,
            "stale": {"type": "boolean"},
            "freshness": _FRESHNESS,
            "hot": {"type": ["boolean", "null"]},
        }
    ),
    "Alarm": _object({"key": {"type": "string"}, "type": {"type": "string"}, "place": {"type": "string"}}),
    "Need": _object(
        {
            "place": {"type": "string"},
            "level": {"enum": ["now", "soon", "check"]},
            "what": {"type": "string"},
            "act": {"type": "string"},
        }
    ),
    "Health": _object(
        {
            "ok": {"type": "boolean"},
            "reasons": {"type": "array", "items": {"type": "string"}},
            "broker": {"enum": ["connected", "away", "not used"]},
            "broker_kind": _TEXT,
            "newest_reading": _TEXT,
            "readings": {"type": "integer"},
            "packs": {"type": "integer"},
            "duplicates": {"type": "integer"},
            "quarantined": {"type": "integer"},
            "unplaced_channels": {"type": "array", "items": {"type": "string"}},
            "history_share": _NUMBER,
        }
    ),
    "Status": _object(
        {
            "at": {"type": "string"},
            "site": _KEY,
            "boxes": _list("Box"),
            "rooms": _list("Room"),
            "spools": _list("Spool"),
            "ovens": _list("Oven"),
            "alarms": _list("Alarm"),
            "needs": _list("Need"),
            "health": _ref("Health"),
        }
    ),
    "Series": _object(
        {
            "place": _KEY,
            "quantity": {"type": "string"},
            "unit": {"type": "string"},
            "span_s": {"type": "integer"},
            "points": {
                "type": "array",
                "items": _object(
                    {
                        "start_s": {"type": "number"},
                        "lowest": _NUMBER,
                        "mean": _NUMBER,
                        "highest": _NUMBER,
                        "covered": {"type": "number", "minimum": 0, "maximum": 1},
                    }
                ),
            },
        }
    ),
    "SpoolEvent": openapi_events.EVENT,
    "SpoolRecord": openapi_events.RECORD,
    "WhatIf": what_if.SCHEMA,
    "Session": sign_in.SCHEMA,
    "Problem": _object(
        {
            "type": {"type": "string"},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "detail": {"type": "string"},
        }
    ),
}


def _operation(
    text: str, schema: dict[str, Any], parameters: tuple[dict[str, Any], ...] = ()
) -> dict[str, Any]:
    problem = {"application/problem+json": {"schema": _ref("Problem")}}
    answers = {
        "200": {"description": text, "content": {"application/json": {"schema": schema}}},
        "default": {"description": "What went wrong.", "content": problem},
    }
    operation: dict[str, Any] = {"summary": text, "responses": answers}
    if parameters:
        operation["parameters"] = list(parameters)
    return {"get": operation}


def _path_key(name: str) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}


def _query(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": True, "schema": schema}


def _paths() -> dict[str, Any]:
    paths = {"/api/v1/status": _operation("The whole site as of now.", _ref("Status"))}
    for kind, name in (
        ("boxes", "Box"),
        ("rooms", "Room"),
        ("spools", "Spool"),
        ("ovens", "Oven"),
        ("alarms", "Alarm"),
    ):
        paths[f"/api/v1/{kind}"] = _operation(f"All {kind}.", _list(name))
        paths[f"/api/v1/{kind}/{{key}}"] = _operation(f"One of the {kind}.", _ref(name), (_path_key("key"),))
    paths["/api/v1/series/{place}/{quantity}"] = _operation(
        "A quantity of a place over time, from the roll-ups.",
        _ref("Series"),
        (
            _path_key("place"),
            _path_key("quantity"),
            _query("from", {"type": "number"}),
            _query("to", {"type": "number"}),
            _query("span", {"enum": [300, 3600, 86400]}),
        ),
    )
    problem = paths["/api/v1/status"]["get"]["responses"]["default"]
    paths["/api/v1/spools/{key}/events"] = openapi_events.operations(problem, _path_key("key"))
    paths["/api/v1/session"] = sign_in.operations(problem)
    paths["/api/v1/what-if"] = _operation(
        "What becomes of a material in some air, and what drying it takes.",
        _ref("WhatIf"),
        what_if.PARAMETERS,
    )
    return paths


DOCUMENT: dict[str, Any] = {
    "openapi": "3.1.0",
    "info": {
        "title": "sorbwatch",
        "version": __version__,
        "description": "How much water is in the filament, box by box and spool by spool.",
    },
    "paths": _paths(),
    "components": {"schemas": _SCHEMAS, "securitySchemes": sign_in.SECURITY},
}
