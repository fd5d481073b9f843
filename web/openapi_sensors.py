"""The part of the OpenAPI document that is about sensors and their checks."""

from typing import Any

_NUMBER = {"type": ["number", "null"]}
_TEXT = {"type": ["string", "null"]}
_WHO = {"type": "string", "minLength": 1, "maxLength": 200}
_FIGURE = {"type": "number"}
_VERDICT = {"enum": ["within", "correct", "replace"]}


def _object(members: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(members), "properties": members}


def _ref(name: str) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{name}"}


def _maybe(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


def _list(schema: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": schema}


_CORRECTION = _object(
    {"since": {"type": "string"}, "offset_pct": _FIGURE, "gain": _FIGURE, "uncertainty_pct": _NUMBER}
)
_CHECK = _object(
    {
        "at": {"type": "string"},
        "verdict": _VERDICT,
        "error_pct": _FIGURE,
        "uncertainty_pct": _FIGURE,
        "salts": _list({"type": "string"}),
        "is_corrected_since": {"type": "boolean"},
    }
)
_SENSOR = _object(
    {
        "channel": {"type": "string"},
        "place": _TEXT,
        "place_name": _TEXT,
        "at": _TEXT,
        "raw_pct": _NUMBER,
        "shown_pct": _NUMBER,
        "serial": _TEXT,
        "installed": _TEXT,
        "tolerance_pct": _FIGURE,
        "interval_months": {"type": "integer"},
        "away_since": _TEXT,
        "correction": _maybe(_CORRECTION),
        "check": _maybe(_CHECK),
        "due": _TEXT,
        "due_state": {"enum": ["never", "good", "soon", "overdue"]},
        "sentence": {"type": "string"},
    }
)
_SALT = _object(
    {
        "key": {"type": "string"},
        "name": {"type": "string"},
        "formula": {"type": "string"},
        "humidity_pct": _FIGURE,
        "uncertainty_pct": _FIGURE,
        "handling": _list({"type": "string"}),
        "source": {"type": "string"},
        "tells": {"type": "string"},
    }
)
_JAR = _object(
    {
        "salt": {"type": "string"},
        "since": {"type": "string"},
        "settling": {"enum": ["waiting", "reached", "never"]},
        "sentence": {"type": "string"},
        "humidity_pct": _NUMBER,
        "temperature_c": _NUMBER,
        "reference_pct": _NUMBER,
        "uncertainty_pct": _NUMBER,
        "rate_pct_per_h": _NUMBER,
        "remaining_pct": _NUMBER,
        "wait_s": _NUMBER,
    }
)
_POINT = _object(
    {
        "event_id": {"type": "integer"},
        "salt": {"type": "string"},
        "at": {"type": "string"},
        **dict.fromkeys(
            (
                "temperature_c",
                "reading_pct",
                "reference_pct",
                "uncertainty_pct",
                "error_pct",
                "as_left_pct",
            ),
            _FIGURE,
        ),
        "verdict": _VERDICT,
    }
)
_PROPOSAL = _object(
    {
        "verdict": _VERDICT,
        "sentence": {"type": "string"},
        "checks": _list({"type": "integer"}),
        "offset_pct": _FIGURE,
        "gain": _FIGURE,
        "left_uncertainty_pct": _FIGURE,
        "is_mendable": {"type": "boolean"},
    }
)
_LOOK_BACK = _object(
    {
        "error_pct": _FIGURE,
        "since": {"type": "string"},
        "since_is_checked": {"type": "boolean"},
        "until": {"type": "string"},
        "items": _list(
            _object(
                {
                    "place": {"type": "string"},
                    "place_name": {"type": "string"},
                    "begin": {"type": "string"},
                    "end": {"type": "string"},
                    "spools": _list({"type": "string"}),
                }
            )
        ),
        "sentence": {"type": "string"},
    }
)
_SIDE_BY_SIDE = _object(
    {
        "begin": {"type": "string"},
        "end": {"type": "string"},
        "temperature_c": _NUMBER,
        "sensors": _list(
            _object(
                {
                    "channel": {"type": "string"},
                    "name": {"type": "string"},
                    "humidity_pct": _FIGURE,
                    "others_pct": _FIGURE,
                    "difference_pct": _FIGURE,
                    "allowed_pct": _FIGURE,
                    "is_odd": {"type": "boolean"},
                }
            )
        ),
        "sentence": {"type": "string"},
    }
)
# Members of each kind that can be told, besides who, at and replaces; those with a default may be left out.
_KINDS: dict[str, dict[str, dict[str, Any]]] = {
    "installed": {
        "serial": _WHO,
        "tolerance_pct": {"type": "number", "default": 1.8},
        "interval_months": {"type": "integer", "default": 12},
    },
    "in_jar": {"salt": {"type": "string"}},
    "back": {},
    "checked": {},
    "compared": {"others": _list({"type": "string"}), "hours": {"type": "number", "default": 1.0}},
    "correction_set": {
        "checks": {"type": "array", "items": {"type": "integer"}, "default": []},
        "offset_pct": {"type": ["number", "null"], "default": None},
        "gain": {"type": ["number", "null"], "default": None},
        "uncertainty_pct": {"type": ["number", "null"], "default": None},
    },
    "withdrawn": {"why": _WHO},
}
_COMMON: dict[str, dict[str, Any]] = {
    "who": _WHO,
    "at": {"type": ["string", "null"], "format": "date-time", "description": "null: now"},
    "replaces": {"type": ["integer", "null"], "description": "the record that this one corrects"},
}


def _told(kind: str, members: dict[str, dict[str, Any]]) -> dict[str, Any]:
    needed = [name for name, schema in members.items() if "default" not in schema]
    return {
        "type": "object",
        "required": ["kind", "who", *needed],
        "additionalProperties": False,
        "properties": {"kind": {"const": kind}, **_COMMON, **members},
    }


SCHEMAS: dict[str, Any] = {
    "Sensor": _SENSOR,
    "SensorGuide": _object(
        {
            "sensor": _ref("Sensor"),
            "works_at_pct": _FIGURE,
            "temperature_c": _FIGURE,
            "salts": _list(_SALT),
            "jar": _maybe(_JAR),
            "points": _list(_POINT),
            "proposal": _maybe(_PROPOSAL),
            "look_back": _maybe(_LOOK_BACK),
        }
    ),
    "SideBySide": _SIDE_BY_SIDE,
    "SensorTold": {"oneOf": [_told(kind, members) for kind, members in _KINDS.items()]},
    "SensorRecord": {
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
    },
}


def paths(problem: dict[str, Any]) -> dict[str, Any]:
    """All paths about sensors; `problem` is the answer to what cannot be true."""
    key: list[dict[str, Any]] = [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}
        for name in ("node", "channel")
    ]
    asked: list[dict[str, Any]] = [
        {"name": "channel", "in": "query", "required": True, "schema": _list({"type": "string"})},
        {"name": "hours", "in": "query", "schema": {"type": "number", "default": 1}},
        {"name": "until", "in": "query", "schema": {"type": "number"}},
    ]
    one = "/api/v1/sensors/{node}/{channel}"
    return {
        "/api/v1/sensors": _get("All humidity sensors, what is due first.", _list(_ref("Sensor")), problem),
        "/api/v1/sensors/compare": _get(
            "Sensors in the same air: which differs.", _ref("SideBySide"), problem, asked
        ),
        one: _get("A sensor, and where its check stands.", _ref("SensorGuide"), problem, key),
        f"{one}/events": {
            **_get("All that was told of a sensor.", _list(_ref("SensorRecord")), problem, key),
            "post": {
                "summary": "Write down what was done to a sensor; a check reads its figures itself.",
                "parameters": key,
                "requestBody": {
                    "required": True,
                    "content": {"application/json": {"schema": _ref("SensorTold")}},
                },
                "responses": {
                    "201": _json("The record's number.", _object({"event_id": {"type": "integer"}})),
                    "default": problem,
                },
            },
        },
    }


def _get(
    text: str, schema: dict[str, Any], problem: dict[str, Any], parameters: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    operation: dict[str, Any] = {
        "summary": text,
        "responses": {"200": _json(text, schema), "default": problem},
    }
    if parameters:
        operation["parameters"] = parameters
    return {"get": operation}


def _json(text: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": text, "content": {"application/json": {"schema": schema}}}
