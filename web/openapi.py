"""The OpenAPI 3.1 document of the API."""

from typing import Any

from monitor import __version__
from web import (
    openapi_alarms,
    openapi_boxes,
    openapi_events,
    openapi_log,
    openapi_ovens,
    openapi_reports,
    openapi_sensors,
)
from web.bags import schema as bag
from web.openapi_parts import (
    AIR,
    FRESHNESS,
    KEY,
    NAMED,
    NUMBER,
    SPREAD,
    TEXT,
    json_answer,
    list_of,
    object_of,
    or_null,
    ref,
)
from web.rooms import schema as room_advice
from web.sign_in import schema as sign_in
from web.what_if import schema as what_if

_WORDS = {"type": "string"}
_SCHEMAS: dict[str, Any] = {
    "Spread": SPREAD,
    "Room": object_of(NAMED | AIR),
    **openapi_boxes.SCHEMAS,
    "Spool": object_of(
        NAMED
        | {
            "material": {"type": "string"},
            "place": TEXT,
            "moisture_pct": ref("Spread"),
            "outer_pct": ref("Spread"),
            "limit_pct": NUMBER,
            "heading_for_pct": NUMBER,
            "length_m": NUMBER,
            "dry_length_m": ref("Spread"),
            "verdict": {"enum": ["ready", "dry_first", "not_sure", "damaged"]},
            "use_before": TEXT,
            "exposure_h": NUMBER,
            "profile": {"type": "array", "items": object_of({"depth_m": NUMBER, "moisture_pct": NUMBER})},
            "looser_limit_pct": NUMBER,
            "water_g": or_null(ref("Spread")),
            "left_g": NUMBER,
            "trend": {"enum": ["run", "pause", "recover", "sealed", None]},
            "reasons": {"type": "object", "additionalProperties": {"type": "string"}},
            "account": {"type": ["object", "null"]},
        }
    ),
    "Oven": object_of(
        NAMED
        | {
            "at": TEXT,
            "chamber_c": NUMBER,
            "setpoint_c": NUMBER,
            "ceiling_c": NUMBER,
            "state": TEXT,
            "cycle": TEXT,
            "left_s": NUMBER,
            "water_left_g": ref("Spread"),
            "trip": {"type": ["object", "null"]},
            "age_s": NUMBER,
            "stale": {"type": "boolean"},
            "freshness": FRESHNESS,
            "hot": {"type": ["boolean", "null"]},
        }
    ),
    "Alarm": object_of(
        {
            **dict.fromkeys(("key", "type", "place", "since", "what", "why", "act", "activation"), _WORDS),
            "class": {"enum": ["process", "instrument", "system", "safety"]},
            "state": {"enum": ["norm", "unack", "acked", "rtnun", "latchd", "shlvd", "dsupr", "oosrv"]},
            "condition": {"type": ["boolean", "null"]},
            "priority": {"enum": ["notice", "low", "medium", "high", "safety"]},
            "deadline": TEXT,
        }
    ),
    "Need": object_of(
        {
            "place": {"type": "string"},
            "level": {"enum": ["now", "soon", "check"]},
            "what": {"type": "string"},
            "act": {"type": "string"},
        }
    ),
    "Health": object_of(
        {
            "ok": {"type": "boolean"},
            "reasons": {"type": "array", "items": {"type": "string"}},
            "broker": {"enum": ["connected", "away", "not used"]},
            "broker_kind": TEXT,
            "newest_reading": TEXT,
            "readings": {"type": "integer"},
            "packs": {"type": "integer"},
            "duplicates": {"type": "integer"},
            "quarantined": {"type": "integer"},
            "unplaced_channels": {"type": "array", "items": {"type": "string"}},
            "log_head": TEXT,
            "history_share": NUMBER,
        }
    ),
    "Status": object_of(
        {
            "at": {"type": "string"},
            "site": KEY,
            "boxes": list_of("Box"),
            "rooms": list_of("Room"),
            "spools": list_of("Spool"),
            "ovens": list_of("Oven"),
            "alarms": list_of("Alarm"),
            "needs": list_of("Need"),
            "health": ref("Health"),
        }
    ),
    "Series": object_of(
        {
            "place": KEY,
            "quantity": {"type": "string"},
            "unit": {"type": "string"},
            "span_s": {"type": "integer"},
            "points": {
                "type": "array",
                "items": object_of(
                    {
                        "start_s": {"type": "number"},
                        "lowest": NUMBER,
                        "mean": NUMBER,
                        "highest": NUMBER,
                        "covered": {"type": "number", "minimum": 0, "maximum": 1},
                    }
                ),
            },
        }
    ),
    **openapi_ovens.SCHEMAS,
    "SpoolEvent": openapi_events.SPOOL_EVENT,
    "SpoolRecord": openapi_events.SPOOL_RECORD,
    "BoxEvent": openapi_events.BOX_EVENT,
    "BoxRecord": openapi_events.BOX_RECORD,
    **openapi_sensors.SCHEMAS,
    **openapi_reports.SCHEMAS,
    **openapi_log.SCHEMAS,
    "WhatIf": what_if.SCHEMA,
    "Session": sign_in.SCHEMA,
    "RoomAdvice": room_advice.SCHEMA,
    "Bag": bag.SCHEMA,
    "Problem": object_of(
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
    problem = {"application/problem+json": {"schema": ref("Problem")}}
    answers = {
        "200": json_answer(text, schema),
        "default": {"description": "What went wrong.", "content": problem},
    }
    operation: dict[str, Any] = {"summary": text, "responses": answers}
    if parameters:
        operation["parameters"] = list(parameters)
    return {"get": operation}


def _path_key(name: str) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}


def _query(name: str, schema: dict[str, Any], *, is_needed: bool = True) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": is_needed, "schema": schema}


def _paths() -> dict[str, Any]:
    paths = {"/api/v1/status": _operation("The whole site as of now.", ref("Status"))}
    for kind, name in (
        ("boxes", "Box"),
        ("rooms", "Room"),
        ("spools", "Spool"),
        ("ovens", "Oven"),
        ("alarms", "Alarm"),
    ):
        paths[f"/api/v1/{kind}"] = _operation(f"All {kind}.", list_of(name))
        paths[f"/api/v1/{kind}/{{key}}"] = _operation(f"One of the {kind}.", ref(name), (_path_key("key"),))
    paths["/api/v1/series/{place}/{quantity}"] = _operation(
        "A quantity of a place over time, from the roll-ups.",
        ref("Series"),
        (
            _path_key("place"),
            _path_key("quantity"),
            _query("from", {"type": "number"}),
            _query("to", {"type": "number"}),
            _query("span", {"enum": [300, 3600, 86400]}),
        ),
    )
    problem = paths["/api/v1/status"]["get"]["responses"]["default"]
    paths["/api/v1/spools/{key}/events"] = openapi_events.operations("spool", problem, _path_key("key"))
    paths["/api/v1/boxes/{key}/events"] = openapi_events.operations("box", problem, _path_key("key"))
    paths["/api/v1/session"] = sign_in.operations(problem)
    paths["/api/v1/boxes/{key}/course"] = _operation(
        "A box's desiccant over time, and where it is heading; without a window 30 days back and ahead.",
        ref("BoxCourse"),
        (
            _path_key("key"),
            _query("from", {"type": "number"}, is_needed=False),
            _query("to", {"type": "number"}, is_needed=False),
        ),
    )
    for kind in ("box", "spool"):
        paths[f"/api/v1/{kind}{'es' if kind == 'box' else 's'}/{{key}}/report"] = _operation(
            f"What became of a {kind} over a time, a week unless one is named; local times of the site.",
            ref("Report"),
            (
                _path_key("key"),
                _query("days", {"enum": ["1", "7", "30", "90"]}, is_needed=False),
                _query("from", {"type": "string"}, is_needed=False),
                _query("to", {"type": "string"}, is_needed=False),
            ),
        )
    paths |= openapi_sensors.paths(problem)
    paths["/api/v1/what-if"] = _operation(
        "What becomes of a material in some air, and what drying it takes.",
        ref("WhatIf"),
        what_if.PARAMETERS,
    )
    paths["/api/v1/rooms/{key}/advice"] = _operation(
        "A room's usual air, when to open a box in it, its seasons, airing it, and drying its air.",
        ref("RoomAdvice"),
        (_path_key("key"), *room_advice.PARAMETERS),
    )
    paths["/api/v1/bag"] = _operation(
        "How long a bag without a sensor keeps its contents dry, and whether its card says that it leaks.",
        ref("Bag"),
        bag.PARAMETERS,
    )
    paths |= openapi_log.paths(problem)
    paths |= openapi_alarms.paths(problem, _path_key("key"))
    return paths | openapi_ovens.paths(problem, _path_key("key"))


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
