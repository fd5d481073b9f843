"""The part of the OpenAPI document that is about signing in."""

from typing import Any

_TEXT = {"type": ["string", "null"]}
SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": ["person", "role", "csrf"],
    "properties": {
        "person": _TEXT,
        "role": {"enum": ["look", "do", "owner", None]},
        "csrf": {
            "type": ["string", "null"],
            "description": "Goes with every change, in the header X-Csrf-Token.",
        },
    },
}
SECURITY: dict[str, Any] = {
    "session": {"type": "apiKey", "in": "cookie", "name": "sorbwatch_session"},
    "csrf": {"type": "apiKey", "in": "header", "name": "X-Csrf-Token"},
}
_ASKED = {
    "type": "object",
    "required": ["name", "password"],
    "additionalProperties": False,
    "properties": {"name": {"type": "string"}, "password": {"type": "string", "format": "password"}},
}


def operations(problem: dict[str, Any]) -> dict[str, Any]:
    """Who am I, sign in, sign out; `problem` is the answer to what goes wrong, such as 429 (Retry-After)."""
    session = {"application/json": {"schema": {"$ref": "#/components/schemas/Session"}}}
    answer = {"description": "The session as it is now.", "content": session}
    return {
        "get": {
            "summary": "Who is signed in, with which role.",
            "responses": {"200": answer, "default": problem},
        },
        "post": {
            "summary": "Sign in: the answer sets the cookie. Further changes send cookie and X-Csrf-Token.",
            "requestBody": {"required": True, "content": {"application/json": {"schema": _ASKED}}},
            "responses": {"201": answer, "default": problem},
        },
        "delete": {
            "summary": "Sign out.",
            "security": [{"session": [], "csrf": []}],
            "responses": {"200": answer, "default": problem},
        },
    }
