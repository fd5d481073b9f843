"""Spools: one ranked list, a page for each, what people tell of it, and its label."""

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError
from monitor.model.answers import StatusAnswer
from monitor.model.people import Role
from monitor.service.changes import Changes
from monitor.service.queries import Queries
from web.entry import TEXT_MAX, Entry, told_by, typed
from web.pages.common import SEE_OTHER, one_of, remembering
from web.present import Presenter, seconds
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name
from web.spools import course, form, label, ranking, words
from web.spools.sheet import Sheets


def blueprint(queries: Queries, changes: Changes | None, present: Presenter) -> Blueprint:
    """Routes of the list, the pages and the labels; without `changes` they can only be looked at."""
    pages = Blueprint("spools", __name__)
    sheets = Sheets(queries, present, can_change=changes is not None)

    @pages.get("/spools")
    def show_all() -> str:
        return _list_page(queries, present)

    @pages.get("/spools/<key>")
    def show(key: str) -> str:
        return _page(sheets, key, _asked(sheets, key))

    @pages.post("/spools/<key>/events")
    @needs(Role.DO)
    def add_event(key: str) -> AnyResponse:
        if changes is None:
            abort(403, "this address is for looking only")
        sheets.found(key)
        entry = told_by(typed(request.form), signed_in_name())
        try:
            number = changes.add_event(sheets.event(key, entry))
        except BadInputError as error:
            return Response(_page(sheets, key, form.faulty(entry, error)), status=400)
        response = redirect(url_for(".show", key=key, done=number), SEE_OTHER)
        return remembering(response, entry.value("who"))

    @pages.get("/spools/<key>/label")
    def show_label(key: str) -> str:
        size = one_of("size", tuple(label.SIZES), "small")
        made = label.label(
            sheets.found(key),
            queries.inventory().spools[key],
            sheets.events(key),
            queries.library(),
            present,
            url=url_for(".show", key=key, _external=True),
            now_s=queries.now_s(),
        )
        return render_template("label.html", label=made, key=key, size=size, sizes=label.SIZES)

    return pages


def _page(sheets: Sheets, key: str, entry: Entry) -> str:
    sheet = sheets.sheet(
        key,
        entry,
        window=one_of("window", tuple(course.WINDOWS), "month"),
        done=request.args.get("done", ""),
        who=signed_in_name() or request.cookies.get("who", "")[:TEXT_MAX],
    )
    sheet["can_change"] = sheet["can_change"] and may(Role.DO)
    return render_template("spool.html", **sheet)


def _asked(sheets: Sheets, key: str) -> Entry:
    """Which form a link opens: a new one, or one that corrects or withdraws a record."""
    args = request.args
    if "correct" in args:
        return sheets.to_correct(key, args["correct"])
    if "withdraw" in args:
        return sheets.to_withdraw(key, args["withdraw"])
    return Entry(kind=one_of("act", ("", *form.ACTS), ""))


def _list_page(queries: Queries, present: Presenter) -> str:
    status, library, inventory = queries.status(), queries.library(), queries.inventory()
    now_s = seconds(status.at) or 0.0
    place, material = request.args.get("place"), request.args.get("material")
    chosen = [
        spool
        for spool in status.spools
        if (place is None or (spool.place or "") == place)
        and (material is None or spool.material == material)
    ]
    named = [] if place is None else [words.place_of(inventory, place or None).name]
    named += [] if material is None else [words.short_name(library, material)]
    return render_template(
        "spools.html",
        rows=[
            words.row(spool, library, inventory, present, now_s) for spool in ranking.ranked(chosen, now_s)
        ],
        headline=ranking.headline(ranking.tally(chosen)),
        at=present.age(now_s, None, now_s),
        clock=present.clock(now_s, "%H:%M"),
        named=", ".join(named),
        places=[(words.place_of(inventory, key), count) for key, count in _places(status)],
        materials=[
            (key, words.short_name(library, key)) for key in sorted({s.material for s in status.spools})
        ],
    )


def _places(status: StatusAnswer) -> list[tuple[str | None, int]]:
    """Where spools are, and how many."""
    held = [spool.place for spool in status.spools]
    return [(place, held.count(place)) for place in dict.fromkeys(held)]
