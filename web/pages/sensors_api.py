"""Sensors and their checks as JSON under /api/v1/sensors."""

from flask import Blueprint, Response, abort, request
from werkzeug.exceptions import NotFound

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.people import Role
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from monitor.wire.records import dump_record
from monitor.wire.sensor_events import parse_sensor_told
from web.pages.api import as_json
from web.sensors.together import side_by_side
from web.sign_in.roles import needs
from web.sign_in.visitor import signed_in_name


def blueprint(queries: Queries, changes: Changes | None) -> Blueprint:
    """Routes of the API; each stands in the OpenAPI document."""
    pages = Blueprint("sensors_api", __name__, url_prefix="/api/v1/sensors")

    @pages.get("")
    def show_all() -> Response:
        return as_json(plain(queries.sensors.all()))

    @pages.get("/compare")
    def compare() -> Response:
        return as_json(plain(side_by_side(queries, request.args)))

    @pages.get("/<node>/<channel>")
    def show(node: str, channel: str) -> Response:
        key = _found(queries, node, channel)
        look_back = queries.sensors.look_back(key)
        guide = plain(queries.sensors.guide(key))
        return as_json({**guide, "look_back": None if look_back is None else plain(look_back)})

    @pages.get("/<node>/<channel>/events")
    def events(node: str, channel: str) -> Response:
        key = _found(queries, node, channel)
        return as_json([dump_record(event) for event in queries.sensors.events(key)])

    @pages.post("/<node>/<channel>/events")
    @needs(Role.DO)
    def add_event(node: str, channel: str) -> Response:
        if changes is None:
            abort(403, "this address is for looking only")
        key = _found(queries, node, channel)
        told = parse_sensor_told(key, request.get_data(cache=False), queries.now_s(), signed_in_name())
        response = as_json({"event_id": changes.add_sensor_event(told)})
        response.status_code = 201
        return response

    return pages


def _found(queries: Queries, node: str, channel: str) -> str:
    try:
        return queries.sensors.channel(f"{node}/{channel}").key
    except BadInputError as error:
        raise NotFound(str(error)) from None
