"""The part of the OpenAPI document that is about what happens to spools and boxes."""

from typing import Any

from web.openapi_parts import json_answer, list_of, ref

_WHO = {"type": "string", "minLength": 1, "maxLength": 200}
_NUMBER = {"type": "number"}
# Members of each kind besides who, at and replaces; those with a default may be left out.
_SPOOL_KINDS: dict[str, dict[str, dict[str, Any]]] = {
    "moved": {"place": {"type": ["string", "null"]}},
    "bagged": {},
    "opened": {},
    "used": {"grams": _NUMBER},
    "weighed": {
        "mass_g": _NUMBER,
        "resolution_g": _NUMBER,
        "repeats": {"type": "integer", "default": 1},
        "is_warm": {"type": "boolean", "default": False},
    },
    "dried": {
        "temperature_c": _NUMBER,
        "hours": _NUMBER,
        "room_humidity_pct": {"type": ["number", "null"], "default": None},
    },
    "signs": {
        "seen": {
            "type": "array",
            "items": {
                "enum": ["popping", "bubbles", "strings", "matt", "weak", "snaps", "soft", "clean"],
            },
        }
    },
    "spoiled": {"why": _WHO},
    "withdrawn": {"why": _WHO},
}
_BOX_KINDS: dict[str, dict[str, dict[str, Any]]] = {
    "recharged": {
        "desiccant": {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]{0,62}$"},
        "dry_g": {"type": "number", "exclusiveMinimum": 0},
        "loading_pct": {
            "type": ["number", "null"],
            "default": None,
            "description": "water [% of dry mass] when filled; null: dry as usual",
        },
        "is_regenerated": {"type": "boolean", "default": False, "description": "it came from the oven"},
    },
    "weighed": {
        "mass_g": {"type": "number", "exclusiveMinimum": 0, "description": "without bag or tray"},
        "resolution_g": {"type": "number", "exclusiveMinimum": 0},
    },
    "colour": {"colour": {"enum": ["dry", "turning", "turned"]}},
    "nothing_done": {},
    "withdrawn": {"why": _WHO},
}
_COMMON: dict[str, dict[str, Any]] = {
    "who": _WHO | {"description": "needed where nobody is signed in; else whoever is signed in counts"},
    "at": {"type": ["string", "null"], "format": "date-time", "description": "null: now"},
    "replaces": {"type": ["integer", "null"], "description": "the record that this one corrects"},
}


def _event(kind: str, members: dict[str, dict[str, Any]]) -> dict[str, Any]:
    needed = [name for name, schema in members.items() if "default" not in schema]
    return {
        "type": "object",
        "required": ["kind", *needed],
        "additionalProperties": False,
        "properties": {"kind": {"const": kind}, **_COMMON, **members},
    }


def _record(kinds: dict[str, dict[str, dict[str, Any]]]) -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["event_id", "kind", "at", "entered", "who", "replaces"],
        "properties": {
            "event_id": {"type": "integer"},
            "kind": {"enum": list(kinds)},
            "at": {"type": "string"},
            "entered": {"type": "string"},
            "who": {"type": "string"},
            "replaces": {"type": ["integer", "null"]},
        },
    }


SPOOL_EVENT: dict[str, Any] = {"oneOf": [_event(kind, members) for kind, members in _SPOOL_KINDS.items()]}
SPOOL_RECORD = _record(_SPOOL_KINDS)
BOX_EVENT: dict[str, Any] = {"oneOf": [_event(kind, members) for kind, members in _BOX_KINDS.items()]}
BOX_RECORD = _record(_BOX_KINDS)


def operations(thing: str, problem: dict[str, Any], key: dict[str, Any]) -> dict[str, Any]:
    """Reading the records of a spool or box, and adding one; `problem` answers what cannot be true."""
    name = thing.capitalize()
    records = list_of(f"{name}Record")
    added = {
        "type": "object",
        "required": ["event_id"],
        "properties": {"event_id": {"type": "integer"}},
    }
    return {
        "get": {
            "summary": f"All that was told about a {thing}, corrections included.",
            "parameters": [key],
            "responses": {"200": json_answer("The records.", records), "default": problem},
        },
        "post": {
            "summary": f"Write down what happened to a {thing}, under the name of who is signed in.",
            "security": [{"session": [], "csrf": []}, {}],  # {}: on the board itself, until there is an owner
            "parameters": [key],
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": ref(f"{name}Event")}},
            },
            "responses": {"201": json_answer("The record's number.", added), "default": problem},
        },
    }
