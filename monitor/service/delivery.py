"""Whom messages go to: tells them into the outbox, and lets people say how and when they want to hear.

`tell` writes nothing itself: rows of the outbox go into the batch that also holds the alarm's state, so
either both are kept or neither is.
"""

import hmac
import logging
import secrets
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from monitor.alarms import way_test
from monitor.alarms.delivery import hearers, plan
from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.audit import SYSTEM, AuditEntry, AuditKind
from monitor.model.delivery import (
    CHANNELS_EACH,
    MINUTES_A_DAY,
    MUTED_MAX,
    SITE,
    TEST_CODE,
    Channel,
    ChannelRemoved,
    ChannelSet,
    Heard,
    OutRow,
    Recipients,
    Wishes,
    WishesSet,
)
from monitor.model.message import Message, MessageKind, Priority
from monitor.model.people import fold
from monitor.ports import Addresses, OutboxStore
from monitor.service.engine import Engine

log = logging.getLogger(__name__)

Ask = Callable[[Callable[[Engine], Any]], Any]
Tell = Callable[[Sequence[Message]], None]
NAME_MAX = 40
A_DAY_MAX = 50
CODE_LENGTH = 32
TESTS_LOOKED_AT = 300  # newest messages among which a test is looked for
NOBODY = "Nobody would hear of a safety alarm: no way to reach anybody is set."


