"""The part of the OpenAPI document that is about ovens: looking, plans and orders."""

from typing import Any

from web import openapi_oven_care
from web.openapi_parts import NAMED, NUMBER, SPREAD, TEXT, json_answer, list_of, object_of, ref

_FLAG = {"type": ["boolean", "null"]}
_TRUE_FALSE = {"type": "boolean"}
_LINE = {"type": "string", "minLength": 1, "maxLength": 200}
_ANY_OBJECT = {"type": ["object", "null"]}
_LIST = {"type": "array", "items": {"type": "object"}}
LOOK: dict[str, Any] = object_of(
    NAMED
    | {
        "room": {"type": "string"},
        "phase": {"type": "string"},
        "version": {"type": "integer", "description": "an order names the one that it was decided on"},
        "age_s": NUMBER,
        "is_fresh": _TRUE_FALSE,
        "chamber_c": {"type": "array", "items": NUMBER},
        "hottest_c": NUMBER,
        "is_hot": _FLAG,
        "heater": NUMBER,
        "power_w": NUMBER,
        "fan": _FLAG,
        "door_open": _FLAG,
        "armed_s": NUMBER,
        "permit_left_s": NUMBER,
        "refused": TEXT,
        "left_s": NUMBER,
        "ends_at": TEXT,
        "is_out_of_service": _TRUE_FALSE,
        "stop_asked_s": NUMBER,
        "load": _LIST,
        "checklist": _LIST,
        "checklist_at": TEXT,
        "checklist_who": {"type": "string"},
        "is_cutout_confirmed": _TRUE_FALSE,
        "proof_tested": TEXT,
        "cycle": _ANY_OBJECT,
        "ended": _ANY_OBJECT,
        "trip": _ANY_OBJECT,
        "records": _LIST,
        "progress": _ANY_OBJECT | {"description": "by the water left; null where no cycle runs"},
    }
)
_CYCLE: dict[str, Any] = {
    "oven": {"type": "string"},
    "cycle": {"type": "string"},
    "started": {"type": "string"},
    "ended": TEXT,
    "who": {"type": "string"},
    "is_unattended": _TRUE_FALSE,
    "is_armed_locally": _TRUE_FALSE,
    "setpoint_c": {"type": "number"},
    "last_setpoint_c": NUMBER,
    "duration_s": {"type": "number"},
    "ceiling_c": {"type": "number"},
    "limit_c": {"type": "number"},
    "limited_by": {"type": "string"},
    "room_c": NUMBER,
    "room_dew_point_c": NUMBER,
    "spools": _LIST,
    "ending": {"type": "string"},
    "why": {"type": "string"},
    "ran_s": NUMBER,
    "energy_wh": NUMBER,
    "peak_c": NUMBER,
    "holds": {"type": "integer"},
    "overshoots": {"type": "integer"},
}
CYCLE: dict[str, Any] = object_of(_CYCLE)
CYCLES: dict[str, Any] = object_of({"cycles": list_of("OvenCycle")})
CYCLE_RECORD: dict[str, Any] = object_of(
    _CYCLE
    | {
        "oven_name": {"type": "string"},
        "coverage": NUMBER,
        "humidity_coverage": NUMBER,
        "chamber_dew_point_c": NUMBER,
        "chamber_humidity_pct": NUMBER,
        "persons": {"type": "array", "items": {"type": "string"}},
        "trace": _LIST,
        "room_dew_points": _LIST,
        "records": _LIST,
    }
)
PLAN: dict[str, Any] = object_of(
    {
        "temperature_c": {"type": "number"},
        "limited_by": object_of({"item": TEXT, "limit_c": NUMBER, "source": TEXT}),
        "guard_c": {"type": "number"},
        "duration_h": SPREAD,
        "floor_pct": {"type": "number"},
        "reaches_target": _TRUE_FALSE,
        "target_pct": {"type": "number"},
        "start_at": {"type": "string"},
        "finish_at": {"type": "string"},
        "energy_wh": NUMBER,
        "curve": _LIST,
        "cautions": {"type": "array", "items": {"type": "string"}},
    }
)
_ORDER = {
    "order": _LINE | {"description": "drawn by who asks; the same one again does nothing"},
    "version": {"type": "integer", "minimum": 0},
    "who": _LINE | {"description": "needed where nobody is signed in"},
}
_SECONDS = {"type": "number", "minimum": 60, "maximum": 172_800}
_BODIES: dict[str, dict[str, Any]] = {
    "start": {
        "load": {"type": "array", "minItems": 1, "maxItems": 40, "items": {"type": "string"}},
        "setpoint_c": {"type": "number", "minimum": 30, "maximum": 120},
        "duration_s": _SECONDS,
        "limited_by": _LINE | {"description": "the item that limits it, as the person was shown"},
        "unattended": _TRUE_FALSE,
        "target_pct": {"type": ["number", "null"], "minimum": 0, "maximum": 20},
        "first_m": {"type": ["number", "null"], "minimum": 1, "maximum": 5000},
    },
    "extend": {"cycle": _LINE, "extra_s": _SECONDS},
    "reset": {
        "trip": _LINE,
        "checked": {"type": "array", "minItems": 1, "maxItems": 20, "items": _LINE},
        "text": _LINE,
    },
}
# What a plan was made for, by which a cycle ends.
_OPTIONAL = ("target_pct", "first_m")
_CYCLE_KEY = {"name": "cycle", "in": "path", "required": True, "schema": {"type": "string", "maxLength": 64}}
_WORDS = {
    "start": "Ask for heat, as a person confirmed it. Software here is class A; it lowers risk, the thermal"
    " cut-out is what makes it safe.",
    "extend": "A longer cycle: a new confirmed order.",
    "reset": "Unlock after a fault; starts nothing.",
}
SCHEMAS: dict[str, Any] = {
    "OvenLook": LOOK,
    "Plan": PLAN,
    "OvenCycle": CYCLE,
    "OvenCycles": CYCLES,
    "CycleRecord": CYCLE_RECORD,
    **openapi_oven_care.SCHEMAS,
}


