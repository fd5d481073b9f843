"""Alarms as JSON: what programs ask about them. Their list is with the other answers of the site."""

from collections.abc import Callable

from flask import Blueprint, Response, abort, request

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.people import Role
from monitor.service.alarm_acts import AlarmActs
from monitor.service.alarm_answers import AlarmLook
from monitor.wire import alarm_orders
from web.pages.api import as_json
from web.sign_in.roles import needs
from web.sign_in.visitor import signed_in_name


def blueprint(acts: AlarmActs | None, *, can_change: bool) -> Blueprint:
    """Routes of the API; each stands in the OpenAPI document."""
    pages = Blueprint("alarms_api", __name__, url_prefix="/api/v1/alarms")

    @pages.post("/<key>/acknowledge")
    @needs(Role.DO)
    def acknowledge(key: str) -> Response:
        body = alarm_orders.parse_acknowledge(_content())
        return _looked(lambda here, who: here.acknowledge(key, body.activation, who), body.who)

    @pages.post("/<key>/shelve")
    @needs(Role.DO)
    def shelve(key: str) -> Response:
        body = alarm_orders.parse_shelve(_content())
        return _looked(
            lambda here, who: here.shelve(key, who, body.why, until_s=body.until_s, one_shot=body.one_shot),
            body.who,
        )

    @pages.post("/<key>/unshelve")
    @needs(Role.DO)
    def unshelve(key: str) -> Response:
        body = alarm_orders.parse_plain(_content())
        return _looked(lambda here, who: here.unshelve(key, who), body.who)

    @pages.post("/<key>/reset")
    @needs(Role.DO)
    def reset(key: str) -> Response:
        body = alarm_orders.parse_plain(_content())
        return _looked(lambda here, who: here.reset(key, who), body.who)

    @pages.post("/<key>/out-of-service")
    @needs(Role.DO)
    def out_of_service(key: str) -> Response:
        body = alarm_orders.parse_why(_content())
        return _looked(lambda here, who: here.out_of_service(key, who, body.why), body.who)

    @pages.post("/<key>/return")
    @needs(Role.DO)
    def take_in(key: str) -> Response:
        body = alarm_orders.parse_plain(_content())
        return _looked(lambda here, who: here.return_to_service(key, who), body.who)

    @pages.post("/silence")
    @needs(Role.DO)
    def silence() -> Response:
        body = alarm_orders.parse_silence(_content())
        return as_json({"until_s": _here().silence(body.minutes, _who(body.who))})

    def _here() -> AlarmActs:
        if acts is None or not can_change:
            abort(403, "this address is for looking only")
        return acts

    def _looked(act: Callable[[AlarmActs, str], AlarmLook], who: str | None) -> Response:
        return as_json(plain(act(_here(), _who(who)).alarm))

    return pages


def _content() -> bytes:
    return request.get_data(cache=False)


def _who(said: str | None) -> str:
    who = signed_in_name() or said
    if who is None:
        raise BadInputError("the order cannot be read: `who` is missing")
    return who
