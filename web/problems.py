"""Errors as people and programs need them: a page, or application/problem+json (RFC 9457)."""

import json
import logging

from flask import Flask, Response, render_template, request
from werkzeug.exceptions import HTTPException

from monitor.errors import BadInputError, RefusedError, StoreError

log = logging.getLogger(__name__)

_FOR_PROGRAMS = ("/api/", "/events", "/healthz", "/metrics")


def register(app: Flask) -> None:
    """Every error of every route goes through here."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(BadInputError, lambda error: answer(400, "Bad request", str(error)))
    app.register_error_handler(RefusedError, lambda error: answer(409, "Refused", str(error)))
    app.register_error_handler(
        StoreError, lambda error: answer(503, "The database does not answer", str(error))
    )
    app.register_error_handler(Exception, _unexpected)


def answer(status: int, title: str, detail: str) -> Response:
    """The problem, in the form that this caller reads."""
    if request.path.startswith(_FOR_PROGRAMS):
        document = {"type": "about:blank", "title": title, "status": status, "detail": detail}
        return Response(json.dumps(document), status=status, mimetype="application/problem+json")
    return Response(render_template("problem.html", title=title, detail=detail), status=status)


def _http(error: HTTPException) -> Response:
    response = answer(error.code or 500, error.name, error.description or error.name)
    for name, value in error.get_headers(request.environ):
        if name.lower() != "content-type":  # Retry-After, Allow
            response.headers[name] = value
    return response


def _unexpected(error: Exception) -> Response:
    log.exception("page failed path=%s", request.path, exc_info=error)
    return answer(500, "A fault in the monitor", "The fault is in its log; the readings go on being kept.")
