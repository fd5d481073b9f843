"""Bags without a sensor: the page that says how long one keeps, and the same answer for programs."""

from flask import Blueprint, Response, render_template, request

from monitor.errors import FieldError
from monitor.model.answers import plain
from monitor.service.bag_advice import advise_on_bag
from monitor.service.queries import Queries
from web.bags.form import form_of, read
from web.bags.words import Told, box_rows, film_rows, told
from web.pages.api import as_json
from web.present import Presenter

_ASKED = {"dry-g", "width-cm", "length-cm"}


def blueprint(queries: Queries, present: Presenter) -> Blueprint:
    """Routes of the page and of the API; both take the same parameters."""
    pages = Blueprint("bags", __name__)

    @pages.get("/bags")
    def show() -> tuple[str, int]:
        if not set(request.args) & _ASKED:
            return _page(None, None), 200  # nothing asked yet; what a link does give is filled in
        try:
            wish = read(request.args)
            answer = advise_on_bag(queries, wish)
        except FieldError as error:
            return _page(None, error), 400
        today = present.local(queries.now_s()).date()
        return _page(told(answer, wish, queries.library(), today), None), 200

    @pages.get("/api/v1/bag")
    def answer() -> Response:
        return as_json(plain(advise_on_bag(queries, read(request.args))))

    def _page(answer: Told | None, error: FieldError | None) -> str:
        form = form_of(queries, request.args, error)
        return render_template("bags.html", form=form, told=answer, films=film_rows(), boxes=box_rows())

    return pages
