"""A box: what it is like, where it is heading, and what people tell of it."""

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError
from monitor.model.people import Role
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from web import charts
from web.board import Board
from web.boxes import form
from web.boxes.sheet import BoxSheets
from web.entry import TEXT_MAX, Entry, told_by, typed
from web.pages.common import SEE_OTHER, one_of, remembering
from web.present import Presenter
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name


def blueprint(queries: Queries, changes: Changes | None, board: Board, present: Presenter) -> Blueprint:
    """Routes of the pages; without `changes` they can only be looked at."""
    pages = Blueprint("boxes", __name__)
    sheets = BoxSheets(queries, board, present, can_change=changes is not None)

    @pages.get("/boxes/<key>")
    def show(key: str) -> str:
        return _page(sheets, key, _asked(sheets, key, present))

    @pages.post("/boxes/<key>/events")
    @needs(Role.DO)
    def add_event(key: str) -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        sheets.found(key)
        entry = told_by(typed(request.form), signed_in_name())
        try:
            done, spool = _written(sheets, changes, key, entry)
        except BadInputError as error:
            return Response(_page(sheets, key, form.faulty(entry, error)), status=400)
        response = redirect(url_for(".show", key=key, done=done, spool=spool), SEE_OTHER)
        return remembering(response, entry.value("who"))

    return pages


def _written(sheets: BoxSheets, changes: Changes, key: str, entry: Entry) -> tuple[int, str | None]:
    """The record's number, and the spool that it is of where something was moved."""
    if entry.kind in form.MOVES:
        move = sheets.move(key, entry)
        return changes.add_event(move), move.spool
    return changes.add_box_event(sheets.box_event(key, entry)), None


def _page(sheets: BoxSheets, key: str, entry: Entry) -> str:
    args = request.args
    sheet = sheets.sheet(
        key,
        entry,
        window=one_of("window", tuple(charts.WINDOWS), "day"),
        done=(args.get("done", ""), args.get("spool", "") if "done" in args else ""),
        who=signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
    )
    sheet["can_change"] = sheet["can_change"] and may(Role.DO)
    return render_template("box.html", **sheet)


def _asked(sheets: BoxSheets, key: str, present: Presenter) -> Entry:
    """Which form a link opens: a new one, one for a question's moment, or one about a record."""
    args = request.args
    if "correct" in args:
        return sheets.to_correct(key, args["correct"])
    if "withdraw" in args:
        return sheets.to_withdraw(key, args["withdraw"])
    act = one_of("act", ("", *form.ACTS), "")
    entry = form.asked_about(act, args.get("at", ""), present)
    if act == "took_out" and args.get("spool") in sheets.found(key).spools:
        return Entry(kind=act, values={**entry.values, "spool": args["spool"]})
    return entry
