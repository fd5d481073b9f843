"""The notice at an oven (B-41): what runs, how hot, until when, how to shut it off, whom to call."""

from dataclasses import dataclass

from monitor.model.oven_look import OvenLook
from web.ovens.words import FOOD, IS_ON, ends_s, lasting
from web.present import Presenter
from web.spools.label import code

SIZES = {"a4": "A4", "a5": "A5"}
CONTACT_MAX = 80
_LOOPBACK = ("localhost", "127.", "[::1]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """Its lines, finished."""

    name: str
    what: str
    temperature: str
    until: str
    mode: str
    food: str
    code_path: str
    code_side: int
    url: str
    is_local: bool
    printed: str


def notice(look: OvenLook, present: Presenter, *, url: str, now_s: float) -> Notice:
    """The notice as of now; what is not known is left as a line to fill in."""
    cycle = look.cycle if look.phase in IS_ON or look.phase == "cooling" else None
    items = look.load if cycle is None else cycle.load
    path, side = code(url)
    return Notice(
        name=look.name,
        what=", ".join(item.name for item in items),
        temperature="" if cycle is None else f"{cycle.setpoint_c:g} °C, cut at {cycle.ceiling_c:g} °C",
        until=_until(look, present, now_s),
        mode=""
        if cycle is None
        else f"{'Unattended' if cycle.is_unattended else 'Attended'}, by {cycle.who}",
        food=FOOD,
        code_path=path,
        code_side=side,
        url=url,
        is_local=url.partition("://")[2].lower().startswith(_LOOPBACK),
        printed=present.clock(now_s, "%d %b %Y %H:%M"),
    )


def _until(look: OvenLook, present: Presenter, now_s: float) -> str:
    if look.left_s is None or look.phase not in IS_ON:
        return ""
    end = present.clock(ends_s(look, now_s), "%a %d %b %H:%M")
    return f"{end}, {lasting(look.left_s)} left; then it cools"
