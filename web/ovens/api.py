"""Ovens for programs: look, plan, start, stop, extend, reset, as JSON under /api/v1; more in `api_*.py`."""

from flask import Blueprint, Response, abort, request
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import HTTPException

from monitor.errors import BadInputError, RefusedError
from monitor.model.answers import plain
from monitor.model.people import Role
from monitor.model.plan import Plan, Refusal
from monitor.service.queries import Queries
from monitor.wire.oven_orders import (
    dump_look,
    parse_extend,
    parse_reset,
    parse_start,
    stop_reason,
)
from web.ovens import api_care, api_planned, choose
from web.ovens.acts import desk_of, whoever
from web.ovens.api_parts import as_json, body, found, problem, refusal, told_by
from web.ovens.desk import Ovens
from web.present import Presenter
from web.sign_in.roles import needs, open_to_all

_PLAN = ("spool", "desiccant", "dry_g", "loading_pct", "target_pct", "ready_by")


def blueprint(queries: Queries, ovens: Ovens, *, can_change: bool) -> Blueprint:
    """Routes of the API; each stands in the OpenAPI document."""
    pages = Blueprint("oven_api", __name__, url_prefix="/api/v1/ovens/<key>")

    @pages.get("/look")
    def look(key: str) -> Response:
        return as_json(dump_look(found(ovens, key)))

    @pages.get("/plan")
    def plan(key: str) -> Response:
        return _plan(queries, ovens, key)

    @pages.post("/start")
    @needs(Role.DO)
    def start(key: str) -> Response:
        wish, who = parse_start(body(can_change=can_change), queries.now_s())
        problems = desk_of(ovens).start(key, wish, told_by(who))
        return refusal(problems) if problems else as_json(dump_look(found(ovens, key)))

    @pages.post("/stop")
    @open_to_all
    def stop(key: str) -> Response:
        # Read as far as it can be; nothing of it decides whether the oven is stopped.
        why = stop_reason(_readable())
        if ovens.stop((key,), whoever(), why):
            abort(
                503, f"the stop could not be passed on for {key[:63]!r}: stop at the oven, or pull its plug"
            )
        return as_json({"asked": key})

    @pages.post("/extend")
    @needs(Role.DO)
    def extend(key: str) -> Response:
        order = parse_extend(body(can_change=can_change))
        who = told_by(order.who)
        refused = desk_of(ovens).extend(key, order.order, order.version, order.cycle, order.extra_s, who)
        return refusal([refused]) if refused is not None else as_json(dump_look(found(ovens, key)))

    @pages.post("/reset")
    @needs(Role.DO)
    def reset(key: str) -> Response:
        order = parse_reset(body(can_change=can_change))
        who, checked = told_by(order.who), tuple(order.checked)
        refused = desk_of(ovens).reset(key, order.order, order.version, order.trip, checked, order.text, who)
        return refusal([refused]) if refused is not None else as_json(dump_look(found(ovens, key)))

    api_planned.add(pages, ovens, can_change=can_change)
    api_care.add(pages, queries, ovens, can_change=can_change)
    return pages


def _readable() -> bytes:
    """What was sent, or nothing where it is refused as too large or broke off."""
    try:
        return request.get_data(cache=False)
    except HTTPException:
        return b""


def _plan(queries: Queries, ovens: Ovens, key: str) -> Response:
    found(ovens, key)
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
    return as_json(plain(made)) if isinstance(made, Plan) else _no_plan(made.refused)


def _no_plan(refusal: Refusal) -> Response:
    return problem(refusal.title, refusal.detail, refused=plain(refusal))
