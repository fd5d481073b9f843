"""Ovens for programs: look, plan, start, stop, extend, reset, as JSON under /api/v1."""

import json
from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, abort, request
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import HTTPException, NotFound

from monitor.errors import BadInputError, RefusedError
from monitor.model.answers import plain
from monitor.model.cycle import Problem
from monitor.model.oven_look import OvenLook
from monitor.model.people import Role
from monitor.model.plan import Plan, Refusal
from monitor.service.queries import Queries
from monitor.wire.oven_orders import (
    dump_look,
    dump_problem,
    parse_extend,
    parse_reset,
    parse_start,
    stop_reason,
)
from web.ovens import choose
from web.ovens.acts import desk_of, whoever
from web.ovens.desk import Ovens
from web.present import Presenter
from web.sign_in.roles import needs, open_to_all
from web.sign_in.visitor import signed_in_name

_CONFLICT = 409
_PLAN = ("spool", "desiccant", "dry_g", "loading_pct", "target_pct", "ready_by")


def blueprint(queries: Queries, ovens: Ovens, *, can_change: bool) -> Blueprint:
    """Routes of the API; each stands in the OpenAPI document."""
    pages = Blueprint("oven_api", __name__, url_prefix="/api/v1/ovens/<key>")

    @pages.get("/look")
    def look(key: str) -> Response:
        return _json(dump_look(_found(ovens, key)))

    @pages.get("/plan")
    def plan(key: str) -> Response:
        return _plan(queries, ovens, key)

    @pages.post("/start")
    @needs(Role.DO)
    def start(key: str) -> Response:
        wish, who = parse_start(_body(can_change=can_change), queries.now_s())
        problems = desk_of(ovens).start(key, wish, _told_by(who))
        return _refusal(problems) if problems else _json(dump_look(_found(ovens, key)))

    @pages.post("/stop")
    @open_to_all
    def stop(key: str) -> Response:
        # Read as far as it can be; nothing of it decides whether the oven is stopped.
        why = stop_reason(_readable())
        if ovens.stop((key,), whoever(), why):
            abort(
                503, f"the stop could not be passed on for {key[:63]!r}: stop at the oven, or pull its plug"
            )
        return _json({"asked": key})

    @pages.post("/extend")
    @needs(Role.DO)
    def extend(key: str) -> Response:
        body = parse_extend(_body(can_change=can_change))
        who = _told_by(body.who)
        problem = desk_of(ovens).extend(key, body.order, body.version, body.cycle, body.extra_s, who)
        return _refusal([problem]) if problem is not None else _json(dump_look(_found(ovens, key)))

    @pages.post("/reset")
    @needs(Role.DO)
    def reset(key: str) -> Response:
        body = parse_reset(_body(can_change=can_change))
        who, checked = _told_by(body.who), tuple(body.checked)
        problem = desk_of(ovens).reset(key, body.order, body.version, body.trip, checked, body.text, who)
        return _refusal([problem]) if problem is not None else _json(dump_look(_found(ovens, key)))

    return pages


def _found(ovens: Ovens, key: str) -> OvenLook:
    look = ovens.look(key)
    if look is None:
        raise NotFound(f"there is no oven {key[:63]!r} in the inventory")
    return look


def _body(*, can_change: bool) -> bytes:
    if not can_change:
        abort(403, "this address is for looking only")
    return request.get_data(cache=False)


def _readable() -> bytes:
    """What was sent, or nothing where it is refused as too large or broke off."""
    try:
        return request.get_data(cache=False)
    except HTTPException:
        return b""


def _told_by(who: str | None) -> str:
    told_by = signed_in_name() or who
    if told_by is None:
        raise BadInputError("the order cannot be read: `who` is missing")
    return told_by


def _plan(queries: Queries, ovens: Ovens, key: str) -> Response:
    _found(ovens, key)
    args: MultiDict[str, str] = request.args
    for name in args:
        if name not in _PLAN:
            raise BadInputError(f"{name[:30]!r} is no question; allowed are {', '.join(_PLAN)}")
    wish = choose.asked(args, queries.inventory(), Presenter(queries.zone()), queries.now_s())
    if not wish.is_something:
        raise BadInputError("name at least one spool=KEY, or a desiccant")
    try:
        made = choose.plan(queries, key, wish)
    except RefusedError as error:
        return _no_plan(Refusal(title="There is no plan for it now", detail=str(error)))
    return _json(plain(made)) if isinstance(made, Plan) else _no_plan(made.refused)


def _no_plan(refusal: Refusal) -> Response:
    return _problem(refusal.title, refusal.detail, refused=plain(refusal))


def _refusal(problems: Sequence[Problem]) -> Response:
    """All that speaks against it, the weightiest first."""
    return _problem(
        problems[0].title, problems[0].detail, problems=[dump_problem(problem) for problem in problems]
    )


def _problem(title: str, detail: str, **more: Any) -> Response:
    document = {"type": "about:blank", "title": title, "status": _CONFLICT, "detail": detail, **more}
    return Response(json.dumps(document), status=_CONFLICT, mimetype="application/problem+json")


def _json(document: Any) -> Response:
    return Response(json.dumps(document, ensure_ascii=False, allow_nan=False), mimetype="application/json")
