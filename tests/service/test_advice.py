"""Advice at the counter: which air of a room is taken, and what is refused with its field."""

import datetime as dt
import zoneinfo
from dataclasses import replace

import pytest
from support.pages import FakeQueries

from monitor.errors import BadInputError, FieldError
from monitor.library import load_library
from monitor.model.answers import Freshness
from monitor.service.advice import AirKind, Wish, advise, weekend_before

BERLIN = zoneinfo.ZoneInfo("Europe/Berlin")
PA6 = Wish(material="pa6", reel="unknown", air=AirKind.WEEKEND, room="loft")


class Site(FakeQueries):
    """The usual site; what of its past was measured can be changed."""

    def __init__(self):
        super().__init__()
        self.measured = lambda _start_s: True
        self.slow = False

    def library(self):
        return load_library()

    def series(self, place, quantity, from_s, to_s, span_s):
        whole = super().series(place, quantity, from_s, to_s, span_s)
        return replace(whole, points=tuple(self._point(n, point) for n, point in enumerate(whole.points)))

    def _point(self, number, point):
        if not self.measured(point.start_s):
            return replace(point, mean=None, covered=0.0)
        if self.slow and number % 2:  # a sensor of every two hours: covered, but no reading of its own
            return replace(point, mean=None, covered=1.0)
        return replace(point, mean=50.0 if point.mean is None else point.mean, covered=1.0)


@pytest.fixture
def site():
    return Site()


@pytest.mark.parametrize(
    ("now", "friday", "hours"),
    [
        ((2026, 7, 22, 12), (2026, 7, 17), 62),  # a Wednesday
        ((2026, 7, 20, 8), (2026, 7, 17), 62),  # Monday at eight: it is just over
        ((2026, 7, 20, 7), (2026, 7, 10), 62),  # an hour earlier it is not
        ((2026, 7, 19, 12), (2026, 7, 10), 62),  # on Sunday the one before
        ((2026, 3, 31, 12), (2026, 3, 27), 61),  # clocks go forward within it
        ((2026, 10, 28, 12), (2026, 10, 23), 63),  # and back
    ],
)
def test_the_weekend_is_the_newest_that_is_over_by_the_sites_own_clocks(now, friday, hours):
    """Friday 18:00 to Monday 8:00, whatever the clocks do on the Sunday."""
    begins_s, ends_s = weekend_before(dt.datetime(*now, tzinfo=BERLIN).timestamp(), "Europe/Berlin")
    assert dt.datetime.fromtimestamp(begins_s, BERLIN) == dt.datetime(*friday, 18, tzinfo=BERLIN)
    assert dt.datetime.fromtimestamp(ends_s, BERLIN).hour == 8
    assert (ends_s - begins_s) / 3600 == hours


def test_a_weekend_on_the_bench_is_that_rooms_own_air(site):
    """The hours are the room's, not the ones that the form still holds."""
    advice = advise(site, replace(PA6, hours=5.0, humidity_pct=5.0))
    assert advice.room_name == "Print loft"
    assert advice.is_weekend
    assert advice.answer.air_taken.hours == 62
    assert advice.answer.air_taken.humidity_pct == pytest.approx(48.0, abs=1.0)
    assert advice.answer.curve[-1].h == pytest.approx(62.0)


def test_where_the_weekend_was_not_measured_the_newest_hours_stand_in(site):
    """A site set up on Tuesday can advise on Wednesday, and says that it is not the weekend."""
    site.measured = lambda start_s: start_s > site.now - 30 * 3600
    advice = advise(site, PA6)
    assert not advice.is_weekend
    assert advice.answer.air_taken.hours == 62
    assert advice.answer.air_taken.bridged_h == pytest.approx(32, abs=1)
    assert "nothing was measured" in advice.answer.air_taken.note


def test_the_last_week_is_seven_days_up_to_this_hour(site):
    """Its hours are whole ones, as the roll-ups are."""
    advice = advise(site, replace(PA6, air=AirKind.WEEK))
    assert advice.answer.air_taken.hours == 168
    assert advice.ends_s == site.now // 3600 * 3600
    assert advice.begins_s == advice.ends_s - 7 * 86_400


def test_a_slow_sensor_is_no_row_of_gaps(site):
    """An hour that lies between two of its readings is like the hour before."""
    site.slow = True
    assert advise(site, PA6).answer.air_taken.bridged_h == 0.0


def test_the_air_as_it_is_now_goes_on_for_as_long_as_was_asked(site):
    """The newest reading, held for the hours that were entered."""
    taken = advise(site, replace(PA6, air=AirKind.NOW, hours=30.0)).answer.air_taken
    assert (taken.hours, taken.humidity_pct, taken.temperature_c) == (30.0, 48.0, 21.5)


def test_a_sites_own_figures_count(site):
    """The maker's figure wins: with a higher limit the same air does no harm."""
    library = load_library()
    lax = replace(library.materials["pa6"], limit_content=0.04, looser_limit_content=None)
    site.library = lambda: replace(library, materials={**library.materials, "pa6": lax})
    answer = advise(site, PA6).answer
    assert answer.limit_pct == 4.0
    assert answer.outer_over_limit_after_h.p50 is None


def _stale(site):
    status = site.status()
    rooms = tuple(
        replace(room, air=replace(room.air, stale=True, freshness=Freshness.LOST)) for room in status.rooms
    )
    site.status = lambda: replace(status, rooms=rooms)


def _unmeasured(site):
    site.measured = lambda _start_s: False


def _unplaced(site):
    def refuses(*_):
        raise BadInputError("place 'loft' has no channel in the inventory")

    site.series = refuses


@pytest.mark.parametrize(
    ("change", "more", "field", "said"),
    [
        (None, {"material": "plaa"}, "material", "near it: pla"),
        (None, {"reel": "wood"}, "reel", "'wood' is not in the catalogue"),
        (None, {"room": "attic"}, "air", "allowed are: cellar, loft"),
        (_stale, {"air": AirKind.NOW, "hours": 5.0}, "air", "Print loft is not known just now"),
        (_unmeasured, {}, "air", "Print loft was not measured"),
        (_unplaced, {"air": AirKind.WEEK}, "air", "Print loft was not measured"),
        (None, {"air": AirKind.STEADY, "humidity_pct": 50.0, "hours": 5.0}, "temperature", "is missing"),
        (None, {"air": AirKind.NOW}, "hours", "is missing"),
    ],
)
def test_what_cannot_be_answered_is_refused_with_its_field(site, change, more, field, said):
    """A form marks the field; nothing is guessed."""
    if change is not None:
        change(site)
    with pytest.raises(FieldError, match=said) as caught:
        advise(site, replace(PA6, **more))
    assert caught.value.field == field
