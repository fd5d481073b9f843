"""The pages for signing in and out."""

from dataclasses import dataclass, replace

from flask import Blueprint, Response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from monitor.errors import FieldError
from monitor.model.people import Role
from monitor.service.passwords import NAME_MAX, PASSWORD_MAX, PASSWORD_MIN
from monitor.service.sessions import SignInRefusedError
from web.inside import sentence
from web.sign_in.door import Door
from web.sign_in.roles import at_the_door, needs
from web.sign_in.visitor import local_path, visitor

_SEE_OTHER = 303
_REFUSED, _TOO_MANY = 403, 429


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What was typed, but never a password, and what is wrong with it."""

    has_code: bool = False  # the form for a one-time code
    name: str = ""
    code: str = ""
    fault: str = ""
    field: str = ""


def blueprint(door: Door) -> Blueprint:
    """Routes of the way in and out."""
    pages = Blueprint("entry", __name__)

    @pages.get("/sign-in")
    @at_the_door
    def show() -> AnyResponse:
        if visitor().session is not None:
            return redirect(local_path(request.args.get("next", "/")), _SEE_OTHER)
        return _page(Form(has_code="code" in request.args or not door.sessions.has_owner()), 200)

    @pages.post("/sign-in")
    @at_the_door
    def sign_in() -> AnyResponse:
        name = _typed("name", NAME_MAX)
        try:
            begun = door.sessions.sign_in(name, request.form.get("password", ""), door.where())
        except SignInRefusedError as error:
            return _refused(Form(name=name, fault=str(error), field="password"), error)
        return door.let_in(redirect(local_path(request.form.get("next", "/")), _SEE_OTHER), begun.token)

    @pages.post("/sign-in/code")
    @at_the_door
    def use_code() -> AnyResponse:
        form = Form(has_code=True, name=_typed("name", NAME_MAX), code=_typed("code", 40))
        password = request.form.get("password", "")
        try:
            if password != request.form.get("again", ""):
                raise FieldError("again", "is another password: type the same one twice")
            begun = door.sessions.redeem(form.code, form.name, password, door.where())
        except FieldError as error:
            fault = f"{_LABELS.get(error.field, error.field)} {error.fault}"
            return _page(replace(form, fault=sentence(fault), field=error.field), 400)
        except SignInRefusedError as error:
            return _refused(replace(form, fault=str(error), field="code"), error)
        return door.let_in(redirect(url_for("people.show", new="yes"), _SEE_OTHER), begun.token)

    @pages.post("/sign-out")
    @needs(Role.LOOK)
    def sign_out() -> AnyResponse:
        session = visitor().session
        if session is not None:
            door.sessions.end(session)
        return door.see_off(redirect(url_for("glance.show"), _SEE_OTHER))

    def _page(form: Form, status: int) -> Response:
        next_path = request.form.get("next") or request.args.get("next") or "/"
        html = render_template(
            "sign_in.html",
            form=form,
            is_first=not door.sessions.has_owner(),
            is_board_only=door.is_board_only,
            next=local_path(next_path),
            name_max=NAME_MAX,
            least=PASSWORD_MIN,
            most=PASSWORD_MAX,
        )
        return Response(html, status=status)

    def _refused(form: Form, error: SignInRefusedError) -> Response:
        response = _page(form, _TOO_MANY if error.wait_s else _REFUSED)
        if error.wait_s:
            response.headers["Retry-After"] = str(error.wait_s)
        return response

    return pages


_LABELS = {
    "name": "Your name",
    "password": "The password",
    "again": "The second password",
    "code": "The code",
}


def _typed(name: str, longest: int) -> str:
    return request.form.get(name, "").strip()[: 4 * longest]
