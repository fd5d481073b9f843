"""Who is asking, for views and templates."""

import hashlib
import hmac
from dataclasses import dataclass

from flask import Flask, g, has_request_context, request, url_for
from markupsafe import Markup

from monitor.model.people import Role, Session

LOOKING = ("GET", "HEAD")
CSRF = "csrf"  # the field of every form; programs send the header
CSRF_HEADER = "X-Csrf-Token"


@dataclass(frozen=True, slots=True, kw_only=True)
class Visitor:
    """Somebody at the pages."""

    role: Role | None = None  # None: may look at most
    session: Session | None = None  # None: nobody is signed in
    csrf: str = ""
    has_door: bool = False  # there is sign-in here


def visitor() -> Visitor:
    """Whoever asks just now; nobody where parts are rendered for all at once."""
    found: Visitor = getattr(g, "visitor", None) or Visitor()
    return found


def may(role: Role) -> bool:
    """Whether the visitor's role covers this one."""
    mine = visitor().role
    return mine is not None and mine.covers(role)


def signed_in_name() -> str | None:
    """Under which name the visitor's acts are written; None: as typed in the form."""
    session = visitor().session
    return None if session is None else session.person.name


def csrf_of(token: str) -> str:
    """What proves that a form is from a page of this very session; it does not give the token away."""
    return hmac.new(token.encode(), b"form", hashlib.sha256).hexdigest()


def csrf_field() -> Markup:
    """The hidden field of a form; nothing where nobody is signed in."""
    token = visitor().csrf
    return Markup('<input type="hidden" name="{}" value="{}">').format(CSRF, token) if token else Markup()


def here() -> str:
    """Where to come back to after signing in."""
    if not has_request_context() or request.method not in LOOKING:
        return "/"
    return request.full_path.rstrip("?")


def host_name() -> str:
    """The name or address under which this server was asked, without its port."""
    host = request.host
    name = host.rpartition(":")[0] if ":" in host.rpartition("]")[2] else host
    return name.strip("[]").lower()


def local_path(text: str) -> str:
    """A path of ours to go on to; whatever would lead elsewhere leads to the first page."""
    is_ours = text.startswith("/") and not text.startswith("//") and len(text) < 500
    return text if is_ours and text.isprintable() and "\\" not in text else "/"


def at_door() -> tuple[str, str] | None:
    """The header's link for people: address and words."""
    now = visitor()
    if not now.has_door:
        return None
    if now.session is not None:
        return url_for("people.show"), now.session.person.name
    if now.role is not None:
        return url_for("people.show"), "People"
    return url_for("entry.show", next=here()), "Sign in"


def register(app: Flask) -> None:
    """What every template may ask."""
    app.jinja_env.globals.update(
        csrf=csrf_field,
        at_door=at_door,
        signed_in_name=signed_in_name,
        may=lambda role: may(Role(role)),
        here=here,
    )
