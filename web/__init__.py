"""The pages, the API and the live stream: a Flask application over the service's queries."""

import threading

from flask import Flask, request
from jinja2 import StrictUndefined
from werkzeug.wrappers import Response

from monitor.service.alarm_acts import AlarmActs
from monitor.service.calendar import Calendar
from monitor.service.changes import Changes
from monitor.service.planned_starts import PlannedStarts
from monitor.service.queries import Queries
from monitor.service.report import Reports
from web import guard, nav, present, problems
from web.alarms import mark
from web.board import Board
from web.ovens import api as oven_api
from web.ovens import bar
from web.ovens.desk import Desk, Ovens
from web.ovens.view import Views
from web.pages import alarms as alarm_pages
from web.pages import (
    alarms_api,
    api,
    bags,
    boxes,
    cycles,
    glance,
    installed,
    live,
    log,
    machine,
    materials,
    messages,
    ovens,
    rooms,
    sensors,
    sensors_api,
    spools,
    what_if,
)
from web.pages import calendar as calendar_pages
from web.pages import reports as report_pages
from web.sign_in import api as session_api
from web.sign_in import entry, visitor
from web.sign_in import people as people_pages
from web.sign_in.door import Door


def create_app(
    queries: Queries,
    changes: Changes | None,
    *,
    look_only: bool,
    hosts: frozenset[str],
    zone: str,
    closing: threading.Event | None = None,
    door: Door | None = None,
    desk: Desk | None = None,
    calendar: Calendar | None = None,
    reports: Reports | None = None,
    alarms: AlarmActs | None = None,
    planned: PlannedStarts | None = None,
) -> Flask:
    """The application.

    Args:
        changes: What people may change; None where nothing can be.
        look_only: Nothing can be changed through it, whatever `changes` is.
        hosts: Names it answers to besides plain addresses; empty = any.
        closing: Once set, the live streams end.
        planned: Starts planned for later; None = none can be planned.
        desk: Minds the ovens; None = they are shown as last heard, and nothing is asked of them.
        reports: On boxes and spools; None = there are none.
        calendar: What calendar programs read; None = there is none.
        alarms: What people do about alarms; None = none are kept.
        door: Lets people sign in and minds their roles; None = as `look_only` and `changes` say.
    """
    app = Flask(__name__)
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.filters["tied"] = present.tied
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.config["MAX_CONTENT_LENGTH"] = 1_000_000
    presenter = present.Presenter(zone)
    changes = None if look_only else changes
    site_ovens = Ovens(queries, desk, planned)
    views = Views(site_ovens, presenter)
    board = Board(app, queries, presenter, views)
    app.before_request(lambda: guard.admit(look_only=look_only, hosts=hosts, door=door))
    app.after_request(_with_headers)
    if door is not None:
        app.after_request(door.end_with_session)
    visitor.register(app)
    problems.register(app)
    nav.register(app)
    bar.register(app, queries, views)
    mark.register(app, alarms)
    for blueprint in (
        glance.blueprint(queries, board, presenter),
        boxes.blueprint(queries, changes, board, presenter),
        live.blueprint(queries, board, closing or threading.Event()),
        api.blueprint(queries, changes),
        ovens.blueprint(queries, changes, site_ovens, views, presenter),
        oven_api.blueprint(queries, site_ovens, can_change=changes is not None),
        cycles.blueprint(queries, presenter),
        machine.blueprint(queries),
        materials.blueprint(queries, changes, presenter),
        what_if.blueprint(queries, presenter),
        rooms.blueprint(queries, board, presenter),
        bags.blueprint(queries, presenter),
        report_pages.blueprint(queries, reports, changes, presenter),
        log.blueprint(queries, presenter),
        calendar_pages.blueprint(calendar, presenter, zone, can_change=changes is not None),
        spools.blueprint(queries, changes, presenter),
        sensors.blueprint(queries, changes, presenter),
        sensors_api.blueprint(queries, changes),
        alarm_pages.blueprint(queries, alarms, presenter, can_change=not look_only),
        alarms_api.blueprint(alarms, can_change=not look_only),
        session_api.blueprint(door),
        *(() if door is None else (entry.blueprint(door), people_pages.blueprint(door, presenter, zone))),
        *messages.blueprints(door, presenter, zone),
        installed.blueprint(),
    ):
        app.register_blueprint(blueprint)
    return app


def _with_headers(response: Response) -> Response:
    guard.secure(response)
    response.headers["Cache-Control"] = _caching()
    return response


def _caching() -> str:
    """The state of things is never kept; files of the program are asked after, as an upgrade changes them."""
    return "no-cache" if request.endpoint == "static" else "no-store"