class Delivery:
    """Recipients and what they are told. Each change stands in the log under who made it, refusals too."""

    def __init__(
        self,
        store: OutboxStore,
        ask: Ask,
        *,
        now_s: Callable[[], float],
        zone: str,
        ways: Addresses,
    ) -> None:
        self._store = store
        self._ask = ask
        self._now_s = now_s
        self._zone = zone
        self._ways = ways

    def teller(self, engine: Engine) -> Tell:
        """What to call with messages, on the worker's thread, within the batch that they belong to."""

        def tell(messages: Sequence[Message]) -> None:
            if messages:
                self._tell(engine, messages)

        return tell

    def recipients(self) -> Recipients:
        return self._store.recipients()

    def newest(self, limit: int, person: str | None = None) -> tuple[OutRow, ...]:
        return self._store.outbox_newest(limit, person)

    def warning(self) -> str:
        """A sentence while nobody would hear of a safety alarm, else nothing."""
        return "" if hearers(self._store.recipients()) else NOBODY

    def can_open(self, channel: Channel) -> bool:
        """Whether its address can be read: the key to it is in no backup."""
        return self._ways.can_open(channel.sealed)

    def push_key(self) -> str:
        """The public key that a browser asks for before it lets itself be told."""
        return self._ways.push_key()

    def add_channel(self, by: str, person: str, name: str, address: str, *, is_owner: bool = False) -> None:
        """One more way to reach somebody. FieldError or RefusedError, and then nothing is changed.

        Args:
            is_owner: Whoever sets it may have the board reach into the site's own network.
        """
        self._add(by, person, name, lambda: self._ways.take(address, is_owner=is_owner))

    def add_push(self, by: str, person: str, name: str, endpoint: str, p256dh: str, auth: str) -> None:
        """The browser that somebody sits at, as one more way. Raises as `add_channel` does."""
        self._add(by, person, name, lambda: self._ways.take_push(endpoint, p256dh, auth))

    def _add(self, by: str, person: str, name: str, take: Callable[[], tuple[bytes, str]]) -> None:
        try:
            neat = _name(name)
            self._expect(person)
            sealed, shown = take()
            self._ask(lambda engine: self._set_channel(engine, by, person, neat, sealed, shown))
        except (BadInputError, RefusedError) as error:
            self._refused(by, person, error)
            raise

    def _set_channel(
        self, engine: Engine, by: str, person: str, name: str, sealed: bytes, shown: str
    ) -> None:
        if len(self._store.recipients().ways(person)) >= CHANNELS_EACH:
            raise RefusedError(f"There are {CHANNELS_EACH} ways already: remove one first.")
        at_ms = self._now_ms()
        engine.change_outbox(ChannelSet(person=person, name=name, shown=shown, sealed=sealed, at_ms=at_ms))
        self._note(engine, by, person, "added a way to be told", {"name": name, "address": shown})

    def remove_channel(self, by: str, person: str, number: int) -> None:
        """With whatever waits to be sent by it."""

        def act(engine: Engine) -> None:
            channel = self._channel(person, number)
            engine.change_outbox(ChannelRemoved(number=number, at_ms=self._now_ms()))
            detail = {"name": channel.name, "address": channel.shown}
            self._note(engine, by, person, "removed a way to be told", detail)

        self._ask(act)

    def set_wishes(self, by: str, wishes: Wishes) -> None:
        """What somebody wants to hear, and when; checked whole before anything is changed."""
        try:
            _check_wishes(wishes)
            self._expect(wishes.person)
            if wishes.then is not None:
                self._expect(wishes.then)
        except (BadInputError, RefusedError) as error:
            self._refused(by, wishes.person, error)
            raise

        def act(engine: Engine) -> None:
            old = self._store.recipients().of(wishes.person)
            engine.change_outbox(WishesSet(wishes=wishes))
            detail = {"old": _plain(old), "new": _plain(wishes)}
            self._note(engine, by, wishes.person, "set what to be told", detail)

        self._ask(act)

    def test(self, by: str, person: str, pages: str = "") -> None:
        """A test of the whole way by every way of this recipient, now, whatever the hour (A-40).

        Args:
            pages: How the pages are reached, as `http://board:8484`; the test holds a link there, for one
                tap within an hour. Empty: there is no link in it.
        """

        def act(engine: Engine) -> None:
            found = self._store.recipients()
            if not found.ways(person):
                raise RefusedError("There is no way set by which a test could be sent: add one first.")
            only = Recipients(wishes=(found.of(person),), channels=found.ways(person))
            now_s = self._now_s()
            link = f"{pages.rstrip('/')}/me/messages/test/{TEST_CODE}" if pages else ""
            condition = way_test.fake_condition()
            message = way_test.test_message(condition, secrets.token_hex(8), now_s, link)
            engine.change_outbox(*plan([message], only, now_s, self._zone))
            self._note(engine, by, person, "asked for a test message", {})

        self._ask(act)

    def tested(self, code: str) -> OutRow | None:
        """The test whose link bears this code, heard or not; None: none, or it is over an hour old."""
        if len(code) != CODE_LENGTH or not code.isascii():
            return None
        oldest_ms = self._now_ms() - way_test.LINK_S * 1000
        for row in self._store.outbox_newest(TESTS_LOOKED_AT):
            is_fresh = row.kind is MessageKind.TEST and row.made_ms >= oldest_ms
            if is_fresh and hmac.compare_digest(self._ways.test_code(row.key), code):
                return row
        return None

    def tapped(self, code: str) -> None:
        """The link in a test was tapped: once, within the hour. BadInputError otherwise."""

        def act(engine: Engine) -> None:
            row = self.tested(code)
            if row is None or row.heard_ms is not None:
                raise BadInputError("this link was used or is over an hour old: send another test")
            engine.change_outbox(Heard(key=row.key, at_ms=self._now_ms()))
            self._note(engine, SYSTEM, row.person, "the link in a test message was tapped", {})

        self._ask(act)

    def heard(self, by: str, person: str, key: str) -> None:
        """The test has come."""

        def act(engine: Engine) -> None:
            rows = self._store.outbox_newest(TESTS_LOOKED_AT, person)
            row = next((row for row in rows if row.key == key and row.kind is MessageKind.TEST), None)
            if row is None:
                raise BadInputError("that test is not here any more: send another")
            if row.heard_ms is not None:  # said twice is the same as once
                return
            engine.change_outbox(Heard(key=key, at_ms=self._now_ms()))
            self._note(engine, by, person, "said that a test message had come", {})

        self._ask(act)

    def test_is_due(self, person: str) -> bool:
        """Whether no test was heard for 90 days (A-40)."""
        heard_ms = self._store.outbox_heard_ms(person)
        return heard_ms is None or heard_ms <= self._now_ms() - way_test.TEST_EVERY_S * 1000

    def test_owed_s(self) -> dict[str, float]:
        """Who owes a test of messages (A-40), by name, and since when [Unix s].

        That is 90 days after the last that was heard, or after there was a way to reach them.
        """
        found, now_s = self._store.recipients(), self._now_s()
        names = {SITE: "the site"} | {fold(each.name): each.name for each in self._store.people()}
        owing: dict[str, float] = {}
        for person in hearers(found):
            heard_ms = self._store.outbox_heard_ms(person)
            begun_ms = (
                min(channel.added_ms for channel in found.ways(person)) if heard_ms is None else heard_ms
            )
            since_s = begun_ms / 1000 + way_test.TEST_EVERY_S
            if since_s <= now_s:
                owing[names.get(person, person)] = since_s
        return owing

    def _tell(self, engine: Engine, messages: Sequence[Message]) -> None:
        recipients = self._store.recipients()
        engine.change_outbox(*plan(messages, recipients, self._now_s(), self._zone))
        if hearers(recipients):
            return
        for message in messages:
            if message.priority is Priority.SAFETY and message.kind in (
                MessageKind.ACTIVE,
                MessageKind.WORSE,
            ):
                engine.audit(self._entry(SYSTEM, message.subject, "could tell nobody: no way is set", {}))

    def _expect(self, person: str) -> None:
        if person != SITE and all(fold(each.name) != person for each in self._store.people()):
            raise BadInputError("person is not here any more")

    def _channel(self, person: str, number: int) -> Channel:
        for channel in self._store.recipients().channels:
            if channel.number == number and channel.person == person:
                return channel
        raise BadInputError("that way to be told is not here any more")

    def _refused(self, by: str, person: str, error: Exception) -> None:
        """With who tried, never with the address."""
        log.warning("change of delivery refused who=%s person=%s reason=%s", by, person, error)
        self._ask(lambda engine: self._note(engine, by, person, "was refused a change", {"why": str(error)}))

    def _note(self, engine: Engine, by: str, person: str, what: str, detail: Mapping[str, object]) -> None:
        engine.audit(self._entry(by, person or "site", what, detail))

    def _entry(self, who: str, about: str, what: str, detail: Mapping[str, object]) -> AuditEntry:
        return AuditEntry(
            at_ms=self._now_ms(), who=who, kind=AuditKind.DELIVERY, about=about, what=what, detail=detail
        )

    def _now_ms(self) -> int:
        return round(self._now_s() * 1000)


