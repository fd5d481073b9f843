"""The event stream: page parts sent again as they change."""

import json
import re
import threading
import time
from collections.abc import Iterator

from flask import Blueprint, Response
from werkzeug.exceptions import ServiceUnavailable

from monitor.service.queries import Queries
from web.board import Board, Parts
from web.present import seconds

STREAMS_MAX = 16
BEAT_S = 10.0  # something must be sent this often, or a phone that went away keeps its place
URGENT_BEAT_S = 2.0  # while an oven heats: its permit, its power and a stop's effect do not wait for a commit
LEAST_APART_S = 1.0
LIFE_S = 600.0
_AGE = re.compile(r"(<time[^>]*>)[^<]*")


def blueprint(queries: Queries, board: Board, closing: threading.Event) -> Blueprint:
    """The route of the stream; beyond its places a page asks every few seconds instead."""
    pages = Blueprint("live", __name__)
    places = threading.BoundedSemaphore(STREAMS_MAX)

    @pages.get("/events")
    def events() -> Response:
        if not places.acquire(blocking=False):
            raise ServiceUnavailable("all places of the live stream are taken", retry_after=30)
        response = Response(_stream(queries, board, closing), mimetype="text/event-stream")
        response.call_on_close(places.release)
        response.headers["X-Accel-Buffering"] = "no"
        return response

    @pages.get("/parts")
    def parts() -> Response:
        """The same parts at once, for a page that found no place in the stream."""
        now = board.parts()
        return Response(_document(now, now.html), mimetype="application/json")

    return pages


def _document(now: Parts, parts: dict[str, str]) -> str:
    return json.dumps({"now_s": seconds(now.status.at), "layout": now.layout, "parts": parts})


def _stream(queries: Queries, board: Board, closing: threading.Event) -> Iterator[str]:
    """All parts at first, then those that differ from what this listener has.

    A stream ends after a while and the page asks for the next one: so a listener that no longer reads
    cannot hold its place, nor make the server keep what it does not take.
    """
    sent: dict[str, str] = {}
    ends_s = time.monotonic() + LIFE_S
    yield "retry: 3000\n\n"
    while time.monotonic() < ends_s and not closing.is_set():
        now = board.parts()
        # Ages count on by themselves in the page; only what else differs is sent again.
        still = {key: _AGE.sub(r"\1", html) for key, html in now.html.items()}
        changed = {key: now.html[key] for key in still if sent.get(key) != still[key]}
        yield f"event: parts\ndata: {_document(now, changed)}\n\n"
        sent = still
        closing.wait(LEAST_APART_S)
        queries.wait_for_change(now.revision, URGENT_BEAT_S if now.is_urgent else BEAT_S)
