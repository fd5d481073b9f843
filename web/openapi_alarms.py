"""The part of the OpenAPI document that says what may be asked about alarms."""

from typing import Any

from web.openapi_parts import json_answer, object_of, ref

_LINE = {"type": "string", "minLength": 1, "maxLength": 200}
_ACTS: dict[str, tuple[str, dict[str, Any], tuple[str, ...]]] = {
    "acknowledge": (
        "Seen by somebody. An activation that is not the newest is refused.",
        {"activation": _LINE},
        (),
    ),
    "shelve": (
        "Put aside until a time or, one-shot, until it is over; with a reason, for as long as may be.",
        {
            "why": _LINE,
            "until_s": {"type": ["number", "null"]},
            "one_shot": {"type": "boolean", "default": False},
        },
        ("until_s", "one_shot"),
    ),
    "unshelve": ("Back on the list.", {}, ()),
    "reset": ("Unlock what is over and was acknowledged; it starts no heat.", {}, ()),
    "out-of-service": ("Out of service, until it is returned.", {"why": _LINE}, ()),
    "return": ("Back into service; it is looked at again at once.", {}, ()),
}


def paths(problem: dict[str, Any], key: dict[str, Any]) -> dict[str, Any]:
    """Every act on one alarm, and the silence of all."""
    found = {
        f"/api/v1/alarms/{{key}}/{name}": {
            "post": _operation(text, members, optional, problem, ref("Alarm")) | {"parameters": [key]}
        }
        for name, (text, members, optional) in _ACTS.items()
    }
    found["/api/v1/alarms/silence"] = {
        "post": _operation(
            "No message but of danger for so many minutes, 1 to 60; it acknowledges nothing.",
            {"minutes": {"type": "number"}},
            (),
            problem,
            object_of({"until_s": {"type": "number"}}),
        )
    }
    return found


def _operation(
    text: str,
    members: dict[str, Any],
    optional: tuple[str, ...],
    problem: dict[str, Any],
    answer: dict[str, Any],
) -> dict[str, Any]:
    schema = object_of(members | {"who": _LINE}, (*optional, "who")) | {"additionalProperties": False}
    return {
        "summary": text,
        "security": [{"session": [], "csrf": []}, {}],  # {}: on the board itself, until there is an owner
        "requestBody": {"required": True, "content": {"application/json": {"schema": schema}}},
        "responses": {"200": json_answer("Done.", answer), "default": problem},
    }
