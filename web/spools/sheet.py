"""Puts the parts of a spool's page together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from werkzeug.exceptions import NotFound

from monitor.model.answers import SpoolAnswer
from monitor.model.records import effective
from monitor.model.spool_event import Signs, SpoolEvent, Weighed
from monitor.service.queries import Queries
from monitor.service.spool_words import sign_questions
from web.axes import SIDE
from web.entry import Entry
from web.inside import sentence
from web.present import Presenter, seconds
from web.spools import account, choices, course, figures, form, gauges, records, words

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What was just written down, and what it told."""

    record: records.Record
    told: str


class Sheets:
    """The pages of single spools, as what their templates need."""

    def __init__(self, queries: Queries, present: Presenter, *, can_change: bool) -> None:
        self._queries = queries
        self._present = present
        self._can_change = can_change

    def events(self, key: str) -> tuple[SpoolEvent, ...]:
        """All records of a spool."""
        history = self._queries.spool_history(key)
        return () if history is None else history.events

    def found(self, key: str) -> SpoolAnswer:
        """The answer of a spool that there is."""
        return _found(self._queries.status().spools, key)

    def sheet(self, key: str, entry: Entry, *, window: str, done: str, who: str) -> dict[str, Any]:
        """Everything on the page of a spool.

        Args:
            entry: The form to show; of no kind = nobody chose one.
            done: Number of the record that was just written, else empty.
            who: As remembered from the last form.
        """
        status, inventory = self._queries.status(), self._queries.inventory()
        spool, library = _found(status.spools, key), self._queries.library()
        events, now_s = self.events(key), seconds(status.at) or 0.0
        present, is_quiet = self._present, not entry.kind and not entry.fault
        past = self._queries.spool_course(key, now_s - course.WINDOWS[window][1] * _DAY_S, now_s)
        entry = replace(entry, kind=entry.kind or "moved")
        return {
            "spool": spool,
            "row": words.row(spool, library, inventory, present, now_s),
            "verdict": words.verdict(spool),
            "why": sentence(spool.verdict_why),
            "facts": words.facts(spool, present, now_s),
            "air": gauges.air_gauge(spool, status, library, present),
            "water": gauges.water_gauge(spool),
            "winding": figures.winding(spool),
            "course": course.course(spool, past, effective(events), present, now_s),
            "side": SIDE,
            "window": window,
            "windows": course.WINDOWS,
            "zone": self._queries.zone(),
            "account": account.account(spool, inventory, present),
            "reasons": account.reasons(spool, library),
            "standing": records.standing(events, inventory, present),
            "gone": records.gone(events, inventory, present),
            "done": self._done(spool, events, done),
            "can_change": self._can_change,
            "is_waiting": is_quiet and spool.moisture_pct.p50 is None,
            "entry": entry,
            "about": self._about(entry, events),
            "acts": choices.acts(events),
            "spots": choices.spots(status, spool, library),
            "questions": sign_questions(),
            "cautions": choices.cautions(inventory.spools[key], library),
            "step": (step := entry.value("resolution_g") or choices.step_g(events)),
            "steps": choices.steps_g(step),
            "who": entry.value("who") or who,
        }

    def event(self, key: str, entry: Entry) -> SpoolEvent:
        """What a form tells of a spool; FieldError names a field that is wrong."""
        kept = self._queries.inventory().spools[key]
        material = self._queries.library().material(kept.material)
        original = next((event for event in self.events(key) if event.event_id == entry.replaces), None)
        return form.event_of(entry, kept, material, original, self._present, self._queries.now_s())

    def to_correct(self, key: str, number: str) -> Entry:
        """The form of a record, filled in as it stands."""
        return form.entry_of(self._standing(key, number), self._present)

    def to_withdraw(self, key: str, number: str) -> Entry:
        """The form that says of a record that it is not true."""
        return Entry(kind="withdrawn", replaces=self._standing(key, number).event_id)

    def _standing(self, key: str, number: str) -> SpoolEvent:
        for event in effective(self.events(key)):
            if str(event.event_id) == number:
                return event
        raise NotFound(f"no standing record of this spool has the number {number[:20]!r}")

    def _about(self, entry: Entry, events: Sequence[SpoolEvent]) -> records.Record | None:
        """The record that a form corrects or withdraws."""
        event = next((event for event in events if event.event_id == entry.replaces), None)
        return None if event is None else records.record(event, self._queries.inventory(), self._present)

    def _done(self, spool: SpoolAnswer, events: Sequence[SpoolEvent], number: str) -> Done | None:
        event = next((event for event in events if str(event.event_id) == number), None)
        if event is None:
            return None
        record = records.record(event, self._queries.inventory(), self._present)
        return Done(record=record, told=_told(spool, event, events))


def _told(spool: SpoolAnswer, event: SpoolEvent, events: Sequence[SpoolEvent]) -> str:
    """What the record changed, by the account's own words where it has some."""
    book = spool.account
    alike = [each for each in effective(events) if each.what.kind == event.what.kind]
    if book is None or not alike or alike[-1] != event:  # the account tells of the last of a kind
        return ""
    if isinstance(event.what, Weighed):
        return book.weighing or ""
    if isinstance(event.what, Signs):
        return book.signs or _signs_told(event.what)
    return ""


def _signs_told(what: Signs) -> str:
    asked = {question.sign: question for question in sign_questions()}
    if [str(sign) for sign in what.seen] == ["clean"]:
        return sentence(asked[what.seen[0]].look_alikes)
    return "What was seen goes with water: dry it and print the same piece again."


def _found(spools: Sequence[SpoolAnswer], key: str) -> SpoolAnswer:
    for spool in spools:
        if spool.key == key:
            return spool
    raise NotFound(f"no spool in the inventory has the key {key[:40]!r}")
