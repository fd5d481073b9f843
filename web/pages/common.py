"""What the pages share on which people tell what happened."""

from flask import abort, request
from werkzeug.wrappers import Response

from web.sign_in.visitor import signed_in_name

SEE_OTHER = 303
_YEAR_S = 365 * 86_400


def one_of(name: str, allowed: tuple[str, ...], otherwise: str) -> str:
    """A word of the query string; what is none of those allowed is refused by name."""
    value = request.args.get(name, otherwise)
    if value not in allowed:
        abort(400, f"{name} {value[:20]!r} is unknown; one of: {', '.join(filter(None, allowed))}")
    return value


def remembering(response: Response, who: str) -> Response:
    """With the name that was typed, for the next form; whoever is signed in has typed none."""
    if signed_in_name() is None:
        response.set_cookie("who", who, max_age=_YEAR_S, samesite="Strict", httponly=True)
    return response
