"""The part of the OpenAPI document that is about sensors and their checks."""

from typing import Any

from web.openapi_parts import NUMBER, TEXT, array_of, json_answer, list_of, object_of, or_null, ref

_WHO = {"type": "string", "minLength": 1, "maxLength": 200}
_FIGURE = {"type": "number"}
_VERDICT = {"enum": ["within", "correct", "replace"]}


_CORRECTION = object_of(
    {"since": {"type": "string"}, "offset_pct": _FIGURE, "gain": _FIGURE, "uncertainty_pct": NUMBER}
)
_CHECK = object_of(
    {
        "at": {"type": "string"},
        "verdict": _VERDICT,
        "error_pct": _FIGURE,
        "uncertainty_pct": _FIGURE,
        "salts": array_of({"type": "string"}),
        "is_corrected_since": {"type": "boolean"},
    }
)
_SENSOR = object_of(
    {
        "channel": {"type": "string"},
        "place": TEXT,
        "place_name": TEXT,
        "at": TEXT,
        "raw_pct": NUMBER,
        "shown_pct": NUMBER,
        "serial": TEXT,
        "installed": TEXT,
        "tolerance_pct": _FIGURE,
        "interval_months": {"type": "integer"},
        "away_since": TEXT,
        "correction": or_null(_CORRECTION),
        "check": or_null(_CHECK),
        "due": TEXT,
        "due_state": {"enum": ["never", "good", "soon", "overdue"]},
        "sentence": {"type": "string"},
    }
)
_SALT = object_of(
    {
        "key": {"type": "string"},
        "name": {"type": "string"},
        "formula": {"type": "string"},
        "humidity_pct": _FIGURE,
        "uncertainty_pct": _FIGURE,
        "handling": array_of({"type": "string"}),
        "source": {"type": "string"},
        "tells": {"type": "string"},
    }
)
_JAR = object_of(
    {
        "salt": {"type": "string"},
        "since": {"type": "string"},
        "settling": {"enum": ["waiting", "reached", "never"]},
        "sentence": {"type": "string"},
        "humidity_pct": NUMBER,
        "temperature_c": NUMBER,
        "reference_pct": NUMBER,
        "uncertainty_pct": NUMBER,
        "rate_pct_per_h": NUMBER,
        "remaining_pct": NUMBER,
        "wait_s": NUMBER,
    }
)
_POINT = object_of(
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
_PROPOSAL = object_of(
    {
        "verdict": _VERDICT,
        "sentence": {"type": "string"},
        "checks": array_of({"type": "integer"}),
        "offset_pct": _FIGURE,
        "gain": _FIGURE,
        "left_uncertainty_pct": _FIGURE,
        "is_mendable": {"type": "boolean"},
    }
)
_LOOK_BACK = object_of(
    {
        "error_pct": _FIGURE,
        "since": {"type": "string"},
        "since_is_checked": {"type": "boolean"},
        "until": {"type": "string"},
        "items": array_of(
            object_of(
                {
                    "place": {"type": "string"},
                    "place_name": {"type": "string"},
                    "begin": {"type": "string"},
                    "end": {"type": "string"},
                    "spools": array_of({"type": "string"}),
                }
            )
        ),
        "sentence": {"type": "string"},
    }
)
_SIDE_BY_SIDE = object_of(
    {
        "begin": {"type": "string"},
        "end": {"type": "string"},
        "temperature_c": NUMBER,
        "sensors": array_of(
            object_of(
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
    "compared": {"others": array_of({"type": "string"}), "hours": {"type": "number", "default": 1.0}},
    "correction_set": {
        "checks": {"type": "array", "items": {"type": "integer"}, "default": []},
        "offset_pct": {"type": ["number", "null"], "default": None},
        "gain": {"type": ["number", "null"], "default": None},
        "uncertainty_pct": {"type": ["number", "null"], "default": None},
    },
    "mapped": {
        "corners": array_of(
            object_of(
                {
                    "name": _WHO,
                    "begin": {"type": "string", "format": "date-time"},
                    "end": {"type": "string", "format": "date-time"},
                }
            )
        ),
        "beside": {"type": ["string", "null"], "default": None},
        "sits_at": {
            "type": ["string", "null"],
            "default": None,
            "description": "the name of the corner in which the sensor sits from then on; null: not told",
        },
    },
    "seated": {"sits_at": {**_WHO, "description": "one of the corners that were looked at last"}},
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
    "SensorGuide": object_of(
        {
            "sensor": ref("Sensor"),
            "works_at_pct": _FIGURE,
            "temperature_c": _FIGURE,
            "salts": array_of(_SALT),
            "jar": or_null(_JAR),
            "points": array_of(_POINT),
            "proposal": or_null(_PROPOSAL),
            "look_back": or_null(_LOOK_BACK),
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
        {"name": "channel", "in": "query", "required": True, "schema": array_of({"type": "string"})},
        {"name": "hours", "in": "query", "schema": {"type": "number", "default": 1}},
        {"name": "until", "in": "query", "schema": {"type": "number"}},
    ]
    one = "/api/v1/sensors/{node}/{channel}"
    return {
        "/api/v1/sensors": _get("All humidity sensors, what is due first.", list_of("Sensor"), problem),
        "/api/v1/sensors/compare": _get(
            "Sensors in the same air: which differs.", ref("SideBySide"), problem, asked
        ),
        one: _get("A sensor, and where its check stands.", ref("SensorGuide"), problem, key),
        f"{one}/events": {
            **_get("All that was told of a sensor.", list_of("SensorRecord"), problem, key),
            "post": {
                "summary": "Write down what was done to a sensor; a check reads its figures itself.",
                "parameters": key,
                "requestBody": {
                    "required": True,
                    "content": {"application/json": {"schema": ref("SensorTold")}},
                },
                "responses": {
                    "201": json_answer("The record's number.", object_of({"event_id": {"type": "integer"}})),
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
        "responses": {"200": json_answer(text, schema), "default": problem},
    }
    if parameters:
        operation["parameters"] = parameters
    return {"get": operation}