def _name(name: str) -> str:
    neat = " ".join(name.split())
    if not neat or len(neat) > NAME_MAX or not neat.isprintable():
        raise FieldError("name", f"must be a name of 1 to {NAME_MAX} characters in one line")
    return neat


def _check_wishes(wishes: Wishes) -> None:
    for field, minute in (("quiet_from", wishes.quiet_from), ("quiet_to", wishes.quiet_to)):
        if not 0 <= minute < MINUTES_A_DAY:
            raise FieldError(field, "must be a time from 00:00 to 23:59")
    if not 1 <= wishes.a_day <= A_DAY_MAX:
        raise FieldError("a_day", f"must be a number from 1 to {A_DAY_MAX}")
    fits = all(kind.replace("_", "").isalnum() and len(kind) <= 63 for kind in wishes.muted)
    if len(wishes.muted) > MUTED_MAX or not fits:
        raise FieldError("muted", f"must be at most {MUTED_MAX} types")
    if wishes.then == wishes.person:
        raise FieldError("then", "must be somebody else")


def _plain(wishes: Wishes) -> Mapping[str, object]:
    return {
        "least": str(wishes.least),
        "wants_clears": wishes.wants_clears,
        "quiet_from": wishes.quiet_from,
        "quiet_to": wishes.quiet_to,
        "a_day": wishes.a_day,
        "muted": list(wishes.muted),
        "then": wishes.then,
    }
