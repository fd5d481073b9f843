"""Hours of the day over the nights on which the clocks change: one span a local date, by UTC (report 10)."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from monitor.oven.ready_by_calendar import Calendar, daily

NEW_YORK, BERLIN = "America/New_York", "Europe/Berlin"
# zone, the night's date, time of the rule, and what it is in UTC: by hand from the published changes of 2026.
NIGHTS = [
    (NEW_YORK, "2026-03-08", "02:30", "2026-03-08T07:30Z"),  # skipped: 02 to 03 does not exist
    (NEW_YORK, "2026-11-01", "02:30", "2026-11-01T07:30Z"),
    (NEW_YORK, "2026-11-01", "01:30", "2026-11-01T05:30Z"),  # comes twice: the first
    (BERLIN, "2026-03-29", "02:30", "2026-03-29T01:30Z"),  # skipped
    (BERLIN, "2026-10-25", "02:30", "2026-10-25T00:30Z"),  # comes twice: the first
]


def utc_s(text):
    return dt.datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize(("zone", "night", "at", "utc"), NIGHTS)
def test_a_daily_time_comes_once_on_each_local_date(zone, night, at, utc):
    """Report 10: neither doubled nor skipped, whatever happens that night; and its UTC is known."""
    first = dt.date.fromisoformat(night) - dt.timedelta(days=3)
    spans = daily(first, 7, dt.time.fromisoformat(at), dt.time(12, 0), ZoneInfo(zone))
    begins = [begin for begin, _ in spans]
    assert begins[3] == utc_s(utc)
    dates = [dt.datetime.fromtimestamp(begin, ZoneInfo(zone)).date() for begin in begins]
    assert dates == [first + dt.timedelta(days=day) for day in range(7)]
    for begin, date in zip(begins, dates, strict=True):
        local = dt.datetime.fromtimestamp(begin, ZoneInfo(zone))
        assert f"{local:%H:%M}" == at or date == dt.date.fromisoformat(night)


@pytest.mark.parametrize(("zone", "night", "at"), [each[:3] for each in NIGHTS])
def test_walking_the_calendar_begins_once_a_local_date(zone, night, at):
    """A job a day, started at the first good moment: seven dates, seven starts."""
    tz, first = ZoneInfo(zone), dt.date.fromisoformat(night) - dt.timedelta(days=3)
    begin = dt.time.fromisoformat(at)
    calendar = Calendar(daily(first, 7, begin, dt.time(5, 0), tz), ())
    now_s, starts = dt.datetime.combine(first, dt.time(0, 0), tz).timestamp(), []
    for _ in range(7):
        starts.append(calendar.next_s(now_s))
        now_s = starts[-1] + 6 * 3600.0
    dates = [dt.datetime.fromtimestamp(each, tz).date() for each in starts]
    assert dates == [first + dt.timedelta(days=day) for day in range(7)]
    assert len(set(starts)) == 7


def test_hours_over_midnight_end_on_the_next_date():
    """'From 22:00 to 06:00' in the night that is an hour longer."""
    ((begin, end),) = daily(dt.date(2026, 10, 24), 1, dt.time(22, 0), dt.time(6, 0), ZoneInfo(BERLIN))
    assert (begin, end) == (utc_s("2026-10-24T20:00Z"), utc_s("2026-10-25T05:00Z"))
    assert end - begin == 9 * 3600.0
