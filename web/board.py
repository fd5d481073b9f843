"""The page parts that live updates send again, rendered once for all who watch."""

import hashlib
import threading
from dataclasses import dataclass, replace

from flask import Flask, render_template

from monitor.model.answers import StatusAnswer
from monitor.service.queries import Queries
from web.alarms.mark import mark_of
from web.ovens.view import View, Views
from web.present import RULE_MARKS_PCT, RULE_TICKS_PCT, Presenter, rule_x, seconds
from web.spools.ranking import briefly, tally


@dataclass(frozen=True, slots=True)
class Parts:
    """Finished page parts by their id, of one revision."""

    revision: int
    layout: str  # changes with what there is, not with how it is
    status: StatusAnswer
    html: dict[str, str]
    is_urgent: bool = False  # an oven heats, or a stop waits for its effect


class Board:
    """Renders the parts of the present revision, at most once."""

    def __init__(self, app: Flask, queries: Queries, presenter: Presenter, views: Views) -> None:
        self._app = app
        self._views = views
        self._queries = queries
        self._presenter = presenter
        self._lock = threading.Lock()
        self._kept: Parts | None = None
        self._kept_at_s = 0.0

    def parts(self) -> Parts:
        """The parts as of now. States change with time alone, so they are not kept for longer than 5 s."""
        with self._lock:
            revision, now_s = self._queries.revision(), self._queries.now_s()
            kept = self._kept
            if kept is None or kept.revision != revision or now_s - self._kept_at_s > 5.0:
                kept = self._kept = self._rendered(revision)
                self._kept_at_s = now_s
            return self._with_heat(kept)

    def _rendered(self, revision: int) -> Parts:
        status, present = self._queries.status(), self._presenter
        now_s = seconds(status.at)
        with self._app.test_request_context():  # templates make links
            html = {
                "head": render_template("parts/head.html", status=status, present=present, now_s=now_s),
                "alarm-mark": render_template("parts/alarm_mark.html", mark=mark_of(status.alarms)),
                "needs": render_template("parts/needs.html", status=status, present=present),
                "notices": render_template("parts/notices.html", health=status.health),
                "spools": render_template("parts/spools.html", words=briefly(tally(status.spools))),
            }
            for oven in status.ovens:
                html[f"oven-{oven.key}"] = render_template("parts/heat.html", heat=present.heat(oven, now_s))
            if not self._views.can_stop:
                html |= self._heat(self._views.heard(status.ovens, now_s or 0.0))
            for room in status.rooms:
                strip = present.room(room, now_s)
                html[f"room-{room.key}"] = render_template("parts/room.html", strip=strip)
            rooms = {room.key: room for room in status.rooms}
            for box in status.boxes:
                strip = present.box(box, now_s, rooms.get(box.room))
                html[f"box-{box.key}"] = render_template("parts/strip.html", strip=strip, ticks=ticks())
        return Parts(revision=revision, layout=_layout(status), status=status, html=html)

    def _with_heat(self, kept: Parts) -> Parts:
        """With what stops heat from any page, and each oven as its page and the list show it.

        Never from what is kept: a stop that was just asked must not vanish behind a part that is older.
        """
        if not self._views.can_stop:
            return kept
        views = self._views.all(self._queries.now_s())
        with self._app.test_request_context():
            html = kept.html | self._heat(views)
        return replace(kept, html=html, is_urgent=any(view.is_heating for view in views))

    def _heat(self, views: tuple[View, ...]) -> dict[str, str]:
        html = {}
        for view in views:
            html[f"look-{view.key}"] = render_template("parts/oven_look.html", view=view)
            html[f"facts-{view.key}"] = render_template("parts/oven_facts.html", view=view)
        html["heat-bar"] = render_template("parts/oven_bar.html", bar=self._views.bar(views), is_blind=False)
        return html


def _layout(status: StatusAnswer) -> str:
    there_is = [(box.room, box.key) for box in status.boxes] + [("", room.key) for room in status.rooms]
    there_is += [("oven", oven.key) for oven in status.ovens]
    return hashlib.sha256(repr(there_is).encode()).hexdigest()[:12]


def ticks() -> list[tuple[str, str]]:
    """The rule's marks: (position, label, which is empty for a small mark)."""
    return [(rule_x(pct), str(pct) if pct in RULE_TICKS_PCT else "") for pct in RULE_MARKS_PCT]
