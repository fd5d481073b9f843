"""Pages for people: the first screen, a box, a room, and how the monitor itself is doing."""

from collections.abc import Iterable
from typing import TypeVar

from flask import Blueprint, abort, render_template, request
from werkzeug.exceptions import NotFound

from monitor.model.answers import BoxAnswer, RoomAnswer, StatusAnswer
from monitor.service.queries import Queries
from web import charts, inside
from web.board import Board, ticks
from web.present import Presenter, seconds

_Item = TypeVar("_Item", BoxAnswer, RoomAnswer)


def blueprint(queries: Queries, board: Board, present: Presenter) -> Blueprint:
    """Routes of the pages."""
    pages = Blueprint("glance", __name__)

    @pages.get("/")
    def show() -> str:
        parts = board.parts()
        return render_template("glance.html", parts=parts, status=parts.status, ticks=ticks())

    @pages.get("/boxes/<key>")
    def box(key: str) -> str:
        parts = board.parts()
        status = parts.status
        found = _found(status.boxes, key)
        window = _window()
        return render_template(
            "box.html",
            box=found,
            present=present,
            parts=parts,
            inside=inside.spools(spool for spool in status.spools if spool.key in found.spools),
            desiccant=inside.desiccant(found.desiccant, found.desiccant_why),
            needs=[need for need in status.needs if need.place == key],
            ticks=ticks(),
            window=window,
            windows=charts.WINDOWS,
            zone=queries.zone(),
            chart=_chart(status, key, found.room, window),
        )

    @pages.get("/rooms/<key>")
    def room(key: str) -> str:
        parts = board.parts()
        status = parts.status
        found = _found(status.rooms, key)
        window = _window()
        return render_template(
            "room.html",
            room=found,
            parts=parts,
            boxes=[item for item in status.boxes if item.room == key],
            ticks=ticks(),
            window=window,
            windows=charts.WINDOWS,
            zone=queries.zone(),
            chart=_chart(status, key, None, window),
        )

    @pages.get("/health")
    def health() -> str:
        parts = board.parts()
        rows = [
            (present.clock(item.at_ms / 1000.0), item.topic, item.reason) for item in queries.quarantine(30)
        ]
        return render_template("health.html", health=parts.status.health, parts=parts, quarantined=rows)

    def _window() -> str:
        window = request.args.get("window", "day")
        if window not in charts.WINDOWS:
            abort(400, f"window {window[:20]!r} is unknown; one of: {', '.join(charts.WINDOWS)}")
        return window

    def _chart(status: StatusAnswer, place: str, room: str | None, window: str) -> charts.Chart:
        return charts.chart(queries, present, place, room, window, seconds(status.at) or 0.0)

    return pages


def _found(items: Iterable[_Item], key: str) -> _Item:
    for item in items:
        if item.key == key:
            return item
    raise NotFound(f"nothing in the inventory has the key {key!r}")
