"""The answers as JSON under /api/v1."""

import hashlib
import json
from collections.abc import Iterable
from itertools import chain
from typing import Any

from flask import Blueprint, Response, abort, request
from werkzeug.exceptions import NotFound

from monitor.model.answers import plain
from monitor.model.history import HOUR_S
from monitor.model.people import Role
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from monitor.service.series_table import series_table
from monitor.wire.box_events import dump_box_course, parse_box_event
from monitor.wire.records import dump_record
from monitor.wire.series_csv import csv_head, csv_rows
from monitor.wire.spool_events import parse_spool_event
from web.openapi import DOCUMENT
from web.sign_in.roles import needs
from web.sign_in.visitor import signed_in_name

_LATEST_S = 4_000_000_000.0
_COURSE_S = 30 * 86_400.0
_LONGEST_COURSE_S = 800 * 86_400.0


def blueprint(queries: Queries, changes: Changes | None) -> Blueprint:
    """Routes of the API; each stands in the OpenAPI document."""
    pages = Blueprint("api", __name__, url_prefix="/api/v1")

    @pages.get("/openapi.json")
    def openapi() -> Response:
        return as_json(DOCUMENT)

    @pages.get("/status")
    def status() -> Response:
        return as_json(plain(queries.status()))

    def add(kind: str) -> None:
        """A list of all, and one by its key."""

        def show_all() -> Response:
            return as_json(plain(getattr(queries.status(), kind)))

        def show(key: str) -> Response:
            return as_json(plain(_one(getattr(queries.status(), kind), key)))

        pages.add_url_rule(f"/{kind}", f"all_{kind}", show_all)
        pages.add_url_rule(f"/{kind}/<key>", f"one_{kind}", show)

    for kind in ("boxes", "rooms", "spools", "ovens", "alarms"):
        add(kind)

    @pages.post("/spools/<key>/events")
    @needs(Role.DO)
    def add_event(key: str) -> Response:
        if changes is None:
            abort(403, "this address is for looking only")
        event = parse_spool_event(key, request.get_data(cache=False), queries.now_s(), signed_in_name())
        response = as_json({"event_id": changes.add_event(event)})
        response.status_code = 201
        return response

    @pages.get("/spools/<key>/events")
    def events(key: str) -> Response:
        history = queries.spool_history(key)
        if history is None:
            raise NotFound(f"there is no spool {key!r} in the inventory")
        return as_json([dump_record(event) for event in history.events])

    @pages.post("/boxes/<key>/events")
    @needs(Role.DO)
    def add_box_event(key: str) -> Response:
        if changes is None:
            abort(403, "this address is for looking only")
        event = parse_box_event(key, request.get_data(cache=False), queries.now_s(), signed_in_name())
        response = as_json({"event_id": changes.add_box_event(event)})
        response.status_code = 201
        return response

    @pages.get("/boxes/<key>/events")
    def box_events(key: str) -> Response:
        history = queries.box_history(key)
        if history is None:
            raise NotFound(f"there is no box {key!r} in the inventory")
        return as_json([dump_record(event) for event in history.events])

    @pages.get("/boxes/<key>/course")
    def box_course(key: str) -> Response:
        if key not in queries.inventory().boxes:
            raise NotFound(f"there is no box {key!r} in the inventory")
        now_s = queries.now_s()
        from_s = _seconds("from") if "from" in request.args else now_s - _COURSE_S
        to_s = _seconds("to") if "to" in request.args else now_s + _COURSE_S
        if not 0.0 < to_s - from_s <= _LONGEST_COURSE_S:
            abort(400, "from must be before to, by at most 800 days")
        return as_json(dump_box_course(queries.box_course(key, from_s, to_s)))

    @pages.get("/series/<place>/<quantity>")
    def series(place: str, quantity: str) -> Response:
        if place not in _places(queries):
            raise NotFound(f"there is no room, box or oven {place!r} in the inventory")
        from_s, to_s, span_s = (_seconds(name) for name in ("from", "to", "span"))
        return as_json(plain(queries.series(place, quantity, from_s, to_s, round(span_s))))

    @pages.get("/series/<place>/<quantity>.csv")
    def series_csv(place: str, quantity: str) -> Response:
        if place not in _places(queries):
            raise NotFound(f"there is no room, box or oven {place[:63]!r} in the inventory")
        to_s = _seconds("to") if "to" in request.args else queries.now_s()
        from_s = _seconds("from") if "from" in request.args else max(0.0, to_s - _COURSE_S)
        span_s = round(_seconds("span")) if "span" in request.args else HOUR_S
        table = series_table(queries, place, quantity, from_s, to_s, span_s)
        rows = ((row.start_s, row.raw, row.corrected, row.covered) for row in table.rows)
        body = chain([csv_head(table.unit, table.quantity)], csv_rows(rows))
        name = f"{place}-{table.quantity}.csv"  # both are keys: nothing in them needs quoting
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(body, content_type="text/csv; charset=utf-8", headers=headers)

    return pages


def _places(queries: Queries) -> set[str]:
    inventory = queries.inventory()
    return {*inventory.rooms, *inventory.boxes, *inventory.ovens}


def _one(items: Iterable[Any], key: str) -> Any:
    for item in items:
        if item.key == key:
            return item
    raise NotFound(f"there is nothing with the key {key!r}")


def _seconds(name: str) -> float:
    text = request.args.get(name)
    if text is None:
        abort(
            400,
            f"{name} is missing: Unix seconds" if name != "span" else "span is missing: 300, 3600 or 86400",
        )
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0.0 <= value <= _LATEST_S:
        abort(400, f"{name} {text[:30]!r} is no number of seconds from 0 to {_LATEST_S:.0f}")
    return value


def as_json(document: Any) -> Response:
    """An answer of the API; the other files of it give theirs in this way, too."""
    body = json.dumps(document, ensure_ascii=False, allow_nan=False)
    response = Response(body, mimetype="application/json")
    response.set_etag(hashlib.sha256(body.encode()).hexdigest()[:32])
    response.make_conditional(request)
    return response
