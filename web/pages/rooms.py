"""A room: its air in words, when to open a box in it, its seasons, airing and drying it; page and API."""

from flask import Blueprint, Response, render_template, request
from werkzeug.exceptions import NotFound

from monitor.errors import FieldError
from monitor.model.answers import RoomAnswer, StatusAnswer, plain
from monitor.model.room_air import RoomWish
from monitor.service.queries import Queries
from monitor.service.room_advice import room_advice
from web import chart_figure, charts
from web.axes import SIDE
from web.board import Board, ticks
from web.pages.api import as_json
from web.present import Presenter, seconds
from web.rooms.form import form_of, read
from web.rooms.words import told


def blueprint(queries: Queries, board: Board, present: Presenter) -> Blueprint:
    """Routes of the page and of the API; both take the same parameters."""
    pages = Blueprint("rooms", __name__)

    @pages.get("/rooms/<key>")
    def show(key: str) -> tuple[str, int]:
        parts = board.parts()
        status = parts.status
        room = _found(status, key)
        window = charts.window_of(request.args)
        fault = None
        try:
            advice = room_advice(queries, status, room, read(request.args))
        except FieldError as error:
            fault = error
            advice = room_advice(queries, status, room, RoomWish())
        chart = charts.chart(queries, present, key, None, window, seconds(status.at) or 0.0)
        page = render_template(
            "room.html",
            room=room,
            parts=parts,
            told=told(advice, room.air),
            form=form_of(request.args, fault),
            side=SIDE,
            boxes=[box for box in status.boxes if box.room == key],
            ticks=ticks(),
            window=window,
            windows=charts.WINDOWS,
            zone=queries.zone(),
            chart=chart,
            drawn=chart_figure.figure(chart, present),
        )
        return page, 200 if fault is None else 400

    @pages.get("/api/v1/rooms/<key>/advice")
    def advice(key: str) -> Response:
        status = queries.status()
        answer = room_advice(queries, status, _found(status, key), read(request.args))
        return as_json(plain(answer))

    return pages


def _found(status: StatusAnswer, key: str) -> RoomAnswer:
    for room in status.rooms:
        if room.key == key:
            return room
    raise NotFound(f"no room in the inventory has the key {key[:40]!r}")
