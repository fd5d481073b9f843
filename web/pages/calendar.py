"""The calendar: a page for one's secret addresses, and what calendar programs read at them."""

from flask import Blueprint, Response, abort, render_template, request
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import RefusedError
from monitor.model.people import Role
from monitor.service.calendar import Calendar
from monitor.wire.icalendar_feed import CONTENT_TYPE, dump_calendar
from web.present import Presenter
from web.sign_in.roles import needs, open_to_all
from web.sign_in.visitor import signed_in_name


def blueprint(calendar: Calendar | None, present: Presenter, zone: str, *, can_change: bool) -> Blueprint:
    """Routes; the addresses are read also where nothing can be changed."""
    pages = Blueprint("calendar", __name__)

    @pages.get("/calendar")
    @needs(Role.LOOK)
    def show() -> AnyResponse:
        return _page()

    @pages.post("/calendar")
    @needs(Role.LOOK)
    def make() -> AnyResponse:
        try:
            secret = _here().make(signed_in_name())
        except RefusedError as error:
            return _page(fault=str(error), status=400)
        return _page(secret=secret, status=201)

    @pages.post("/calendar/<int:number>/end")
    @needs(Role.LOOK)
    def end(number: int) -> AnyResponse:
        _here().end(signed_in_name(), number)
        return _page(is_ended=True)

    @pages.get("/calendar/<secret>.ics")
    @open_to_all
    def read(secret: str) -> AnyResponse:
        found = None if calendar is None else calendar.read(secret[:100])
        if found is None:
            raise NotFound("there is no calendar at this address: it was ended, or mistyped")
        content = dump_calendar(found, name="Filament", zone=zone)
        return Response(content, content_type=CONTENT_TYPE)

    def _here() -> Calendar:
        if calendar is None or not can_change:
            abort(403, "this address is for looking only")
        return calendar

    def _page(secret: str = "", fault: str = "", status: int = 200, *, is_ended: bool = False) -> Response:
        feeds = () if calendar is None else calendar.feeds(signed_in_name())
        html = render_template(
            "calendar.html",
            address=f"{request.host_url}calendar/{secret}.ics" if secret else "",
            fault=fault,
            is_ended=is_ended,
            feeds=[(feed.number, present.clock(feed.made_ms / 1000.0, "%d %b %Y %H:%M")) for feed in feeds],
            can_change=can_change and calendar is not None,
            zone=zone,
        )
        return Response(html, status=status)

    return pages
