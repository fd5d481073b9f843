"""Puts the parts of a box's page together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from werkzeug.exceptions import NotFound

from monitor.model.answers import BoxAnswer, Question, StatusAnswer
from monitor.model.box_event import BoxEvent
from monitor.model.records import effective
from monitor.model.spool_event import SpoolEvent
from monitor.service.queries import Queries
from web import chart_figure, charts, inside
from web.axes import SIDE
from web.board import Board, ticks
from web.boxes import choices, course, form, records, words
from web.entry import Entry
from web.present import Presenter, seconds
from web.spools import records as spool_records
from web.spools.choices import steps_g

_ASKED_ACTS = {"desiccant_changed": (("recharged", "Enter it"),)}
_OTHER_ACTS = (("put_in", "I put in a spool"), ("took_out", "I took out a spool"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A question with the forms that answer it."""

    words: str
    at: str
    when: str
    acts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What was just written down; a move belongs to its spool."""

    record: spool_records.Record
    spool: str = ""
    name: str = ""


class BoxSheets:
    """The pages of single boxes, as what their template needs."""

    def __init__(self, queries: Queries, board: Board, present: Presenter, *, can_change: bool) -> None:
        self._queries = queries
        self._board = board
        self._present = present
        self._can_change = can_change

    def found(self, key: str) -> BoxAnswer:
        """The answer of a box that there is."""
        return _found(self._board.parts().status, key)

    def events(self, key: str) -> tuple[BoxEvent, ...]:
        """All records of a box."""
        history = self._queries.box_history(key)
        return () if history is None else history.events

    def sheet(
        self, key: str, entry: Entry, *, window: str, done: tuple[str, str], who: str
    ) -> dict[str, Any]:
        """Everything on the page of a box.

        Args:
            entry: The form to show; of no kind = nobody chose one.
            done: Number of the record that was just written and the spool that it is of; empty = none.
            who: As remembered from the last form.
        """
        parts, library = self._board.parts(), self._queries.library()
        box, present = _found(parts.status, key), self._present
        now_s, events = seconds(parts.status.at) or 0.0, self.events(key)
        return {
            "box": box,
            "present": present,
            "parts": parts,
            "ticks": ticks(),
            "needs": [need for need in parts.status.needs if need.place == key],
            "questions": tuple(_asked(question, present) for question in box.questions),
            "findings": words.findings(box, library),
            "limit": words.limit(box, library),
            "desiccant": words.desiccant(box, library, present),
            "lid": words.lid(box, present, now_s),
            "tightness": words.tightness(box.tightness),
            "inside": inside.spools(spool for spool in parts.status.spools if spool.key in box.spools),
            "estimate_at": _clock(box.estimate_at, present),
            "standing": records.standing(events, library, present),
            "gone": records.gone(events, library, present),
            "done": self._done(events, done),
            "zone": self._queries.zone(),
            "side": SIDE,
            "sensor": self._sensor(key),
            **self._pictures(box, window, now_s),
            **self._form(parts.status, box, entry, events, who),
        }

    def box_event(self, key: str, entry: Entry) -> BoxEvent:
        """What a form tells of a box; FieldError names a field that is wrong."""
        original = next((event for event in self.events(key) if event.event_id == entry.replaces), None)
        return form.box_event_of(entry, key, original, self._present, self._queries.now_s())

    def move(self, key: str, entry: Entry) -> SpoolEvent:
        """The move of a spool that a form tells of."""
        spools = self._board.parts().status.spools
        here = {spool.key for spool in spools if spool.place == key}
        others = {spool.key for spool in spools} - here
        return form.move_of(entry, key, here, others, self._present, self._queries.now_s())

    def to_correct(self, key: str, number: str) -> Entry:
        """The form of a record, filled in as it stands."""
        return form.entry_of(self._standing(key, number), self._present)

    def to_withdraw(self, key: str, number: str) -> Entry:
        """The form that says of a record that it is not true."""
        return Entry(kind="withdrawn", replaces=self._standing(key, number).event_id)

    def _standing(self, key: str, number: str) -> BoxEvent:
        for event in effective(self.events(key)):
            if str(event.event_id) == number:
                return event
        raise NotFound(f"no standing record of this box has the number {number[:20]!r}")

    def _pictures(self, box: BoxAnswer, window: str, now_s: float) -> dict[str, Any]:
        queries, present = self._queries, self._present
        back_s = 3600.0 * charts.WINDOWS[window][1]
        wanted = course.window(box, back_s)
        found = queries.box_course(box.key, now_s - wanted.back_s, now_s + wanted.ahead_s)
        chart = charts.chart(queries, present, box.key, box.room, window, now_s)
        return {
            "window": window,
            "windows": charts.WINDOWS,
            "chart": chart,
            "drawn": chart_figure.figure(
                chart, present, limit_pct=box.limit_humidity_pct, course=found, ahead_s=back_s
            ),
            "loading": course.figure(box, found, wanted, present, now_s),
        }

    def _sensor(self, key: str) -> tuple[str, str] | None:
        """Node and channel of what measures the box."""
        box = self._queries.inventory().boxes.get(key)
        if box is None or box.channel is None:
            return None
        node, _, channel = box.channel.partition("/")
        return node, channel

    def _form(
        self, status: StatusAnswer, box: BoxAnswer, entry: Entry, events: Sequence[BoxEvent], who: str
    ) -> dict[str, Any]:
        """What the forms show; the choices of the one that is open."""
        library, inventory = self._queries.library(), self._queries.inventory()
        entry = choices.prefilled(entry, box, events)
        event = next((event for event in events if event.event_id == entry.replaces), None)
        is_in = entry.kind == "put_in"
        elsewhere = choices.spools_elsewhere(status, box.key, inventory, library) if is_in else ()
        step = entry.value("resolution_g")
        return {
            "can_change": self._can_change,
            "entry": entry,
            "about": None if event is None else records.record(event, library, self._present),
            "acts": choices.acts(box),
            "kinds": choices.kinds(library),
            "elsewhere": elsewhere,
            "here": choices.spools_inside(status, box.key, library),
            "places": choices.places(status, box),
            "colours": choices.colours(),
            "hot": choices.HOT,
            "steps": steps_g(step) if step else (),
            "who": entry.value("who") or who,
        }

    def _done(self, events: Sequence[BoxEvent], done: tuple[str, str]) -> Done | None:
        number, spool = done
        if not spool:
            event = next((event for event in events if str(event.event_id) == number), None)
            return (
                None
                if event is None
                else Done(record=records.record(event, self._queries.library(), self._present))
            )
        history, inventory = self._queries.spool_history(spool), self._queries.inventory()
        moves = () if history is None else history.events
        move = next((event for event in moves if str(event.event_id) == number), None)
        if move is None or spool not in inventory.spools:
            return None
        return Done(
            record=spool_records.record(move, inventory, self._present),
            spool=spool,
            name=inventory.spools[spool].name,
        )


def _asked(question: Question, present: Presenter) -> Asked:
    return Asked(
        words=question.words,
        at=question.at,
        when=_clock(question.at, present),
        acts=_ASKED_ACTS.get(question.kind, _OTHER_ACTS),
    )


def _clock(rfc3339: str | None, present: Presenter) -> str:
    at_s = seconds(rfc3339)
    return "" if at_s is None else present.clock(at_s)


def _found(status: StatusAnswer, key: str) -> BoxAnswer:
    for box in status.boxes:
        if box.key == key:
            return box
    raise NotFound(f"no box in the inventory has the key {key[:40]!r}")
