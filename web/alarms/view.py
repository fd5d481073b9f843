"""Alarms in finished words: groups by what is asked of whoever looks, and what may be done with each."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.alarms.wording import span
from monitor.model.alarm_change import AlarmTransition
from monitor.service.alarm_answers import AlarmLook, Waiting
from web.present import Presenter, seconds

# (states shown, heading, what the group means), in the order in which they are looked at
GROUPS = (
    (("unack",), "To be acted on", ""),
    (
        ("latchd",),
        "Locked until it is reset",
        "It is over. Find out why it happened, mend that, then reset it.",
    ),
    (("acked",), "Seen, and still so", ""),
    (("rtnun",), "Over before anybody saw it", "Nothing is to be done now; say that you have seen it."),
    (("shlvd",), "Put aside", "They come back by themselves at the time told, sooner if you say so."),
    (("dsupr",), "Hidden, since the cause is known", "They come back when the cause lasts too long."),
    (("oosrv",), "Out of service", "Until somebody takes them back into service."),
)
PRIORITIES = {
    "safety": ("⬢", "Danger"),
    "high": ("▲", "Urgent"),
    "medium": ("◆", "Soon"),
    "low": ("●", "When you can"),
    "notice": ("○", "For your information"),
}
_HOUR_S = 3_600.0
# What may be chosen of a shelf's length, longest last; "morning" and "over" are worked out.
SHELVES = (("1", "1 hour"), ("4", "4 hours"), ("24", "1 day"), ("72", "3 days"), ("168", "7 days"))
MORNING_HOUR = 8
QUIET_MIN = (15, 60)
# What the log says of an alarm, in the words of the page.
HAPPENED = {
    "activated": "began",
    "told again": "told again",
    "worse": "became more urgent",
    "cleared": "was over",
    "acknowledged": "seen",
    "shelved": "put aside",
    "unshelved": "taken back",
    "shelf over": "the time that it was put aside for was over",
    "hidden": "hidden by a rule",
    "shown again": "hidden no more",
    "hidden too long": "hidden no more, though the cause lasts",
    "out of service": "taken out of service",
    "returned": "back in service",
    "reset": "reset",
    "frozen": "nothing was heard of it any more",
    "known again": "heard of again",
    "vanished": "its place is gone",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One alarm as it is shown."""

    key: str
    activation: str
    priority: str
    mark: str
    urgency: str
    what: str
    why: str
    act: str
    by: str  # by when, or empty
    is_late: bool
    since: str
    place_link: tuple[str, str]  # endpoint and key; empty = there is no page
    notes: tuple[str, ...]
    can_see: bool
    shelves: tuple[tuple[str, str], ...]  # what may be chosen; none = cannot be put aside
    can_take_back: bool
    can_reset: bool
    is_out: bool
    can_go_out: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    heading: str
    words: str
    cards: tuple[Card, ...]


def groups(
    looks: Iterable[AlarmLook], links: Mapping[str, tuple[str, str]], present: Presenter, now_s: float
) -> tuple[Group, ...]:
    """All that are not normal, by what they ask for.

    Args:
        looks: The most urgent first.
        links: Place to the endpoint and key of its page.
        present: Makes local time.
        now_s: Unix s.
    """
    cards = [(look.alarm.state, card(look, links, present, now_s)) for look in looks]
    found = (
        Group(heading=heading, words=words, cards=tuple(c for state, c in cards if state in states))
        for states, heading, words in GROUPS
    )
    return tuple(group for group in found if group.cards)


def waiting(found: Iterable[Waiting]) -> tuple[tuple[str, str], ...]:
    """What is not an alarm yet, and when it would be, in words."""
    return tuple(
        (item.what, f"Told in about {span(max(item.left_s, 60.0))} if it stays so.") for item in found
    )


