"""What people typed about messages, read within bounds, and the same as the form shows it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.library.alarm_table import load_alarm_table
from monitor.model.alarm_row import AlarmClass
from monitor.model.delivery import SITE, Wishes
from monitor.model.message import Priority

NOBODY_KEY, SITE_KEY = "-", "="  # no folded name that a person may bear is one of these
LEAST = (
    (Priority.NOTICE, "everything, also when nothing is wrong"),
    (Priority.LOW, "all alarms"),
    (Priority.MEDIUM, "alarms that should be seen to within some days"),
    (Priority.HIGH, "only what is urgent"),
    (Priority.SAFETY, "only what can hurt people"),
)
_NOTICES = {"alarm_test_due": "Test of messages due"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """Wishes as the form's fields hold them."""

    least: str
    wants_clears: bool
    quiet_from: str
    quiet_to: str
    a_day: str
    then: str
    muted: tuple[str, ...]


def muteable() -> dict[str, str]:
    """What may be muted, and its name. What can hurt people is not among it: it always comes."""
    rows = load_alarm_table().rows.values()
    return {row.type: row.name for row in rows if row.alarm_class is not AlarmClass.SAFETY} | _NOTICES


def shown(wishes: Wishes) -> Shown:
    """As kept."""
    return Shown(
        least=str(wishes.least),
        wants_clears=wishes.wants_clears,
        quiet_from=_clock(wishes.quiet_from),
        quiet_to=_clock(wishes.quiet_to),
        a_day=str(wishes.a_day),
        then=NOBODY_KEY if wishes.then is None else wishes.then or SITE_KEY,
        muted=wishes.muted,
    )


def read_wishes(
    fields: Mapping[str, str],
    muted: Sequence[str],
    kept: Wishes,
    others: frozenset[str],
    kinds: Mapping[str, str],
) -> Wishes:
    """What the form says; FieldError names the field and what is allowed.

    Args:
        muted: The kinds that were ticked. What was muted before and is no kind of this form stays so.
        others: Whom to tell next, as the form's keys.
        kinds: What may be muted.
    """
    if any(kind not in kinds for kind in muted):
        raise FieldError("muted", "must be of the kinds in the list")
    least = fields.get("least", "")
    if least not in tuple(Priority):
        raise FieldError("least", f"must be one of {', '.join(Priority)}")
    then = fields.get("then", NOBODY_KEY)
    if then not in {NOBODY_KEY, *others}:
        raise FieldError("then", "must be somebody who is here")
    a_day = fields.get("a_day", "")
    if not (a_day.isascii() and a_day.isdigit() and len(a_day) < 4):
        raise FieldError("a_day", "must be a number from 1 to 50")
    return Wishes(
        person=kept.person,
        least=Priority(least),
        wants_clears=fields.get("wants_clears") == "1",
        quiet_from=_minute("quiet_from", fields.get("quiet_from", "")),
        quiet_to=_minute("quiet_to", fields.get("quiet_to", "")),
        a_day=int(a_day),
        muted=tuple(sorted({*muted, *(kind for kind in kept.muted if kind not in kinds)})),
        then={NOBODY_KEY: None, SITE_KEY: SITE}.get(then, then),
    )


def _minute(field: str, text: str) -> int:
    hour, _, minute = text.partition(":")
    if not (text.isascii() and len(text) == 5 and hour.isdigit() and minute.isdigit()):
        raise FieldError(field, "must be a time from 00:00 to 23:59")
    if int(hour) > 23 or int(minute) > 59:
        raise FieldError(field, "must be a time from 00:00 to 23:59")
    return int(hour) * 60 + int(minute)


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"