def paths(problem: dict[str, Any], key: dict[str, Any]) -> dict[str, Any]:
    """All of them; `problem` answers what is wrong, and 409 with `problems` or `refused` what is refused."""
    base = "/api/v1/ovens/{key}"
    made: dict[str, Any] = {
        f"{base}/look": {
            "get": _get("One oven: state, cycle, trip, checklist, book.", "OvenLook", [key], problem)
        },
        f"{base}/plan": {"get": _get("A drying plan as of now.", "Plan", [key, *_questions()], problem)},
        f"{base}/stop": {"post": _stop(key, problem)},
        f"{base}/cycles": {"get": _get("Its drying cycles, the newest first.", "OvenCycles", [key], problem)},
        f"{base}/cycles/{{cycle}}": {
            "get": _get("The record of one cycle.", "CycleRecord", [key, _CYCLE_KEY], problem)
        },
    }
    for name, members in _BODIES.items():
        made[f"{base}/{name}"] = {"post": _post(name, members, key, problem)}
    return made | openapi_oven_care.paths(problem, key)


def _questions() -> list[dict[str, Any]]:
    spool = {"type": "array", "items": {"type": "string"}, "maxItems": 40}
    schemas = {
        "spool": spool, "desiccant": {"type": "string"}, "dry_g": {"type": "number"},
        "loading_pct": {"type": "number"}, "target_pct": {"type": "number"}, "ready_by": {"type": "string"},
    }  # fmt: skip
    return [
        {"name": name, "in": "query", "required": False, "schema": schema} for name, schema in schemas.items()
    ]


def _get(text: str, schema: str, parameters: list[dict[str, Any]], problem: dict[str, Any]) -> dict[str, Any]:
    return {
        "summary": text,
        "parameters": parameters,
        "responses": {"200": json_answer(text, ref(schema)), "default": problem},
    }


def _post(name: str, members: dict[str, Any], key: dict[str, Any], problem: dict[str, Any]) -> dict[str, Any]:
    body = {
        "type": "object",
        "required": ["order", "version", *(name for name in members if name not in _OPTIONAL)],
        "additionalProperties": False,
        "properties": _ORDER | members,
    }
    return {
        "summary": _WORDS[name],
        "security": [{"session": [], "csrf": []}, {}],  # {}: on the board itself, until there is an owner
        "parameters": [key],
        "requestBody": {"required": True, "content": {"application/json": {"schema": body}}},
        "responses": {
            "200": json_answer("Granted; the oven as it is now.", ref("OvenLook")),
            "default": problem,
        },
    }


def _stop(key: dict[str, Any], problem: dict[str, Any]) -> dict[str, Any]:
    body = {"type": "object", "properties": {"why": {"type": "string"}}}
    asked = {"type": "object", "required": ["asked"], "properties": {"asked": {"type": "string"}}}
    return {
        "summary": "Stop heat: from anyone, any time, signed in or not. Look afterwards for its effect.",
        "security": [{}],
        "parameters": [key],
        "requestBody": {"required": False, "content": {"application/json": {"schema": body}}},
        "responses": {"200": json_answer("Passed on; `stop_asked_s` tells until the effect is seen.", asked),
                      "default": problem},
    }  # fmt: skip
