"""The calendar that people subscribe to: secret addresses, and what is given out at them."""

import contextlib
from collections.abc import Callable, Iterable

from monitor.errors import MonitorError, RefusedError
from monitor.model.calendar import CalendarEntry, Feed, KeptEntry, renewed
from monitor.model.people import CONSOLE, FIRST_OWNER, Act, FeedEnded, FeedMade, fold
from monitor.ports import CalendarStore
from monitor.service import passwords
from monitor.service.calendar_entries import entries
from monitor.service.changes import Ask
from monitor.service.engine import Engine
from monitor.service.queries import Queries

FEEDS_EACH = 5
Planned = Callable[[], Iterable[CalendarEntry]]


class Calendar:
    """Addresses belong to people; what is given out is the site's, the same for everybody."""

    def __init__(
        self,
        queries: Queries,
        store: CalendarStore,
        ask: Ask,
        *,
        now_s: Callable[[], float],
        planned: Planned = tuple,
    ) -> None:
        self._queries = queries
        self._store = store
        self._ask = ask
        self._now_s = now_s
        self._planned = planned

    def feeds(self, person: str | None) -> tuple[Feed, ...]:
        """Of somebody; None = of whoever sits at the board before there is an owner."""
        return self._store.feeds(_key(person))

    def make(self, person: str | None) -> str:
        """A new address; returns its secret, which is told this once."""
        token, key = passwords.new_token(), _key(person)
        digest = passwords.token_digest(token)
        assert digest is not None  # ours are well formed

        def act(engine: Engine) -> None:
            if len(self._store.feeds(key)) >= FEEDS_EACH:
                raise RefusedError(f"There are {FEEDS_EACH} addresses already: end one first.")
            at_ms = self._now_ms()
            engine.change_people(FeedMade(key=key, digest=digest, at_ms=at_ms))
            engine.note(Act(at_ms=at_ms, person=person or CONSOLE, what="made", on_what="calendar address"))

        self._ask(act)
        return token

    def end(self, person: str | None, number: int) -> None:
        """That address answers no more; one that is gone already is no matter."""
        key = _key(person)

        def act(engine: Engine) -> None:
            if all(feed.number != number for feed in self._store.feeds(key)):
                return
            engine.change_people(FeedEnded(number=number, key=key))
            at_ms = self._now_ms()
            engine.note(Act(at_ms=at_ms, person=person or CONSOLE, what="ended", on_what="calendar address"))

        self._ask(act)

    def read(self, token: str) -> tuple[KeptEntry, ...] | None:
        """What is given out at an address; None where there is no such one."""
        digest = passwords.token_digest(token)
        feed = None if digest is None else self._store.feed(digest)
        if feed is None or not self._is_anybodys(feed):
            return None
        kept, now_s = self._store.calendar(), self._now_s()
        facts = self._queries.store.oven_facts()
        now = (*entries(self._queries.status(), self._queries.sensors.all(), facts, now_s), *self._planned())
        changed = renewed(now, kept, self._now_ms())
        if changed:
            # Where it cannot be kept the numbers rise at the next reading; what is told is right.
            with contextlib.suppress(MonitorError):
                self._ask(lambda engine: engine.keep_calendar(changed))
        kept |= {item.entry.uid: item for item in changed}
        return tuple(sorted(kept.values(), key=lambda item: (item.entry.begins_s, item.entry.uid)))

    def _is_anybodys(self, feed: Feed) -> bool:
        """An address made before there was an owner ends with the first one."""
        if feed.person_key != FIRST_OWNER:
            return True
        return not any(person.has_password for person in self._store.people())

    def _now_ms(self) -> int:
        return round(self._now_s() * 1000)


def _key(person: str | None) -> str:
    return FIRST_OWNER if person is None else fold(person)
