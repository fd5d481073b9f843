"""The part of the OpenAPI document that is about the log of what was done, and series as CSV."""

from typing import Any

from monitor.model.audit import AuditKind
from web.openapi_parts import TEXT, array_of, json_answer, object_of, ref

_WORDS = {"type": "string"}
_WHOLE = {"type": "integer", "minimum": 1}
_HASH = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
SCHEMAS: dict[str, Any] = {
    "LogLine": object_of(
        {
            "seq": _WHOLE,
            "at": _WORDS,
            "quality": _WORDS,
            "who": _WORDS,
            "kind": {"enum": [str(kind) for kind in AuditKind]},
            "about": _WORDS,
            "what": _WORDS,
            "detail": {"type": "object"},
            "prev": _HASH,
            "hash": _HASH,
        }
    ),
    "LogPage": object_of(
        {"lines": array_of(ref("LogLine")), "next_after": {"type": ["integer", "null"]}, "head": TEXT}
    ),
}


def paths(problem: dict[str, Any]) -> dict[str, Any]:
    """The log for owners, and a series as a table."""
    log = json_answer(
        "A page of lines as JSON; all lines as CSV or as a batch of CloudEvents.", ref("LogPage")
    )
    log["content"]["text/csv"] = {"schema": _WORDS}
    log["content"]["application/cloudevents-batch+json"] = {"schema": array_of({"type": "object"})}
    table = {
        "description": "One line each span; gaps are empty.",
        "content": {"text/csv": {"schema": _WORDS}},
    }
    return {
        "/api/v1/audit": {
            "get": {
                "summary": "The log of what was done, oldest first; without a filter no number is missing.",
                "security": [{"session": []}],
                "parameters": [
                    _query("format", {"enum": ["json", "csv", "cloudevents"]}),
                    _query("kind", {"enum": [str(kind) for kind in AuditKind]}),
                    _query("about", {"type": "string", "maxLength": 200}),
                    _query("who", {"type": "string", "maxLength": 200}),
                    _query("from", {"type": "string", "format": "date-time"}),
                    _query("to", {"type": "string", "format": "date-time"}),
                    _query("after", {"type": "integer", "minimum": 0}),
                    _query("limit", {"type": "integer", "minimum": 1, "maximum": 100_000}),
                ],
                "responses": {"200": log, "default": problem},
            }
        },
        "/api/v1/series/{place}/{quantity}.csv": {
            "get": {
                "summary": "A quantity of a place as CSV, as read beside as corrected; 30 days by the hour.",
                "parameters": [
                    _path("place"),
                    _path("quantity"),
                    _query("from", {"type": "number"}),
                    _query("to", {"type": "number"}),
                    _query("span", {"enum": [300, 3600, 86400]}),
                ],
                "responses": {"200": table, "default": problem},
            }
        },
    }


def _query(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "schema": schema}


def _path(name: str) -> dict[str, Any]:
    return {"name": name, "in": "path", "required": True, "schema": _WORDS}
