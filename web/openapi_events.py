"""The part of the OpenAPI document that is about what happens to spools."""

from typing import Any

_WHO = {"type": "string", "minLength": 1, "maxLength": 200}
_NUMBER = {"type": "number"}
# Members of each kind besides who, at and replaces; those with None may be left out.
_KINDS: dict[str, dict[str, dict[str, Any]]] = {
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


EVENT: dict[str, Any] = {"oneOf": [_event(kind, members) for kind, members in _KINDS.items()]}
RECORD: dict[str, Any] = {
    "type": "object",
    "required": ["event_id", "kind", "at", "entered", "who", "replaces"],
    "properties": {
        "event_id": {"type": "integer"},
        "kind": {"enum": list(_KINDS)},
        "at": {"type": "string"},
        "entered": {"type": "string"},
        "who": {"type": "string"},
        "replaces": {"type": ["integer", "null"]},
    },
}


def operations(problem: dict[str, Any], key: dict[str, Any]) -> dict[str, Any]:
    """Reading a spool's records, and adding one; `problem` is the answer to what cannot be true."""
    records = {"type": "array", "items": {"$ref": "#/components/schemas/SpoolRecord"}}
    added = {
        "type": "object",
        "required": ["event_id"],
        "properties": {"event_id": {"type": "integer"}},
    }
    return {
        "get": {
            "summary": "All that was told about a spool, corrections included.",
            "parameters": [key],
            "responses": {"200": _json("The records.", records), "default": problem},
        },
        "post": {
            "summary": "Write down what happened to a spool, under the name of who is signed in.",
            "security": [{"session": [], "csrf": []}, {}],  # {}: on the board itself, until there is an owner
            "parameters": [key],
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": {"$ref": "#/components/schemas/SpoolEvent"}}},
            },
            "responses": {"201": _json("The record's number.", added), "default": problem},
        },
    }


def _json(text: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": text, "content": {"application/json": {"schema": schema}}}
