"""C-22: what calendar programs read, parsed back by a parser that shares nothing with the writer."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
import vobject

from monitor.model.calendar import CalendarEntry, EntryKind, KeptEntry
from monitor.wire.icalendar_feed import dump_calendar

BERLIN = "Europe/Berlin"


def kept(begins, *, is_day=False, hours=1.0, summary="Use or dry Blå", **more):
    begins_s = begins.timestamp()
    entry = CalendarEntry(
        uid="use-before-a1@lab.sorbwatch",
        kind=EntryKind.USE_BEFORE,
        begins_s=begins_s,
        ends_s=begins_s + 3600.0 * hours,
        is_day=is_day,
        summary=summary,
        description="From now on; take it out, or dry it.\nNot an alarm.",
    )
    return KeptEntry(entry=entry, **{"changed_ms": 1_800_000_000_000} | more)


def read_back(*entries, zone=BERLIN):
    content = dump_calendar(entries, name="Filament", zone=zone)
    return content, vobject.readOne(content.decode())


def test_names_that_are_not_ascii_and_reserved_signs_come_back():
    """Escaped and folded, never inside a character; every line ends in CR LF and has at most 75 octets."""
    summary = "Trockne, bitte; Spule „Ü\\ñ日本語“ " * 4
    content, calendar = read_back(kept(dt.datetime(2026, 7, 1, 12, tzinfo=dt.UTC), summary=summary))
    assert calendar.vevent.summary.value == summary.rstrip() + " "
    assert "\n" in calendar.vevent.description.value
    lines = content.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"\n" not in b"".join(lines)
    assert all(line.decode() for line in lines if line)  # none is cut within a character
    assert any(line.startswith(b" ") for line in lines)


@pytest.mark.parametrize(
    ("local", "utc"),
    [
        ((2026, 3, 29, 3, 30, 0), "20260329T013000Z"),  # the hour after the one that is left out
        ((2026, 10, 25, 2, 30, 0), "20261025T003000Z"),  # the first of two
        ((2026, 10, 25, 2, 30, 1), "20261025T013000Z"),
    ],
)
def test_times_are_utc_on_days_that_change_the_clock(local, utc):
    *parts, fold = local
    begins = dt.datetime(*parts, tzinfo=ZoneInfo(BERLIN), fold=fold)
    content, calendar = read_back(kept(begins))
    assert f"DTSTART:{utc}".encode() in content
    assert calendar.vevent.dtstart.value.utcoffset() == dt.timedelta()


@pytest.mark.parametrize("day", [dt.date(2026, 3, 29), dt.date(2026, 10, 25), dt.date(2026, 6, 1)])
def test_a_whole_day_is_the_day_of_the_site(day):
    """Also where it has 23 or 25 hours; late in the evening UTC it is the next day there already."""
    begins = dt.datetime.combine(day, dt.time(0, 10), tzinfo=ZoneInfo(BERLIN))
    _, calendar = read_back(kept(begins, is_day=True))
    assert calendar.vevent.dtstart.value == day
    assert calendar.vevent.dtend.value == day + dt.timedelta(days=1)


def test_what_is_off_is_said_to_be_and_programs_ask_again_each_hour():
    content, calendar = read_back(kept(dt.datetime(2026, 7, 1, tzinfo=dt.UTC), sequence=3, is_cancelled=True))
    event = calendar.vevent
    assert event.status.value == "CANCELLED"
    assert event.sequence.value == "3"
    assert event.uid.value == "use-before-a1@lab.sorbwatch"
    assert event.last_modified.value == event.dtstamp.value == dt.datetime(2027, 1, 15, 8, tzinfo=dt.UTC)
    assert b"REFRESH-INTERVAL;VALUE=DURATION:PT1H" in content


def test_an_empty_calendar_is_one():
    content, _ = read_back()
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"VEVENT" not in content
