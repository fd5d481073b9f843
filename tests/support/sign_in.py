"""A site with people, its pages behind their door, and clocks that stand until they are moved."""

from contextlib import contextmanager

from support.delivery import Addresses
from support.spool_site import START_S, spool, spool_site

from monitor.edge.ways import LOCAL
from monitor.edge.web_push import check_subscription
from monitor.errors import FieldError, RefusedError
from monitor.model.people import Role
from monitor.service.calendar import Calendar
from monitor.service.delivery import Delivery
from monitor.service.passwords import Cost
from monitor.service.people import People
from monitor.service.sessions import Limits, Sessions, Where
from web import create_app
from web.sign_in.door import Door

CHEAP = Cost(n=16, r=1, p=1)  # the form of the real thing without its price
PASSWORD = "seven dry spools"
OTHER = "another long word"
ADDRESS = "192.0.2.7"
HERE = {"Origin": "http://localhost"}
DAY_S = 86_400.0


class _Addresses(Addresses):
    """Knows one kind of address, and one that is in the site's own network."""

    can = True

    def take(self, address, *, is_owner):
        if not address.startswith("json://"):
            raise FieldError("address", "must be one that can be used")
        if "192.168." in address and not is_owner:
            raise RefusedError(LOCAL)
        return b"sealed" + bytes([len(address)]), "json://host"

    def take_push(self, endpoint, p256dh, auth):
        return b"sealed", check_subscription(endpoint, p256dh, auth)[1]

    def can_open(self, _):
        return self.can


class Gate:
    """People of a site. `now_s` and `pace_s` are moved by hand."""

    def __init__(self, site, *, is_board_only=False, is_open_to_look=True, limits=None, ways=None):
        self.site = site
        self.now_s, self.pace_s = START_S, 0.0
        self.ask = site._ask
        limits = limits or Limits()
        self.people = People(site.reader, self._ask, now_s=lambda: self.now_s, limits=limits)
        self.sessions = self.fresh_sessions(limits)
        self.addresses = ways or _Addresses(str.encode)
        self.delivery = Delivery(
            site.reader,
            self._ask,
            now_s=lambda: self.now_s,
            zone="UTC",
            ways=self.addresses,
        )
        self.door = Door(
            people=self.people,
            sessions=self.sessions,
            is_board_only=is_board_only,
            is_open_to_look=is_open_to_look,
            delivery=self.delivery,
        )
        self.calendar = Calendar(site.queries, site.reader, self._ask, now_s=lambda: self.now_s)
        self.app = create_app(
            site.queries,
            site.changes,
            look_only=False,
            hosts=frozenset(),
            zone="UTC",
            door=self.door,
            calendar=self.calendar,
        )

    def fresh_sessions(self, limits=None):
        """As after a restart: it remembers nothing but the database."""
        return Sessions(
            self.site.reader,
            self._ask,
            now_s=lambda: self.now_s,
            pace_s=lambda: self.pace_s,
            limits=limits,
            cost=CHEAP,
            secret=b"so that a test repeats",
        )

    def _ask(self, act):
        return self.ask(act)

    def make_owner(self, name="Mara"):
        """The first owner, through the console's code; returns the token."""
        return self.sessions.redeem(self.sessions.first_code(), name, PASSWORD, Where(address=ADDRESS)).token

    def add(self, name, role=Role.DO, by="Mara", address=ADDRESS):
        """Somebody who was invited and came; returns the token."""
        code = self.people.invite(by, name, role)
        return self.sessions.redeem(code, "", PASSWORD, Where(address=address)).token

    def number(self, name):
        return next(each.number for each in self.people.roster().people if each.name == name)

    def client(self, token=None):
        """A browser; with a token one that is signed in."""
        client = self.app.test_client()
        if token is not None:
            client.set_cookie("sorbwatch_session", token)
        return client

    def acts(self):
        return [(act.person, act.what, act.on_what) for act in self.site.reader.acts()]


@contextmanager
def gate(tmp_path, **options):
    with spool_site(tmp_path, spool()) as site:
        yield Gate(site, **options)


def csrf(client):
    """The token of the forms of a signed-in browser."""
    return client.get("/api/v1/session").get_json()["csrf"]


def send(client, path, fields=None, *, headers=HERE, address=ADDRESS, with_csrf=True):
    """A form of our own pages."""
    token = csrf(client) if with_csrf else None
    data = {**({"csrf": token} if token else {}), **(fields or {})}
    return client.post(path, data=data, headers=headers, environ_base={"REMOTE_ADDR": address})
