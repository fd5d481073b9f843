"""The pages for messages: one's own ways and wishes, the site's, and for an owner who would hear of what."""

from collections.abc import Callable
from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.delivery import SITE, Outcome, OutRow, Recipients
from monitor.model.message import MessageKind
from monitor.model.people import CONSOLE, Role, fold
from monitor.service.delivery import NAME_MAX, Delivery
from web.inside import sentence
from web.messages_form import LEAST, SITE_KEY, muteable, read_wishes, shown
from web.present import Presenter
from web.sign_in.door import Door
from web.sign_in.roles import at_the_door, needs
from web.sign_in.visitor import may, signed_in_name, visitor

_SEE_OTHER = 303
ROWS_SHOWN = 15
ADDRESS_MAX = 500
PUSH_MAX = 2_000
_FIELDS = {
    "name": "The name",
    "address": "The address",
    "least": "What you want to hear of",
    "then": "Whom to tell next",
    "a_day": "Messages a day",
    "quiet_from": "The start of quiet hours",
    "quiet_to": "The end of quiet hours",
    "muted": "What not to tell of",
    "endpoint": "The browser's push address",
    "p256dh": "The browser's key",
    "auth": "The browser's secret",
}
_STATES = {
    Outcome.QUEUED: "waits",
    Outcome.SENDING: "on its way",
    Outcome.SENT: "sent",
    Outcome.GIVEN_UP: "given up",
    Outcome.CANCELLED: "not needed any more",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A message as the page shows it."""

    key: str
    title: str
    when: str
    way: str
    state: str
    can_be_heard: bool


def blueprints(door: Door | None, present: Presenter, zone: str) -> tuple[Blueprint, ...]:
    """None where nobody can be told."""
    if door is None or door.delivery is None:
        return ()
    return (_blueprint(door, door.delivery, present, zone),)


def _blueprint(door: Door, delivery: Delivery, present: Presenter, zone: str) -> Blueprint:
    pages = Blueprint("messages", __name__)
    kinds = muteable()

    @pages.get("/me/messages")
    @needs(Role.LOOK)
    def mine() -> Response:
        return _page(_mine(), 200)

    @pages.get("/site/messages")
    @needs(Role.OWNER)
    def site() -> Response:
        return _page(SITE, 200)

    @pages.get("/people/messages")
    @needs(Role.OWNER)
    def everybody() -> str:
        found = delivery.recipients()
        return render_template(
            "messages_all.html",
            warning=delivery.warning(),
            rows=[_row(found, person, name) for person, name in _everybody()],
        )

    @pages.post("/messages/<whose>/ways")
    @needs(Role.DO)
    def add_way(whose: str) -> AnyResponse:
        person, fields = _whose(whose), request.form
        name, address = fields.get("name", "")[:200], fields.get("address", "")[: 2 * ADDRESS_MAX]
        is_owner = may(Role.OWNER)
        return _done(
            person, "way", lambda: delivery.add_channel(_me(), person, name, address, is_owner=is_owner)
        )

    @pages.get("/messages/push-key")
    @needs(Role.DO)
    def push_key() -> Response:
        return Response(delivery.push_key(), mimetype="text/plain")

    @pages.post("/messages/<whose>/push")
    @needs(Role.DO)
    def add_push(whose: str) -> AnyResponse:
        person, fields = _whose(whose), request.form
        name, endpoint = fields.get("name", "")[:200], fields.get("endpoint", "")[:PUSH_MAX]
        keys = fields.get("p256dh", "")[:PUSH_MAX], fields.get("auth", "")[:PUSH_MAX]
        return _done(person, "push", lambda: delivery.add_push(_me(), person, name, endpoint, *keys))

    @pages.post("/messages/<whose>/ways/<int:number>/remove")
    @needs(Role.LOOK)
    def remove_way(whose: str, number: int) -> AnyResponse:
        person = _whose(whose)
        return _done(person, "", lambda: delivery.remove_channel(_me(), person, number))

    @pages.post("/messages/<whose>/wishes")
    @needs(Role.LOOK)
    def set_wishes(whose: str) -> AnyResponse:
        person = _whose(whose)

        def act() -> None:
            kept = delivery.recipients().of(person)
            others = frozenset(key for key, _ in _others(person))
            wishes = read_wishes(request.form, request.form.getlist("muted"), kept, others, kinds)
            delivery.set_wishes(_me(), wishes)

        return _done(person, "wishes", act)

    @pages.post("/messages/<whose>/test")
    @needs(Role.LOOK)
    def test(whose: str) -> AnyResponse:
        person = _whose(whose)
        return _done(person, "test", lambda: delivery.test(_me(), person, _pages()))

    @pages.post("/messages/<whose>/heard")
    @needs(Role.LOOK)
    def heard(whose: str) -> AnyResponse:
        person, key = _whose(whose), request.form.get("key", "")[:64]
        return _done(person, "test", lambda: delivery.heard(_me(), person, key))

    @pages.get("/me/messages/test/<code>")
    @at_the_door
    def arrived(code: str) -> Response:
        """Tells nothing yet: mail servers look at links, too, before anybody has read them."""
        return _arrived(code)

    @pages.post("/me/messages/test/<code>")
    @at_the_door
    def tap(code: str) -> AnyResponse:
        try:
            delivery.tapped(code)
        except BadInputError as error:
            return _arrived(code, sentence(str(error)))
        return redirect(url_for(".arrived", code=code), _SEE_OTHER)

    def _arrived(code: str, fault: str = "") -> Response:
        row = delivery.tested(code)
        after = None if row is None or row.heard_ms is None else (row.heard_ms - row.made_ms) / 1000
        after_text = "" if after is None else f"{after:.0f} s"
        html = render_template("messages_test.html", row=row, code=code, after=after_text, fault=fault)
        return Response(html, status=400 if fault else 200 if row is not None else 404)

    def _done(person: str, form: str, act: Callable[[], None]) -> AnyResponse:
        try:
            act()
        except (BadInputError, RefusedError) as error:
            return _page(person, 400, fault=_words(error), form=form)
        return redirect(url_for(".site" if person == SITE else ".mine", done=form or "way"), _SEE_OTHER)

    def _page(person: str, status: int, fault: str = "", form: str = "") -> Response:
        found = delivery.recipients()
        names = {channel.number: channel.name for channel in found.channels}
        rows = delivery.newest(ROWS_SHOWN, person)
        html = render_template(
            "messages.html",
            is_site=person == SITE,
            whose="site" if person == SITE else "me",
            ways=[(way, delivery.can_open(way)) for way in found.ways(person)],
            kinds=kinds,
            wishes=shown(found.of(person)),
            least=LEAST,
            others=_others(person),
            lines=[_line(row, names, present) for row in rows],
            test_is_due=delivery.test_is_due(person),
            warning=delivery.warning(),
            fault=fault,
            form=form,
            done=request.args.get("done", ""),
            has_owner=door.sessions.has_owner(),
            name_max=NAME_MAX,
            address_max=ADDRESS_MAX,
            zone=zone,
        )
        return Response(html, status=status)

    def _everybody() -> list[tuple[str, str]]:
        """The site and all people, as key and name."""
        people = [(fold(each.name), each.name) for each in door.people.roster().people]
        return [(SITE, "The site"), *people]

    def _others(person: str) -> list[tuple[str, str]]:
        """Whom to tell next, as the form's key and words."""
        return [(key or SITE_KEY, name) for key, name in _everybody() if key != person]

    return pages


def _mine() -> str:
    """Who asks; at the board's own screen before there is an owner, the site itself."""
    session = visitor().session
    if session is not None:
        return fold(session.person.name)
    if not may(Role.OWNER):
        abort(403, "messages are set by who is signed in: sign in first")
    return SITE


def _whose(whose: str) -> str:
    if whose == "me":
        return _mine()
    if whose != "site":
        abort(404, "messages are 'me' or 'site'")
    if not may(Role.OWNER):
        abort(403, "only an owner changes how the site itself is told")
    return SITE


def _me() -> str:
    return signed_in_name() or CONSOLE


def _pages() -> str:
    """As whoever asks reaches us: behind a server that adds TLS only the browser knows. Guarded."""
    return request.headers.get("Origin") or request.host_url


def _row(found: Recipients, person: str, name: str) -> tuple[str, str, str]:
    """Who, by which ways, and what."""
    ways = ", ".join(f"{way.name} ({way.shown})" for way in found.ways(person))
    least = dict(LEAST)[found.of(person).least]
    return name, ways, f"hears of {least}" if ways else ""


def _line(row: OutRow, names: dict[int, str], present: Presenter) -> Line:
    state = _STATES[row.state]
    if row.is_unsure and row.state is not Outcome.SENT:
        state += "; may have been sent"
    elif row.state is Outcome.SENT and row.settled_ms is not None and row.kind is MessageKind.TEST:
        state += f" in {(row.settled_ms - row.made_ms) / 1000:.1f} s"
    if row.heard_ms is not None:
        state += f", heard after {(row.heard_ms - row.made_ms) / 1000:.0f} s"
    return Line(
        key=row.key,
        title=row.title,
        when=present.clock(row.made_ms / 1000.0, "%d %b %H:%M"),
        way=names.get(row.channel, "a way that was removed"),
        state=state + (f" ({row.trouble})" if row.trouble and row.state is not Outcome.SENT else ""),
        can_be_heard=row.kind is MessageKind.TEST and row.heard_ms is None and row.settled_ms is not None,
    )


def _words(error: BadInputError | RefusedError) -> str:
    if isinstance(error, FieldError):
        return sentence(f"{_FIELDS.get(error.field, error.field)} {error.fault}")
    return sentence(str(error))
