"""What a view asks of whoever calls it, written beside the view; a test walks all routes for it."""

from collections.abc import Callable
from enum import StrEnum
from typing import Any, TypeVar

from monitor.model.people import Role

_View = TypeVar("_View", bound=Callable[..., Any])
_MARK = "_asks"


class Open(StrEnum):
    """What asks for nobody."""

    DOOR = "door"  # the way in itself, from our own pages
    ALL = "all"


Asks = Role | Open


def needs(role: Role) -> Callable[[_View], _View]:
    """The person must be signed in and have this role, or one above it. Goes below the route's line."""

    def mark(view: _View) -> _View:
        setattr(view, _MARK, role)
        return view

    return mark


def at_the_door(view: _View) -> _View:
    """For who is not signed in yet. A stranger's page may not send it."""
    setattr(view, _MARK, Open.DOOR)
    return view


def open_to_all(view: _View) -> _View:
    """Anyone on the site's network, signed in or not, by page or by program (B-17: stopping heat).

    Only for what can never do harm: no role, no session, no token is asked for. What a browser says to come
    from a stranger's page is refused all the same: that is nobody of this network.
    """
    setattr(view, _MARK, Open.ALL)
    return view


def asked_by(view: Callable[..., Any] | None) -> Asks | None:
    """None: nothing is declared. Then whoever may look may ask for it, and nobody may change anything."""
    asks: Asks | None = getattr(view, _MARK, None)
    return asks
