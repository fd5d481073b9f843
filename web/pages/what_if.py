"""What-if: the page for advising somebody at the counter, and the same answer for programs."""

from flask import Blueprint, Response, render_template, request

from monitor.errors import FieldError
from monitor.model.answers import plain
from monitor.service.advice import advise
from monitor.service.queries import Queries
from web.axes import SIDE
from web.pages.api import as_json
from web.present import Presenter
from web.what_if.form import form_of, read
from web.what_if.words import Told, told


def blueprint(queries: Queries, present: Presenter) -> Blueprint:
    """Routes of the page and of the API; both take the command's options as their parameters."""
    pages = Blueprint("what_if", __name__)

    @pages.get("/what-if")
    def show() -> tuple[str, int]:
        if "material" not in request.args or not {"air", "rh"} & set(request.args):
            return _page(None, None), 200  # nothing asked yet; what a link does give is filled in
        try:
            return _page(told(advise(queries, read(request.args)), present), None), 200
        except FieldError as error:
            return _page(None, error), 400

    @pages.get("/api/v1/what-if")
    def answer() -> Response:
        return as_json(plain(advise(queries, read(request.args)).answer))

    def _page(answer: Told | None, error: FieldError | None) -> str:
        form = form_of(queries, request.args, error)
        return render_template("what_if.html", form=form, told=answer, side=SIDE, zone=queries.zone())

    return pages
