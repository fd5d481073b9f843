"""The calendar as iCalendar (RFC 5545, RFC 7986): times in UTC, whole days as dates."""

import datetime as dt
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from monitor.model.calendar import KeptEntry

_HOUR = dt.timedelta(hours=1)
CONTENT_TYPE = "text/calendar; charset=utf-8"


def dump_calendar(entries: Iterable[KeptEntry], *, name: str, zone: str) -> bytes:
    """The document that a calendar program subscribes to.

    Args:
        entries: As they are given out.
        name: Of the calendar.
        zone: IANA name; in which day a whole day lies.
    """
    import icalendar  # here: 30 ms that a start need not wait for

    local = ZoneInfo(zone)
    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//sorbwatch//calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", name)
    calendar.add("refresh-interval", icalendar.vDuration(_HOUR), parameters={"VALUE": "DURATION"})
    for kept in entries:
        entry = kept.entry
        changed = _utc(kept.changed_ms / 1000.0)
        event = icalendar.Event()
        event.add("uid", entry.uid)
        event.add("dtstamp", changed)
        event.add("last-modified", changed)
        event.add("sequence", kept.sequence)
        event.add("status", "CANCELLED" if kept.is_cancelled else "CONFIRMED")
        event.add("summary", entry.summary)
        event.add("description", entry.description)
        event.add("transp", "TRANSPARENT")  # nobody is busy by it
        if entry.is_day:
            day = dt.datetime.fromtimestamp(entry.begins_s, local).date()
            event.add("dtstart", day)
            event.add("dtend", day + dt.timedelta(days=1))
        else:
            event.add("dtstart", _utc(entry.begins_s))
            event.add("dtend", _utc(entry.ends_s))
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _utc(time_s: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(round(time_s), dt.UTC)
