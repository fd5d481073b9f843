"""Lets in who may come in: the session's cookie, the form's token, and the role that a view asks for."""

import hmac
import ipaddress
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from flask import current_app, g, redirect, request, url_for
from werkzeug.datastructures import WWWAuthenticate
from werkzeug.exceptions import Forbidden, Unauthorized
from werkzeug.wrappers import Response

from monitor.errors import StoreError
from monitor.model.people import Role
from monitor.service.delivery import Delivery
from monitor.service.people import People
from monitor.service.sessions import Sessions, Where
from web.sign_in.roles import Open, asked_by
from web.sign_in.visitor import CSRF, CSRF_HEADER, LOOKING, Visitor, csrf_of, here, host_name

log = logging.getLogger(__name__)

COOKIE = "sorbwatch_session"
_FOR_PROGRAMS = ("/api/", "/events", "/parts", "/metrics")  # a page to sign in on would be of no use to them
_SEE_OTHER = 303
_FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Real-Ip", "Via")
_DOES = {
    Role.LOOK: "looking",
    Role.DO: "telling what happened",
    Role.OWNER: "changing people and settings",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """The way in.

    Args:
        is_board_only: The pages are served on loopback: until there is an owner, whoever sits at the board's
            own screen may do everything, under the name they type.
        is_open_to_look: Anyone who reaches the pages may look.
    """

    people: People
    sessions: Sessions
    is_board_only: bool
    is_open_to_look: bool
    delivery: Delivery | None = None  # whom messages go to

    def admit(self) -> Response | None:
        """Let the request pass, lead a page to the sign-in, or refuse in a sentence."""
        if (
            request.url_rule is None or request.endpoint == "static"
        ):  # no such page: say that; nobody's secret
            return None
        asks = asked_by(current_app.view_functions[request.endpoint or ""])
        g.visitor = self._visitor(is_lenient=asks is Open.ALL)
        if isinstance(asks, Open):
            return None
        if request.method not in LOOKING:
            return self._admit_change(asks)
        needed = asks or (None if self.is_open_to_look else Role.LOOK)
        return None if needed is None else self._require(needed)

    def end_with_session(self, response: Response) -> Response:
        """A live stream of pages that not everybody may see ends when its session does."""
        if not self.is_open_to_look and response.mimetype == "text/event-stream":
            response.response = self._while_signed_in(response.response, _token())
        return response

    def let_in(self, response: Response, token: str) -> Response:
        """Give the device its session; over HTTPS the cookie never travels otherwise."""
        most_s = self.sessions.limits.most_days * 86_400
        is_https = request.is_secure or request.headers.get("Origin", "").startswith("https://")
        response.set_cookie(
            COOKIE, token, max_age=most_s, httponly=True, samesite="Strict", secure=is_https, path="/"
        )
        return response

    def see_off(self, response: Response) -> Response:
        response.delete_cookie(COOKIE, httponly=True, samesite="Strict", path="/")
        return response

    def where(self) -> Where:
        """Where this request comes from, as the list of devices shows it."""
        agent, address = request.headers.get("User-Agent", ""), request.remote_addr or "nowhere"
        kind = "Program"
        if agent.startswith("Mozilla/"):  # as every browser says
            kind = "Phone" if "Mobile" in agent else "Computer or tablet"
        is_here = self.is_board_only and _is_own_screen()
        return Where(address=address, device=f"{kind} at {address[:45]}", token=_token(), is_here=is_here)

    def _visitor(self, *, is_lenient: bool) -> Visitor:
        try:
            session = self.sessions.find(_token()) if _token() else None
            if session is not None:
                role = session.person.role
                return Visitor(role=role, session=session, csrf=csrf_of(_token()), has_door=True)
            is_free = self.is_board_only and _is_own_screen() and not self.sessions.has_owner()
        except StoreError:
            if not is_lenient:  # what is open to all must work while the database does not
                raise
            is_free = False
        return Visitor(role=Role.OWNER if is_free else None, has_door=True)

    def _admit_change(self, asks: Role | None) -> Response | None:
        if asks is None:
            log.error("a view declares no role endpoint=%s", request.endpoint)
            raise Forbidden("nobody may do this: the program does not say who may")
        refused = self._require(asks)
        if refused is not None:
            return refused
        csrf: str = g.visitor.csrf
        sent = request.headers.get(CSRF_HEADER) or request.form.get(CSRF, "")
        if csrf and not hmac.compare_digest(sent.encode(errors="replace"), csrf.encode()):
            raise Forbidden(
                "the form's token is missing or old: go back, reload the page, and send it again"
                f" (programs send it as {CSRF_HEADER})"
            )
        return None

    def _require(self, needed: Role) -> Response | None:
        visitor: Visitor = g.visitor
        if visitor.role is None:
            if request.method in LOOKING and not request.path.startswith(_FOR_PROGRAMS):
                return redirect(url_for("entry.show", next=here()), _SEE_OTHER)
            raise Unauthorized(self._how_to_sign_in(), www_authenticate=WWWAuthenticate("session"))
        if not visitor.role.covers(needed):
            raise Forbidden(
                f"{_DOES[needed]} needs the role {needed.value!r}, and yours is {visitor.role.value!r}:"
                " an owner can change that"
            )
        return None

    def _how_to_sign_in(self) -> str:
        if self.sessions.has_owner():
            return "sign in first; what was sent is not written down"
        if self.is_board_only:
            return "nobody can sign in yet: `sorbwatch people code` on the board prints the code for an owner"
        return "nobody can sign in yet: the one-time code that the board printed at its start makes an owner"

    def _while_signed_in(self, chunks: Iterable[Any], token: str) -> Iterator[Any]:
        for chunk in chunks:
            if self.sessions.find(token) is None and not (
                self.is_board_only and not self.sessions.has_owner()
            ):
                return
            yield chunk


def _token() -> str:
    return request.cookies.get(COOKIE, "")[:100]


def _is_own_screen() -> bool:
    """From this very machine to this very machine, and not handed on by another server."""
    is_handed_on = any(header in request.headers for header in _FORWARDED)
    return not is_handed_on and _is_loopback(request.remote_addr or "") and _is_loopback(host_name())


def _is_loopback(name: str) -> bool:
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False
