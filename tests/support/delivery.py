"""A store with an outbox, whoever is to be told, and clocks that stand until they are moved."""

import threading
from contextlib import closing, contextmanager

from monitor.model.delivery import SITE, Channel, Recipients, Wishes
from monitor.model.message import Message, MessageKind, Priority
from monitor.service.delivery import Delivery
from monitor.service.engine import Engine
from monitor.service.sender import Sender
from monitor.store.reader import Reader
from monitor.store.store import Store

NOON_S = 1_767_268_800.0  # 2026-01-01 12:00 UTC
NIGHT_S = NOON_S + 11 * 3_600.0


def message(kind=MessageKind.ACTIVE, priority=Priority.MEDIUM, occurrence="1", subject="a-b", **members):
    members.setdefault("what", f"{subject} {occurrence}")
    members.setdefault("type", "humidity_high")
    return Message(
        kind=kind,
        subject=subject,
        occurrence=occurrence,
        place="b",
        priority=priority,
        at_s=NOON_S,
        **members,
    )


def channel(number, person=SITE):
    return Channel(number=number, person=person, name=f"way {number}", shown="json://h", sealed=b"x")


def recipients(*channels, wishes=()):
    return Recipients(wishes=tuple(wishes), channels=tuple(channels))


class Addresses:
    """Stands in for the libraries: an address is sealed by `seal`, and anything is taken."""

    def __init__(self, seal):
        self.seal = seal

    def take(self, address, **_):
        return self.seal(address), address.split("?")[0]

    def take_push(self, endpoint, *_):
        return self.seal(endpoint), "browser"

    def push_key(self):
        return "key"

    def can_open(self, _):
        return True

    def test_code(self, key):
        return key[::-1]


class Post:
    """A delivery with its sender over a real store. `answers` says by address what a receiver does."""

    def __init__(self, path, seal=str.encode, ways=None):
        self.now_s, self.pace_s = NOON_S, 0.0
        self.path, self.seal, self.ways = path, seal, ways  # `ways`: real ones, which also send
        self.got = []  # (address, title, text)
        self.letters = []
        self.answers = {}
        self.release = threading.Event()
        self.open()

    def open(self):
        self.store = Store(self.path, "lab")
        self.reader = Reader(self.path, "lab")
        self.engine = Engine("lab", self.store.load())
        self.delivery = Delivery(
            self.reader,
            self.ask,
            now_s=lambda: self.now_s,
            zone="UTC",
            ways=self.ways or Addresses(self.seal),
        )
        self.sender = Sender(
            self.reader, self.ask, send=self._send, now_s=lambda: self.now_s, pace_s=lambda: self.pace_s
        )

    def restart(self):
        """As after kill -9: nothing is remembered but the database."""
        self.close()
        self.open()

    def close(self):
        self.reader.close()
        self.store.close()

    def ask(self, act):
        answer = act(self.engine)
        batch = self.engine.take_batch()
        self.store.apply(batch)
        self.store.apply(batch)  # again is the same as once
        return answer

    def tell(self, *messages):
        self.ask(lambda engine: self.delivery.teller(engine)(messages))

    def turn(self, seconds=0.0):
        """One look of the sender after so long; threads of channels that answer are waited for."""
        self.now_s += seconds
        self.pace_s += seconds
        self.sender.turn()
        for attempt in self.sender._attempts.values():
            if self.answers.get(attempt.channel.sealed.decode(errors="replace")) != "hang":
                attempt.done.exception(timeout=5)
        self.sender.turn()

    def way(self, address, person=SITE):
        self.delivery.add_channel("Mara", person, address, address)

    def wish(self, **members):
        self.delivery.set_wishes("Mara", Wishes(person=members.pop("person", SITE), **members))

    def rows(self):
        return {(row.kind, row.channel): row for row in self.reader.outbox_newest(1_000)}

    def states(self):
        return sorted(str(row.state) for row in self.reader.outbox_newest(1_000))

    def _send(self, sealed, letter):
        self.letters.append(letter)
        if self.ways is not None:
            return self.ways.send(sealed, letter)
        address = sealed.decode()
        self.got.append((address, letter.title, letter.text))
        answer = self.answers.get(address, True)
        if answer == "hang":
            self.release.wait(20)
            return True
        if isinstance(answer, Exception):
            raise answer
        return answer


@contextmanager
def post(tmp_path, name="site.db", seal=str.encode, ways=None):
    made = Post(tmp_path / name, seal, ways)
    try:
        yield made
    finally:
        made.release.set()
        with closing(made):
            pass
