"""Starts planned for later: their form, what it brings back, and the list of those that wait."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from monitor.errors import FieldError
from monitor.model.inventory import Inventory
from monitor.model.oven_look import StartWish
from monitor.model.planned_start import AnyStart, PlannedStart, PlannedState, StartLater
from monitor.service.planned_starts import PlannedStarts
from web.ovens import choose, confirm
from web.ovens.words import lasting
from web.present import Presenter

_FORM = "%a %d %b %H:%M"
_SOON_S = 300.0
SHORTEST_S = 60.0
_STEP_S = 300.0
_WORDS = {
    PlannedState.ASKED: "It waits for somebody.",
    PlannedState.MISSED: "Missed: not begun.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One planned start in words."""

    number: int
    oven: str
    oven_key: str
    when: str
    level: str  # now | check | ""
    what: str
    state: str
    why: str
    who: str
    query: Mapping[str, object] | None  # of its plan's page; None = it cannot be read
    is_due: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """The form under a plan."""

    offer: confirm.Offer
    start_at: str


def lines(
    starts: Iterable[AnyStart], inventory: Inventory, present: Presenter, now_s: float
) -> tuple[Line, ...]:
    """All that wait, the first to begin first."""
    return tuple(_line(start, inventory, present, now_s) for start in starts)


def _line(start: AnyStart, inventory: Inventory, present: Presenter, now_s: float) -> Line:
    oven = inventory.ovens.get(start.oven)
    unread = Line(
        number=start.number,
        oven=start.oven if oven is None else oven.name,
        oven_key="" if oven is None else start.oven,
        when=present.clock(start.start_s, _FORM),
        level="check",
        what="It could not be read, and is not begun",
        state="",
        why="",
        who="",
        query=None,
        is_due=False,
    )
    if not isinstance(start, PlannedStart):
        return replace(unread, state=f"What is wrong with it: {start.why}.")
    names = [inventory.spools[key].name if key in inventory.spools else key for key in start.load]
    members = {"target_pct": start.target_pct, "dry_g": start.dry_g, "loading_pct": start.loading_pct}
    query: dict[str, object] = {"desiccant" if start.is_tray else "spool": list(start.load)}
    query |= {name: value for name, value in members.items() if value is not None}
    due = "" if start.due_s is None else f", to be ready {present.clock(start.due_s, _FORM)}"
    return replace(
        unread,
        level="" if start.state is PlannedState.PLANNED else "check",
        what=f"{', '.join(names)} at {start.setpoint_c:g} °C for {lasting(start.duration_s)}{due}",
        state=_state(start, now_s),
        why=start.why,
        who=start.who,
        query=None if oven is None else query,
        is_due=now_s >= start.start_s,
    )


def _state(start: PlannedStart, now_s: float) -> str:
    if start.state is PlannedState.ASKED and now_s < start.start_s:
        return "It does not begin by itself any more. Plan it anew, or confirm it at its time."
    if start.state is not PlannedState.PLANNED:
        return _WORDS.get(start.state, "")
    if not start.unattended:
        return "At its time you are asked to confirm: somebody has to stay with it."
    return "Arm it at the oven within the half hour before and it begins by itself; else you are asked."


def later(planned: PlannedStarts, ground: confirm.Ground, present: Presenter, start_at: str) -> Later | None:
    """The offer as if just this load lay inside: it may still be elsewhere. None for what is dry already."""
    offer = confirm.offer(_as_if_inside(planned, ground), present)
    return Later(offer=offer, start_at=start_at[:25]) if offer.wish.duration_s >= SHORTEST_S else None


def wish(
    form: Mapping[str, str], planned: PlannedStarts, ground: confirm.Ground, present: Presenter
) -> tuple[StartLater | None, tuple[str, ...]]:
    """What is asked for, or what is no longer as it was shown; FieldError names what is missing."""
    shown = confirm.sent(form, ground.asked)
    start_s = choose.moment(form, "start_at", present, ground.now_s)
    if start_s is None:
        raise FieldError("start_at", "is missing")
    now = confirm.offer(_as_if_inside(planned, ground), present).wish
    said = confirm.changed(shown, now, ground.now_s)
    return (None, said) if said else (_later(shown, ground.asked, start_s), ())


def _later(shown: StartWish, asked: choose.Asked, start_s: float) -> StartLater:
    return StartLater(
        load=shown.load,
        setpoint_c=shown.setpoint_c,
        duration_s=shown.duration_s,
        limited_by=shown.limited_by,
        unattended=shown.unattended,
        start_s=start_s,
        due_s=asked.ready_by_s,
        target_pct=asked.target_pct,
        dry_g=asked.dry_g,
        loading_pct=asked.loading_pct,
    )


def _as_if_inside(planned: PlannedStarts, ground: confirm.Ground) -> confirm.Ground:
    inside = planned.would_hold(ground.look.key, ground.asked.spools)
    return replace(ground, look=replace(ground.look, load=inside))


def begins_s(start_s: float, latest_s: float, now_s: float) -> float | None:
    """When to begin [Unix s]: the schedule's own time, else as late as may be; None = now, or never."""
    at_s = start_s if start_s > now_s + _SOON_S else latest_s
    at_s -= at_s % _STEP_S
    return at_s if at_s > now_s + _SOON_S else None
