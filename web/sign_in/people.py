"""The page for people: one's own devices and password; for an owner also who else may come in."""

from collections.abc import Callable
from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.people import Act, Person, Role, Session
from monitor.service.passwords import NAME_MAX, PASSWORD_MAX, PASSWORD_MIN
from web.inside import sentence
from web.present import Presenter
from web.sign_in.door import Door
from web.sign_in.roles import needs
from web.sign_in.visitor import may, signed_in_name, visitor

_SEE_OTHER = 303
ACTS_SHOWN = 30
ROLES = (
    (Role.LOOK, "may look"),
    (Role.DO, "may tell what happened"),
    (Role.OWNER, "owner: people and settings, too"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    number: int
    words: str
    since: str
    seen: str
    is_this: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A person as the page shows them."""

    number: int
    name: str
    role: str
    added: str
    has_password: bool
    is_me: bool
    devices: tuple[Device, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """What came of a form, where a redirect cannot tell it: a code is shown once and kept nowhere."""

    code: str = ""
    code_for: str = ""
    fault: str = ""
    form: str = ""  # invite or password: where the fault stands
    name: str = ""  # as typed


def blueprint(door: Door, present: Presenter, zone: str) -> Blueprint:
    """Routes of the page and of its forms."""
    pages = Blueprint("people", __name__)
    people = door.people

    @pages.get("/people")
    @needs(Role.LOOK)
    def show() -> Response:
        return _page(Notice(), 200)

    @pages.post("/people")
    @needs(Role.OWNER)
    def invite() -> AnyResponse:
        name = request.form.get("name", "").strip()[: 4 * NAME_MAX]
        try:
            code = people.invite(_me(), name, _role())
        except (BadInputError, RefusedError) as error:
            return _page(Notice(fault=_words(error), form="invite", name=name), 400)
        return _page(Notice(code=code, code_for=name), 201)

    @pages.post("/people/<int:number>/code")
    @needs(Role.OWNER)
    def make_code(number: int) -> AnyResponse:
        name = _person(number).name
        return _page(Notice(code=people.new_code(_me(), number), code_for=name), 201)

    @pages.post("/people/<int:number>/role")
    @needs(Role.OWNER)
    def set_role(number: int) -> AnyResponse:
        _person(number)
        return _done(lambda: people.set_role(_me(), number, _role()))

    @pages.post("/people/<int:number>/remove")
    @needs(Role.OWNER)
    def remove(number: int) -> AnyResponse:
        _person(number)
        return _done(lambda: people.remove(_me(), number))

    @pages.post("/people/<int:number>/sign-out")
    @needs(Role.LOOK)
    def sign_out(number: int) -> AnyResponse:
        """One's own devices, or an owner anybody's: all, all but this one, or the one named."""
        session = visitor().session
        mine = session is not None and session.person.number == number
        if not mine and not may(Role.OWNER):
            abort(403, "only an owner signs out other people's devices")
        _person(number)
        chosen = request.form.get("session", "")
        if chosen and not (chosen.isascii() and chosen.isdigit() and len(chosen) < 16):
            abort(400, f"session {chosen[:20]!r} is no number of a session")
        kept = session.number if session is not None and mine and not chosen else None
        return _done(
            lambda: people.sign_out(_me(), number, session=int(chosen) if chosen else None, but=kept)
        )

    @pages.post("/people/password")
    @needs(Role.LOOK)
    def change_password() -> AnyResponse:
        session, fields = visitor().session, request.form
        if session is None:
            abort(403, "nobody is signed in, so nobody's password can be changed")
        try:
            if fields.get("password", "") != fields.get("again", ""):
                raise RefusedError("The second password is another one: type the same one twice.")
            door.sessions.change_password(
                session, fields.get("current", ""), fields.get("password", ""), door.where()
            )
        except (BadInputError, RefusedError) as error:
            return _page(Notice(fault=_words(error), form="password"), 400)
        return redirect(url_for(".show", changed="password"), _SEE_OTHER)

    def _page(notice: Notice, status: int) -> Response:
        is_owner, session = may(Role.OWNER), visitor().session
        roster = people.roster(ACTS_SHOWN if is_owner else 0)
        rows = [_row(person, roster.sessions, session, present) for person in roster.people]
        html = render_template(
            "people.html",
            notice=notice,
            me=next((row for row in rows if row.is_me), None),
            others=[row for row in rows if not row.is_me] if is_owner else [],
            is_owner=is_owner,
            has_owner=door.sessions.has_owner(),
            is_new="new" in request.args,
            has_changed="changed" in request.args,
            acts=[_act(act, present) for act in roster.acts],
            roles=ROLES,
            name_max=NAME_MAX,
            least=PASSWORD_MIN,
            most=PASSWORD_MAX,
            zone=zone,
            messages_page="messages.mine" if door.delivery is not None else "",
        )
        return Response(html, status=status)

    def _person(number: int) -> Person:
        found = next((person for person in people.roster().people if person.number == number), None)
        if found is None:
            raise NotFound("that person is not here any more")
        return found

    def _done(act: Callable[[], None]) -> AnyResponse:
        try:
            act()
        except (BadInputError, RefusedError) as error:
            return _page(Notice(fault=_words(error)), 400)
        return redirect(url_for(".show"), _SEE_OTHER)

    return pages


def _me() -> str:
    """Under whose name it stands in the log; before there is an owner nobody is signed in."""
    name = signed_in_name()
    if name is None:
        abort(403, "there is no owner yet: become it with the one-time code of `sorbwatch people code`")
    return name


def _role() -> Role:
    text = request.form.get("role", "")
    try:
        return Role(text)
    except ValueError:
        raise BadInputError(f"role {text[:20]!r} is unknown; allowed are {', '.join(Role)}") from None


def _words(error: BadInputError | RefusedError) -> str:
    if isinstance(error, FieldError):
        label = {"name": "The name", "password": "The new password"}.get(error.field, error.field)
        return sentence(f"{label} {error.fault}")
    return sentence(str(error))


def _row(person: Person, sessions: tuple[Session, ...], mine: Session | None, present: Presenter) -> Row:
    return Row(
        number=person.number,
        name=person.name,
        role=str(person.role),
        added=present.clock(person.added_ms / 1000.0, "%d %b %Y"),
        has_password=person.has_password,
        is_me=mine is not None and mine.person.number == person.number,
        devices=tuple(
            Device(
                number=each.number,
                words=each.device,
                since=present.clock(each.since_ms / 1000.0, "%d %b %Y %H:%M"),
                seen=present.clock(each.seen_ms / 1000.0, "%d %b %Y %H:%M"),
                is_this=mine is not None and mine.number == each.number,
            )
            for each in sessions
            if each.person.number == person.number
        ),
    )


def _act(act: Act, present: Presenter) -> tuple[str, str]:
    """When, and who did what."""
    told = f"{act.person} {act.what}" + (f": {act.on_what}" if act.on_what else "")
    return present.clock(act.at_ms / 1000.0, "%d %b %H:%M"), told + (f" ({act.detail})" if act.detail else "")
