"""Pages for people: the first screen, a room, and how the monitor itself is doing."""

from collections.abc import Iterable

from flask import Blueprint, abort, render_template, request
from werkzeug.exceptions import NotFound

from monitor.model.answers import RoomAnswer
from monitor.service.queries import Queries
from web import chart_figure, charts
from web.axes import SIDE
from web.board import Board, ticks
from web.present import Presenter, seconds


def blueprint(queries: Queries, board: Board, present: Presenter) -> Blueprint:
    """Routes of the pages."""
    pages = Blueprint("glance", __name__)

    @pages.get("/")
    def show() -> str:
        parts = board.parts()
        return render_template("glance.html", parts=parts, status=parts.status, ticks=ticks())

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
            chart=(chart := charts.chart(queries, present, key, None, window, seconds(status.at) or 0.0)),
            drawn=chart_figure.figure(chart, present),
            side=SIDE,
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

    return pages


def _found(rooms: Iterable[RoomAnswer], key: str) -> RoomAnswer:
    for room in rooms:
        if room.key == key:
            return room
    raise NotFound(f"no room in the inventory has the key {key[:40]!r}")
