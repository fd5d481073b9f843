"""Reports on boxes and spools: a page made for print, the same as PDF and as JSON, and what was decided."""

import datetime as dt

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.people import Role
from monitor.model.report import Report
from monitor.service.changes import DECISIONS, Changes
from monitor.service.queries import Queries
from monitor.service.report import MOST_S, Reports
from web.entry import TEXT_MAX, local_moment, local_text
from web.inside import sentence
from web.pages.api import as_json
from web.pages.common import SEE_OTHER, remembering
from web.present import Presenter
from web.reports.pdf import pdf_of
from web.reports.sheet import Sheet, sheet_of
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name

_DAY_S = 86_400.0
_DAYS = (1, 7, 30, 90)


def blueprint(
    queries: Queries, reports: Reports | None, changes: Changes | None, present: Presenter
) -> Blueprint:
    """Routes; without `reports` there are none to be had, without `changes` nothing can be decided."""
    pages = Blueprint("reports", __name__)

    @pages.get("/boxes/<key>/report")
    def of_box(key: str) -> str:
        return _page("box", key)

    @pages.get("/spools/<key>/report")
    def of_spool(key: str) -> str:
        return _page("spool", key)

    @pages.get("/boxes/<key>/report.pdf")
    def box_pdf(key: str) -> Response:
        return _pdf("box", key)

    @pages.get("/spools/<key>/report.pdf")
    def spool_pdf(key: str) -> Response:
        return _pdf("spool", key)

    @pages.get("/api/v1/boxes/<key>/report")
    def box_json(key: str) -> Response:
        return as_json(plain(_report("box", key)))

    @pages.get("/api/v1/spools/<key>/report")
    def spool_json(key: str) -> Response:
        return as_json(plain(_report("spool", key)))

    @pages.post("/boxes/<key>/report")
    @needs(Role.DO)
    def decide_box(key: str) -> AnyResponse:
        return _decided("box", key)

    @pages.post("/spools/<key>/report")
    @needs(Role.DO)
    def decide_spool(key: str) -> AnyResponse:
        return _decided("spool", key)

    def _decided(kind: str, key: str) -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        who = signed_in_name() or request.form.get("who", "").strip()[: 2 * TEXT_MAX]
        try:
            changes.decide(key, request.form.get("decision", ""), request.form.get("why", "").strip(), who)
        except BadInputError as error:
            return Response(_page(kind, key, fault=sentence(str(error))), status=400)
        asked = {name: value for name, value in request.args.items() if name in ("from", "to", "days")}
        where = url_for(f".of_{kind}", key=key, **asked)  # type: ignore[arg-type]
        return remembering(redirect(f"{where}#decided", SEE_OTHER), who)

    def _window() -> tuple[float, float]:
        now_s = queries.now_s()
        days = request.args.get("days", "")
        if "from" in request.args or "to" in request.args:
            from_s = local_moment("from", request.args.get("from", ""), present, now_s)
            return from_s, local_moment("to", request.args.get("to", ""), present, now_s)
        if days and days not in map(str, _DAYS):
            raise BadInputError(f"days {days[:10]!r} is unknown; one of: {', '.join(map(str, _DAYS))}")
        return now_s - _DAY_S * int(days or 7), now_s

    def _report(kind: str, key: str) -> Report:
        if reports is None:
            raise NotFound("no reports are to be had here")
        known = queries.inventory().boxes if kind == "box" else queries.inventory().spools
        if key not in known:
            raise NotFound(f"{kind} {key[:63]!r} is not in the inventory")
        return reports.report(kind, key, *_window())

    def _sheet(report: Report) -> Sheet:
        inventory = queries.inventory()
        names = {box.key: box.name for box in inventory.boxes.values()}
        names |= {room.key: room.name for room in inventory.rooms.values()}
        names |= {oven.key: oven.name for oven in inventory.ovens.values()}
        return sheet_of(report, names, present, queries.zone())

    def _pdf(kind: str, key: str) -> Response:
        report = _report(kind, key)
        day = dt.datetime.fromtimestamp(report.to_s, dt.UTC).strftime("%Y-%m-%d")
        return Response(
            pdf_of(_sheet(report)),
            mimetype="application/pdf",
            headers={"Content-Disposition": f'inline; filename="report-{key}-{day}.pdf"'},
        )

    def _page(kind: str, key: str, fault: str = "") -> str:
        report = _report(kind, key)
        asked = {name: value for name, value in request.args.items() if name in ("from", "to", "days")}
        return render_template(
            "report.html",
            sheet=_sheet(report),
            kind=kind,
            key=key,
            asked=asked,
            days=_DAYS,
            chosen=None if "from" in asked else int(asked.get("days") or 7),
            begin=local_text(present, report.from_s),
            end=local_text(present, report.to_s),
            fault=fault,
            decisions=DECISIONS,
            most_days=round(MOST_S / _DAY_S),
            who=signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
            signed_in=signed_in_name(),
            can_change=changes is not None and may(Role.DO),
        )

    return pages
