"""The part of the OpenAPI document about planned starts, commissioning and proof tests of ovens."""

from typing import Any

from web.openapi_parts import NUMBER, TEXT, json_answer, list_of, object_of, ref

_FLAG = {"type": "boolean"}
_WORDS = {"type": "string"}
_LINE = {"type": "string", "minLength": 1, "maxLength": 200}
_LIST = {"type": "array", "items": {"type": "object"}}
_TEXTS = {"type": "array", "items": _WORDS}
_YES = {"const": "yes"}
_WHO = {"who": _LINE | {"description": "needed where nobody is signed in"}}
_LOAD = {"type": "array", "minItems": 1, "maxItems": 40, "items": _WORDS}
_TIME = {"type": "string", "format": "date-time"}


def _bounded(lowest: float, highest: float, *kinds: str) -> dict[str, Any]:
    return {"type": ["number", *kinds] if kinds else "number", "minimum": lowest, "maximum": highest}


_PLANNED = object_of(
    {"number": {"type": "integer"}, "oven": _WORDS, "start_at": _WORDS, "state": _WORDS, "why": _WORDS}
)
SCHEMAS: dict[str, Any] = {
    "PlannedStart": _PLANNED | {"description": "one that cannot be read has the state `unreadable`"},
    "PlannedStarts": object_of({"planned": list_of("PlannedStart")}),
    "Withdrawn": object_of({"withdrawn": {"type": "integer"}}),
    "Commissioning": object_of(
        {
            "due": _WORDS | {"description": "why a run should be done; empty = none is due"},
            "accepted_run": TEXT,
            "setpoint_c": {"type": "number"},
            "inside": _TEXTS,
            "stands_against": _TEXTS,
            "in_force": {"type": ["object", "null"]},
            "runs": {
                "type": "array",
                "items": object_of(
                    {
                        "run": _WORDS, "at": _WORDS, "who": _WORDS, "kind": {"enum": ["empty", "loaded"]},
                        "setpoint_c": {"type": "number"}, "room_c": NUMBER, "spools": {"type": "integer"},
                        "ending": TEXT, "why": _WORDS, "problems": _TEXTS, "found": {"type": "object"},
                        "unfit": _WORDS, "materials": _LIST, "is_accepted": _FLAG, "can_accept": _FLAG,
                    }
                ),
            },
            "accepted": _LIST,
        }
    ),
    "ProofTest": object_of(
        {
            "is_complete": _FLAG,
            "is_out_of_service": _FLAG,
            "passed": TEXT,
            "due": TEXT,
            "seen": {"type": "object"},
            "steps": {
                "type": "array",
                "items": object_of(
                    {
                        "step": _WORDS, "title": _WORDS, "do": _TEXTS, "numbers": _LIST, "ticks": _LIST,
                        "result": {"type": ["object", "null"]}, "at": TEXT, "who": _WORDS,
                    }
                ),
            },
            "history": _LIST,
        }
    ),
}  # fmt: skip
_LATER: dict[str, Any] = {
    "load": _LOAD,
    "setpoint_c": _bounded(30, 120),
    "duration_s": _bounded(60, 172_800),
    "limited_by": _LINE,
    "unattended": _FLAG,
    "start_at": _TIME,
    "ready_by": _TIME,
    "target_pct": _bounded(0, 20, "null"),
    "dry_g": _bounded(1, 20_000, "null"),
    "loading_pct": _bounded(0, 60, "null"),
}
_LATER_NEEDED = ("load", "setpoint_c", "duration_s", "limited_by", "unattended", "start_at")
_RUN: dict[str, Any] = {
    "order": _LINE,
    "version": {"type": "integer", "minimum": 0},
    "kind": {"enum": ["empty", "loaded"]},
    "prepared": _YES | {"description": "everything on the page's list is so"},
    "stays": _YES | {"description": "a person stays with it until it is cold"},
}
_STEP: dict[str, Any] = {
    "numbers": {"type": "object", "maxProperties": 8, "additionalProperties": {"type": "number"}},
    "ticks": {"type": "array", "maxItems": 8, "items": _WORDS},
}
_ACCEPT: dict[str, Any] = {"run": _LINE}
_PASSED: dict[str, Any] = {"passed": _YES}
_CLASS_A = "Software here is class A; it lowers risk, the thermal cut-out is what makes it safe."


def paths(problem: dict[str, Any], key: dict[str, Any]) -> dict[str, Any]:
    """All of them; `problem` answers what is wrong, and 409 what is refused."""
    base = "/api/v1/ovens/{key}"
    number = {"name": "number", "in": "path", "required": True, "schema": {"type": "integer", "minimum": 0}}
    step = {"name": "step", "in": "path", "required": True, "schema": {"type": "string", "maxLength": 40}}

    def get(text: str, schema: str) -> dict[str, Any]:
        answers = {"200": json_answer(text, ref(schema)), "default": problem}
        return {"summary": text, "parameters": [key], "responses": answers}

    def post(
        text: str,
        schema: str,
        members: dict[str, Any] | None = None,
        needed: tuple[str, ...] = (),
        more: tuple[dict[str, Any], ...] = (),
        status: str = "200",
    ) -> dict[str, Any]:
        body = {
            "type": "object",
            "required": list(needed),
            "additionalProperties": False,
            "properties": _WHO | (members or {}),
        }
        return {
            "summary": text,
            "security": [{"session": [], "csrf": []}, {}],  # {}: on the board, until there is an owner
            "parameters": [key, *more],
            "requestBody": {"required": bool(needed), "content": {"application/json": {"schema": body}}},
            "responses": {status: json_answer("Done.", ref(schema)), "default": problem},
        }

    later = (
        "Plan a start for later, as a person was shown it. At its time it begins only where the oven was "
        f"armed by hand and all is as it was; else somebody is asked, and confirms it by `start`. {_CLASS_A}"
    )
    run = f"Begin a commissioning run, by the same checks as any start. {_CLASS_A}"
    return {
        f"{base}/planned": {
            "get": get("Starts that wait for their time or for a person.", "PlannedStarts"),
            "post": post(later, "PlannedStart", _LATER, _LATER_NEEDED, status="201"),
        },
        f"{base}/planned/{{number}}/withdraw": {
            "post": post("It is not begun and not asked about any more.", "Withdrawn", more=(number,))
        },
        f"{base}/commissioning": {
            "get": get("What its runs told, and what the rules go by.", "Commissioning"),
            "post": post(run, "OvenLook", _RUN, tuple(_RUN)),
        },
        f"{base}/commissioning/accept": {
            "post": post("The rules go by this run from now on.", "Commissioning", _ACCEPT, ("run",))
        },
        f"{base}/commissioning/take-back": {
            "post": post("The inventory's figures hold again.", "Commissioning")
        },
        f"{base}/proof": {
            "get": get("The yearly test: steps, what is allowed, results, when it is due.", "ProofTest"),
            "post": post("All five steps were passed.", "ProofTest", _PASSED, ("passed",)),
        },
        f"{base}/proof/{{step}}": {
            "post": post("One step as done; one that failed takes the oven out of service.", "ProofTest",
                         _STEP, ("numbers",), (step,)),
        },
    }  # fmt: skip
