"""Signing in for programs: the session as a thing of the API."""

import json
from typing import Any

from flask import Blueprint, Response, request
from werkzeug.exceptions import Forbidden, NotFound, TooManyRequests

from monitor.errors import BadInputError
from monitor.model.people import Role
from monitor.service.sessions import SignInRefusedError
from web.sign_in.door import Door
from web.sign_in.roles import at_the_door, needs
from web.sign_in.visitor import csrf_of, signed_in_name, visitor

BYTES_MAX = 4_096


def blueprint(door: Door | None) -> Blueprint:
    """Routes of the session; without a door there is nothing to sign in to."""
    pages = Blueprint("session", __name__, url_prefix="/api/v1")

    @pages.get("/session")
    @at_the_door
    def show() -> Response:
        now = visitor()
        return _answer(signed_in_name(), now.role, now.csrf or None)

    @pages.post("/session")
    @at_the_door
    def begin() -> Response:
        if door is None:
            raise NotFound("nobody signs in here")
        name, password = _read(request.get_data(cache=False))
        try:
            begun = door.sessions.sign_in(name, password, door.where())
        except SignInRefusedError as error:
            if error.wait_s:
                raise TooManyRequests(str(error), retry_after=error.wait_s) from None
            raise Forbidden(str(error)) from None
        session = door.sessions.find(begun.token)
        response = _answer(begun.name, session.person.role if session else None, csrf_of(begun.token))
        response.status_code = 201
        door.let_in(response, begun.token)
        return response

    @pages.delete("/session")
    @needs(Role.LOOK)
    def end() -> Response:
        session = visitor().session
        response = _answer(None, None, None)
        if door is not None and session is not None:
            door.sessions.end(session)
            door.see_off(response)
        return response

    return pages


def _answer(person: str | None, role: Role | None, csrf: str | None) -> Response:
    document = {"person": person, "role": None if role is None else str(role), "csrf": csrf}
    return Response(json.dumps(document, ensure_ascii=False), mimetype="application/json")


def _read(content: bytes) -> tuple[str, str]:
    """Name and password, strictly."""
    try:
        document: Any = json.loads(content) if len(content) <= BYTES_MAX else None
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict) or set(document) != {"name", "password"}:
        raise BadInputError('body must be JSON such as {"name": "...", "password": "..."}, nothing else')
    name, password = document["name"], document["password"]
    if not isinstance(name, str) or not isinstance(password, str):
        raise BadInputError("body must give name and password as text")
    return name, password
