"""What the routes for programs have in common: the body, who says so, answers and refusals."""

import json
from collections.abc import Sequence
from typing import Any

from flask import Response, abort, request
from werkzeug.exceptions import NotFound

from monitor.errors import BadInputError
from monitor.model.cycle import Problem
from monitor.model.oven_look import OvenLook
from monitor.wire.oven_orders import dump_problem
from web.ovens.desk import Ovens
from web.sign_in.visitor import signed_in_name

_CONFLICT = 409


def found(ovens: Ovens, key: str) -> OvenLook:
    """The oven; 404 where the inventory has none of this key."""
    look = ovens.look(key)
    if look is None:
        raise NotFound(f"there is no oven {key[:63]!r} in the inventory")
    return look


def body(*, can_change: bool) -> bytes:
    """What was sent to change something; 403 on an address that is for looking only."""
    if not can_change:
        abort(403, "this address is for looking only")
    return request.get_data(cache=False)


def told_by(who: str | None) -> str:
    """Whoever is signed in counts before the name that was sent; BadInputError where there is neither."""
    name = signed_in_name() or who
    if name is None:
        raise BadInputError("the order cannot be read: `who` is missing")
    return name


def refusal(problems: Sequence[Problem]) -> Response:
    """All that speaks against it, the weightiest first."""
    return problem(
        problems[0].title, problems[0].detail, problems=[dump_problem(problem) for problem in problems]
    )


def problem(title: str, detail: str, **more: Any) -> Response:
    """A refusal as application/problem+json, 409."""
    document = {"type": "about:blank", "title": title, "status": _CONFLICT, "detail": detail, **more}
    return Response(json.dumps(document), status=_CONFLICT, mimetype="application/problem+json")


def as_json(document: Any, status: int = 200) -> Response:
    """The answer."""
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    return Response(text, status=status, mimetype="application/json")
