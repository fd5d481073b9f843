"""Pages for people: the first screen, and how the monitor itself is doing."""

from flask import Blueprint, render_template

from monitor.service.queries import Queries
from web.board import Board, ticks
from web.present import Presenter


def blueprint(queries: Queries, board: Board, present: Presenter) -> Blueprint:
    """Routes of the pages."""
    pages = Blueprint("glance", __name__)

    @pages.get("/")
    def show() -> str:
        parts = board.parts()
        return render_template("glance.html", parts=parts, status=parts.status, ticks=ticks())

    @pages.get("/health")
    def health() -> str:
        parts = board.parts()
        rows = [
            (present.clock(item.at_ms / 1000.0), item.topic, item.reason) for item in queries.quarantine(30)
        ]
        return render_template("health.html", health=parts.status.health, parts=parts, quarantined=rows)

    return pages
