"""Signing in and out: who a device's session belongs to, and how it comes to be."""

import logging
import math
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from concurrent.futures import TimeoutError as AnswerTimeoutError
from contextlib import contextmanager
from dataclasses import dataclass

from monitor.errors import MonitorError, RefusedError, StoreError
from monitor.model.people import (
    FIRST_OWNER,
    Act,
    Code,
    CodeMade,
    CodeUsed,
    PasswordSet,
    PeopleChange,
    Person,
    PersonAdded,
    Role,
    Session,
    SessionBegun,
    SessionEnded,
    SessionSeen,
    fold,
    of_key,
)
from monitor.ports import PeopleStore
from monitor.service import passwords
from monitor.service.brake import Brake, network_of
from monitor.service.changes import Ask
from monitor.service.engine import Engine

log = logging.getLogger(__name__)

CODE_LIFE_S = 2 * 86_400.0
SEEN_EVERY_S = 600.0  # a card is not written for each look
KNOWN_PAIRS = 256
WAITING_MAX = 4  # tries that may wait for the one that is being computed
BUSY_WAIT_S = 5
DAY_MS = 86_400_000

WRONG = "That name and that password do not go together."
WRONG_CODE = (
    "That code does not work: it is mistyped, was used or replaced, or is too old. "
    "An owner can make a new one on the page People, or on the board: `sorbwatch people code`."
)


class SignInRefusedError(RefusedError):
    """Says no more than it must. `wait_s`, in whole seconds, is set where too many tries came."""

    def __init__(self, text: str, wait_s: int = 0) -> None:
        super().__init__(text)
        self.wait_s = wait_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long a device stays signed in [days]: unused, and in all."""

    idle_days: int = 14
    most_days: int = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where a try comes from."""

    address: str
    device: str = "Device"  # in words
    token: str = ""  # of the session that the device has already; it ends when another begins
    is_here: bool = False  # at the board's own screen


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A new session's secret, and whose it is."""

    token: str
    name: str


