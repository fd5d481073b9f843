"""Who may do what over HTTP, and the headers that keep strangers' pages out."""

import ipaddress

from flask import current_app, g, request
from werkzeug.exceptions import Forbidden, MisdirectedRequest
from werkzeug.wrappers import Response

from monitor.model.people import Role
from web.sign_in.door import Door
from web.sign_in.roles import Open, asked_by
from web.sign_in.visitor import LOOKING, Visitor, host_name

# Everything a page needs comes from this server, in files: no inline script or style.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)


class Misdirected(MisdirectedRequest):
    description = "this server does not answer to that host name; use the address it printed at its start"


def admit(*, look_only: bool, hosts: frozenset[str], door: Door | None = None) -> Response | None:
    """Refuse what may not pass; a name that is not ours could be a stranger's page (DNS rebinding)."""
    name = host_name()
    if hosts and name not in hosts and not _is_address(name):
        raise Misdirected
    if request.method not in LOOKING:
        is_open = asked_by(current_app.view_functions.get(request.endpoint or "")) is Open.ALL
        if look_only and not is_open:
            raise Forbidden("this address is for looking only; change things on the board's own address")
        if not _is_own_page(may_say_nothing=is_open):
            raise Forbidden("changes are taken from this monitor's own pages only")
    if door is not None:
        return door.admit()
    g.visitor = Visitor(role=Role.OWNER)  # without sign-in it is `changes` that says what can be done
    return None


def _is_own_page(*, may_say_nothing: bool) -> bool:
    """A browser says where a form comes from; a program that says nothing must send JSON.

    Where anyone may act, a program may say nothing at all; a browser on a stranger's page still may not.
    A stranger's page can send a form without our leave, but JSON only after asking first, which we refuse.
    """
    origin = request.headers.get("Origin")
    if origin is not None:
        return origin.partition("://")[2].lower() == request.host.lower()
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    return may_say_nothing or request.mimetype == "application/json"


def secure(response: Response) -> None:
    headers = response.headers
    headers["Content-Security-Policy"] = POLICY
    headers["X-Content-Type-Options"] = "nosniff"
    # Under "no-referrer" browsers say "Origin: null" of our own forms, too, and we could not tell them.
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"


def _is_address(name: str) -> bool:
    """Rebinding needs a name that a stranger can point at us; nobody can point an address elsewhere."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
