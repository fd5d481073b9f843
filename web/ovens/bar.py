"""Stop on every page while an oven may heat (B-17), whatever else fails."""

from flask import Flask, render_template
from markupsafe import Markup

from monitor.errors import MonitorError
from monitor.service.queries import Queries
from web.ovens.view import View, Views


def register(app: Flask, queries: Queries, views: Views) -> None:
    """Gives the templates `heat_bar()`; the live stream sends the same part again as it changes."""

    def heat_bar() -> Markup:
        shown: tuple[View, ...] = ()
        is_blind = False
        try:
            if views.can_stop:
                shown = views.bar(views.all(queries.now_s()))
        except MonitorError:  # what heats cannot be told: then stop is offered all the same
            is_blind = True
        return Markup(render_template("parts/oven_bar.html", bar=shown, is_blind=is_blind))

    app.jinja_env.globals["heat_bar"] = heat_bar
