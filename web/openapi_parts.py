"""What the schemas of the OpenAPI document are made of."""

from typing import Any

NUMBER = {"type": ["number", "null"]}
TEXT = {"type": ["string", "null"]}
SPREAD = {
    "type": "object",
    "required": ["p10", "p50", "p90"],
    "properties": {"p10": NUMBER, "p50": NUMBER, "p90": NUMBER, "why": {"type": "string"}},
}
FRESHNESS = {"enum": ["fresh", "late", "stale", "lost", "never"]}
AIR = {
    "at": TEXT,
    "temperature_c": NUMBER,
    "humidity_pct": NUMBER,
    "dew_point_c": NUMBER,
    "vapour_g_m3": NUMBER,
    "age_s": NUMBER,
    "stale": {"type": "boolean"},
    "freshness": FRESHNESS,
    "due_s": NUMBER,
    "suspect": TEXT,
    "humidity_change_pct": NUMBER,
    "dew_point_change_c": NUMBER,
    "raw_humidity_pct": NUMBER,
}


def object_of(members: dict[str, Any], optional: tuple[str, ...] = ()) -> dict[str, Any]:
    required = [name for name in members if name not in optional]
    return {"type": "object", "required": required, "properties": members}


def ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def array_of(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


def list_of(name: str) -> dict[str, Any]:
    return array_of(ref(name))


def or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


def query(name: str, text: str, schema: dict[str, Any], *, required: bool = False) -> dict[str, Any]:
    """A parameter of a question."""
    return {"name": name, "in": "query", "description": text, "required": required, "schema": schema}


def json_answer(text: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": text, "content": {"application/json": {"schema": schema}}}


KEY = {"type": "string", "pattern": "^[a-z0-9][a-z0-9_-]{0,62}$"}
NAMED = {"key": KEY, "name": {"type": "string"}}