class Sessions:
    """Sign-in for any thread. What it changes the worker writes; passwords are tried where they are asked."""

    def __init__(
        self,
        store: PeopleStore,
        ask: Ask,
        *,
        now_s: Callable[[], float],
        pace_s: Callable[[], float],
        limits: Limits | None = None,
        cost: passwords.Cost | None = None,
        secret: bytes | None = None,
    ) -> None:
        self._store = store
        self._ask = ask
        self._now_s = now_s
        self._pace_s = pace_s  # waits must not end when somebody sets the clock
        self.limits = limits or Limits()
        self._cost = cost or passwords.Cost()
        self._nobody = passwords.of_nobody(self._cost)
        # Two tables: what strangers fill with their tries must not hold up who signed in here before, nor who
        # sits at the board.
        self._brake, self._inner_brake = Brake(secret=secret), Brake(secret=secret)
        self._pairs: OrderedDict[tuple[str, str], None] = OrderedDict()
        self._computing = threading.BoundedSemaphore(1)
        self._waiting = threading.BoundedSemaphore(1 + WAITING_MAX)
        self._has_owner = False
        self._told: dict[int, float] = {}

    def has_owner(self) -> bool:
        """Whether somebody with a password owns this site; the last owner cannot be removed."""
        if not self._has_owner:
            self._has_owner = has_owner(self._store.people())
        return self._has_owner

    def first_code(self) -> str | None:
        """A new one-time code for whoever becomes the first owner; None where there is one."""
        if self.has_owner():
            return None
        code = passwords.new_code()
        self._ask(lambda engine: engine.change_people(code_made(FIRST_OWNER, code, self._now_s())))
        return code

    def sign_in(self, name: str, password: str, where: Where) -> Begun:
        """A session for who knows the password. The answer does not tell whether there is such a name."""
        key = fold(name[: 4 * passwords.NAME_MAX].encode(errors="replace").decode())
        pair = (key, network_of(where.address))
        is_known = where.is_here or pair in self._pairs
        brake = self._inner_brake if is_known else self._brake
        keys = [f"pair {pair}"] if is_known else [f"name {key}", f"address {pair[1]}"]
        self._start_try(brake, keys)
        kept = self._store.password(key)
        with self._one_at_a_time():
            is_right = passwords.fits(password, kept or self._nobody) and kept is not None
        if not is_right:
            raise SignInRefusedError(WRONG)
        begun = self._begin(key, where, "signed in", lambda _: self._with_password(key, kept or ""))
        brake.passed(keys)
        self._know(pair)
        return begun

    def redeem(self, code: str, name: str, password: str, where: Where) -> Begun:
        """A session and a password for who has a one-time code; the first owner says a name, too."""
        address = network_of(where.address)
        brake, keys = self._inner_brake if where.is_here else self._brake, [f"address {address}"]
        self._start_try(brake, keys)
        digest = passwords.code_digest(code)
        found = None if digest is None else self._good_code(digest)
        if digest is None or found is None:
            raise SignInRefusedError(WRONG_CODE)
        brake.passed(keys)
        is_first = found.person_key == FIRST_OWNER
        person = passwords.check_name(name) if is_first else self._name_of(found.person_key)
        passwords.check_password(password, person)
        with self._one_at_a_time():
            kept = passwords.keep(password, self._cost)
        key, first = fold(person), person if is_first else ""

        def changes(at_ms: int) -> list[PeopleChange]:
            return self._with_code(digest, key, kept, first, at_ms)

        begun = self._begin(key, where, "set a password", changes, first)
        self._know((key, address))
        return begun

    def find(self, token: str) -> Session | None:
        """Whose session this is, unless it has ended."""
        digest = passwords.token_digest(token)
        session = None if digest is None else self._store.session(digest)
        if session is None or not is_alive(session, self.limits, self._now_s()):
            return None
        self._note_seen(session)
        return session

    def end(self, session: Session) -> None:
        """Sign this device out."""
        at_ms, name = round(self._now_s() * 1000), session.person.name

        def act(engine: Engine) -> None:
            engine.change_people(SessionEnded(number=session.number))
            engine.note(Act(at_ms=at_ms, person=name, what="signed out", on_what="", detail=session.device))

        self._ask(act)

    def change_password(self, session: Session, current: str, new: str, where: Where) -> None:
        """A person's own; every other device is signed out. Guessing the current one is braked, too."""
        key, name = fold(session.person.name), session.person.name
        keys = [f"change {session.number}"]
        passwords.check_password(new, name)
        self._start_try(self._inner_brake, keys)
        with self._one_at_a_time():
            if not passwords.fits(current, self._store.password(key) or self._nobody):
                raise SignInRefusedError("The current password is another one.")
            kept = passwords.keep(new, self._cost)
        self._inner_brake.passed(keys)
        at_ms = round(self._now_s() * 1000)

        def act(engine: Engine) -> None:
            others = self._ended_but(key, session.number)
            engine.change_people(PasswordSet(key=key, password=kept), CodeUsed(key=key), *others)
            engine.note(
                Act(at_ms=at_ms, person=name, what="changed the password", on_what="", detail=where.device)
            )

        self._ask(act)

    def _begin(
        self, key: str, where: Where, what: str, changes: Callable[[int], list[PeopleChange]], first: str = ""
    ) -> Begun:
        """A new session, never one that the device brought along.

        Args:
            changes: What goes with it. Asked on the worker's thread, where whoever comes second finds what
                the first one did; refuses by SignInRefusedError, and then nothing is changed.
            first: The name of who becomes the first owner.
        """
        token, at_ms, device = passwords.new_token(), round(self._now_s() * 1000), where.device[:80]
        digest, brought = passwords.token_digest(token), passwords.token_digest(where.token)
        assert digest is not None  # ours are well formed

        def act(engine: Engine) -> str:
            more, name = changes(at_ms), first or self._name_of(key)
            old = None if brought is None else self._store.session(brought)
            ended = [*self._worn_out(), *([] if old is None else [SessionEnded(number=old.number)])]
            begun = SessionBegun(key=key, digest=digest, device=device, at_ms=at_ms)
            engine.change_people(*more, *ended, begun)
            engine.note(Act(at_ms=at_ms, person=name, what=what, on_what="", detail=device))
            return name

        return Begun(token=token, name=str(self._ask(act)))

    def _with_password(self, key: str, kept: str) -> list[PeopleChange]:
        """Signing in changes nothing else, but the password must still be the one that was tried."""
        if self._store.password(key) != kept:
            raise SignInRefusedError(WRONG)
        return []

    def _with_code(self, code: bytes, key: str, kept: str, first: str, at_ms: int) -> list[PeopleChange]:
        """The code is used up, its person has a new password, and every other device is signed out."""
        found = self._good_code(code)
        if found is None:
            raise SignInRefusedError(WRONG_CODE)
        added: list[PeopleChange] = []
        if first:
            if of_key(self._store.people(), key) is not None:
                raise SignInRefusedError("There is a person of that name already; say another.")
            added = [PersonAdded(name=first, role=Role.OWNER, at_ms=at_ms)]
        used = CodeUsed(key=found.person_key)
        return [*added, used, PasswordSet(key=key, password=kept), *self._ended_but(key, None)]

    def _good_code(self, digest: bytes) -> Code | None:
        found = self._store.code(digest)
        if found is None or found.until_ms < self._now_s() * 1000:
            return None
        return None if found.person_key == FIRST_OWNER and self.has_owner() else found

    def _name_of(self, key: str) -> str:
        person = of_key(self._store.people(), key)
        if person is None:
            raise SignInRefusedError(WRONG)
        return person.name

    def _ended_but(self, key: str, kept: int | None) -> list[SessionEnded]:
        return [
            SessionEnded(number=each.number)
            for each in self._store.sessions()
            if fold(each.person.name) == key and each.number != kept
        ]

    def _worn_out(self) -> list[SessionEnded]:
        now_s = self._now_s()
        return [
            SessionEnded(number=each.number)
            for each in self._store.sessions()
            if not is_alive(each, self.limits, now_s)
        ]

    def _note_seen(self, session: Session) -> None:
        """Now and then; that it could not be written must keep nobody out."""
        now_s, pace_s = self._now_s(), self._pace_s()
        is_due = now_s * 1000 - session.seen_ms > SEEN_EVERY_S * 1000
        if not is_due or pace_s - self._told.get(session.number, float("-inf")) < SEEN_EVERY_S:
            return
        if len(self._told) > 1_000:
            self._told.clear()
        self._told[session.number] = pace_s
        seen = SessionSeen(number=session.number, at_ms=round(now_s * 1000))
        try:
            self._ask(lambda engine: engine.change_people(seen))
        except (MonitorError, AnswerTimeoutError) as error:
            log.warning("last use of a session not written session=%d reason=%s", session.number, error)

    def _know(self, pair: tuple[str, str]) -> None:
        """From there this person may mistype without being held up by strangers who try the same name."""
        # Taken out first: another thread may push out whatever stands at the other end.
        self._pairs.pop(pair, None)
        self._pairs[pair] = None
        while len(self._pairs) > KNOWN_PAIRS:
            self._pairs.popitem(last=False)

    def _start_try(self, brake: Brake, keys: list[str]) -> None:
        wait_s = math.ceil(brake.begin(keys, self._pace_s()))
        if wait_s:
            raise SignInRefusedError(f"Too many tries. Wait {wait_s} s, then try again.", wait_s)

    @contextmanager
    def _one_at_a_time(self) -> Iterator[None]:
        """One try takes 32 MiB; a crowd of them must take neither the board's memory nor all threads."""
        busy = SignInRefusedError("Others are signing in just now. Try again in some seconds.", BUSY_WAIT_S)
        if not self._waiting.acquire(blocking=False):
            raise busy
        try:
            if not self._computing.acquire(timeout=BUSY_WAIT_S):
                raise busy
            try:
                yield
            finally:
                self._computing.release()
        finally:
            self._waiting.release()


def has_owner(people: tuple[Person, ...]) -> bool:
    return any(person.role is Role.OWNER and person.has_password for person in people)


def is_alive(session: Session, limits: Limits, now_s: float) -> bool:
    """Neither unused for too long nor too old; a clock that went back ends nothing."""
    now_ms = now_s * 1000
    is_used = now_ms - session.seen_ms < limits.idle_days * DAY_MS
    return is_used and now_ms - session.since_ms < limits.most_days * DAY_MS


def code_made(key: str, code: str, now_s: float) -> CodeMade:
    """The change that lets this code be used once."""
    digest = passwords.code_digest(code)
    if digest is None:
        raise StoreError("a code of our own making is malformed")
    return CodeMade(key=key, digest=digest, until_ms=round((now_s + CODE_LIFE_S) * 1000))