def card(look: AlarmLook, links: Mapping[str, tuple[str, str]], present: Presenter, now_s: float) -> Card:
    alarm = look.alarm
    mark, urgency = PRIORITIES[alarm.priority]
    deadline_s, since_s = seconds(alarm.deadline), seconds(alarm.since) or 0.0
    is_asked = alarm.state in ("unack", "acked")
    return Card(
        key=alarm.key,
        activation=alarm.activation,
        priority=alarm.priority,
        mark=mark,
        urgency=urgency,
        what=alarm.what,
        why=alarm.why,
        act=alarm.act if is_asked or alarm.state == "latchd" else "",
        by=by_when(deadline_s, now_s, present) if is_asked and deadline_s is not None else "",
        is_late=is_asked and deadline_s is not None and deadline_s < now_s,
        since=_since(alarm.state, since_s, now_s, present),
        place_link=links.get(alarm.place, ("", "")),
        notes=tuple(_notes(look, present)),
        can_see=alarm.state in ("unack", "rtnun"),
        shelves=_shelves(look, present, now_s) if alarm.state in ("unack", "acked", "rtnun") else (),
        can_take_back=alarm.state == "shlvd",
        can_reset=look.needs_reset,
        is_out=alarm.state == "oosrv",
        can_go_out=alarm.state not in ("oosrv", "norm") and look.shelve_max_s > 0.0,
    )


def by_when(deadline_s: float, now_s: float, present: Presenter) -> str:
    """'by 18:40 today', 'by Tuesday 09:00', or that the time is over."""
    left_s = deadline_s - now_s
    if left_s < 0.0:
        return f"it was to be done by {present.clock(deadline_s, '%d %b %H:%M')}"
    day = present.local(deadline_s).date() - present.local(now_s).date()
    if day == dt.timedelta():
        return f"by {present.clock(deadline_s, '%H:%M')} today"
    if day == dt.timedelta(days=1):
        return f"by {present.clock(deadline_s, '%H:%M')} tomorrow"
    return f"by {present.clock(deadline_s, '%A %d %b')}"


def shelf_end(chosen: str, now_s: float, present: Presenter) -> float | None:
    """Until when, of what the form offers; None = until it is over. KeyError for anything else."""
    if chosen == "over":
        return None
    if chosen == "morning":
        return _morning_s(now_s, present)
    return now_s + _HOUR_S * float({hours: hours for hours, _ in SHELVES}[chosen])


def history(log: Sequence[AlarmTransition], present: Presenter) -> tuple[tuple[str, str, str], ...]:
    """When, what and who of one alarm's lines, the newest first."""
    return tuple(
        (present.clock(line.at_ms / 1000.0, "%d %b %Y %H:%M"), HAPPENED.get(line.what, line.what), line.who)
        for line in reversed(log)
    )


def _since(state: str, since_s: float, now_s: float, present: Presenter) -> str:
    """For how long; of what is over only when it began is known."""
    moment = present.clock(since_s, "%d %b %H:%M")
    if state in ("rtnun", "latchd"):
        return f"began {moment}"
    return f"for {span(max(now_s - since_s, 0.0))}, since {moment}"


def _notes(look: AlarmLook, present: Presenter) -> Iterable[str]:
    if look.frozen_since_s is not None:
        since = present.clock(look.frozen_since_s, "%d %b %H:%M")
        yield f"Nothing has been heard since {since}: this is how it was then."
    if look.acked_by and look.alarm.state in ("acked", "latchd"):
        yield f"Seen by {look.acked_by}."
    if look.hidden_text:
        yield look.hidden_text
    if look.set_aside_by:
        until = ""
        if look.shelved_until_s is not None:
            until = f" until {present.clock(look.shelved_until_s, '%d %b %H:%M')}"
            until += ", or until it is over" if look.shelved_one_shot else ""
        yield f"By {look.set_aside_by}{until}: {look.set_aside_why}"


def _shelves(look: AlarmLook, present: Presenter, now_s: float) -> tuple[tuple[str, str], ...]:
    most_s = look.shelve_max_s
    found = [(hours, words) for hours, words in SHELVES if _HOUR_S * float(hours) <= most_s]
    if not found:
        return ()
    if _morning_s(now_s, present) - now_s <= most_s:
        found.append(("morning", f"until the morning, {MORNING_HOUR}:00"))
    found.append(("over", f"until it is over, {span(most_s)} at most"))
    return tuple(found)


def _morning_s(now_s: float, present: Presenter) -> float:
    local = present.local(now_s)
    morning = local.replace(hour=MORNING_HOUR, minute=0, second=0, microsecond=0)
    return (morning if morning > local else morning + dt.timedelta(days=1)).timestamp()
