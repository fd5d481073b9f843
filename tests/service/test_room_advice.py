"""Advice on a room: what it is taken from, when it is withheld, and what is refused with its field."""

import datetime as dt
import math
import zoneinfo

import pytest
from support.room_site import DAY_S, RoomSite

from monitor.errors import FieldError
from monitor.model.room_air import Airing, Basis, RoomWish
from monitor.service.room_advice import room_advice

BERLIN = zoneinfo.ZoneInfo("Europe/Berlin")


def advice(site, key="loft", **wish):
    status = site.status()
    room = next(each for each in status.rooms if each.key == key)
    return room_advice(site, status, room, RoomWish(**wish))


def local_wave(_place, time_s):
    """Driest at five in the morning, dampest at five in the afternoon, by the site's clocks."""
    hour = dt.datetime.fromtimestamp(time_s, BERLIN).hour
    return 21.0, 9.0 + 1.5 * math.cos(2.0 * math.pi * (hour - 17) / 24.0)


def seasons(_place, time_s):
    return 20.0, 8.0 + 3.0 * math.sin(2.0 * math.pi * (time_s / DAY_S - 110.0) / 365.25)


def test_the_usual_air_is_the_mean_of_two_weeks():
    """An afternoon with the window open is not the room."""
    usual = advice(RoomSite()).usual
    assert usual.basis is Basis.PAST
    assert usual.vapour_g_m3 == pytest.approx(9.0, rel=1e-6)
    assert "336 measured hours" in usual.words


def test_a_room_of_one_days_life_is_taken_as_it_is_now():
    """What is stored is too little to be usual."""
    site = RoomSite()
    site.course = lambda _place, time_s: (21.0, 9.0) if time_s > site.now - 5 * 3600 else None
    usual = advice(site).usual
    assert usual.basis is Basis.NOW
    assert (usual.humidity_pct, usual.temperature_c) == (48.0, 21.5)


def test_a_room_without_a_sensor_says_what_is_assumed():
    """One sentence: what is missing, and what stands in for it."""
    site = RoomSite()
    site.unplace("loft")
    answer = advice(site, outside_c=5.0, outside_pct=90.0)
    assert answer.usual.basis is Basis.ASSUMED
    assert (answer.usual.humidity_pct, answer.usual.temperature_c) == (50.0, 23.0)
    (sentence,) = answer.missing
    assert "no channel is placed here" in sentence
    assert "50 %RH at 23 °C is assumed" in sentence
    assert answer.day is None
    assert answer.season is None
    assert "assumed" in answer.airing.advice


def test_the_hours_are_those_of_the_sites_clocks():
    """The clocks went back within these 14 days or not: five in the morning stays five."""
    site = RoomSite(local_wave)
    for now in (dt.datetime(2026, 7, 20, 12, tzinfo=BERLIN), dt.datetime(2026, 10, 30, 12, tzinfo=BERLIN)):
        site.now = now.timestamp()
        day = advice(site).day
        assert (day.driest.hour, day.dampest.hour) == (5, 17)
        assert day.worth_waiting
        assert "from 05:00 to 06:00" in day.advice


def test_an_opening_is_that_of_a_box_of_this_rooms_usual_volume():
    """P34, by hand: 1.4 changes of 12 l with 7.5 g/m3 are 0.126 g; the middle of its hour, not of an odd day."""
    day = advice(RoomSite(local_wave)).day
    assert day.box_volume_l == 12
    assert not day.volume_is_assumed
    assert day.driest.opening_g == pytest.approx(1.4 * 0.012 * 7.5, rel=0.01)
    assert day.dampest.opening_g == pytest.approx(1.4 * 0.012 * 10.5, rel=0.01)


def test_a_steady_room_is_told_to_make_no_difference():
    """An honest answer that nobody has to wait."""
    day = advice(RoomSite()).day
    assert not day.worth_waiting
    assert "no difference worth waiting for" in day.advice


def test_too_few_days_give_no_hour():
    """Three days agree by chance."""
    site = RoomSite()
    site.course = lambda _place, time_s: (21.0, 9.0) if time_s > site.now - 3 * DAY_S else None
    answer = advice(site)
    assert answer.day is None
    assert "fewer than 4 whole days" in answer.day_why


def test_a_year_of_days_tells_the_season():
    """P25: July's air brings more than twice the water of January's."""
    season = advice(RoomSite(seasons)).season
    assert season.is_whole_year
    assert season.dampest.month[-2:] in ("07", "08")
    assert season.driest.month[-2:] in ("01", "02")
    assert season.ratio == pytest.approx(11.0 / 5.0, rel=0.03)
    assert len(season.months) == 24


def test_less_than_three_months_tell_no_season():
    """What is not stored is not told."""
    site = RoomSite()
    site.course = lambda _place, time_s: (21.0, 9.0) if time_s > site.now - 50 * DAY_S else None
    answer = advice(site)
    assert answer.season is None
    assert "less than 3 months" in answer.season_why


def test_airing_is_judged_against_the_room_as_it_is_now():
    """P12: the newest reading, where there is one; else its usual air."""
    site = RoomSite()
    answer = advice(site, outside_c=5.0, outside_pct=90.0).airing
    assert answer.room_pct == 48.0
    assert answer.verdict is Airing.DRIER
    site.make_stale("loft")
    stale = advice(site, outside_c=5.0, outside_pct=90.0)
    assert stale.airing.room_pct == pytest.approx(stale.usual.humidity_pct)
    assert "readings are old" in stale.missing[0]


def test_a_drier_room_is_told_box_by_box():
    """P26: by hand for Anvil, 11.6 %RH at 22.1 °C inside, from 9 g/m3 to 40 %RH at 21 °C."""
    answer = advice(RoomSite(), target_pct=40.0).measure
    anvil = next(box for box in answer.boxes if box.key == "anvil")
    inside, then = 0.116 * 19.57, 0.40 * 18.35  # saturated air at 22.1 and 21 °C, g/m3
    assert anvil.leak_share == pytest.approx((then - inside) / (9.0 - inside), rel=0.01)
    assert anvil.leak_then_g_day == pytest.approx(0.5 * anvil.leak_share)
    assert answer.leak_share == pytest.approx(then / 9.0, rel=0.01)


def test_held_for_half_a_day_a_dehumidifier_does_half():
    """P26: back at night."""
    all_day = advice(RoomSite(), target_pct=40.0).measure.leak_share
    half = advice(RoomSite(), target_pct=40.0, target_hours=12.0).measure.leak_share
    assert 1.0 - half == pytest.approx(0.5 * (1.0 - all_day))


def test_a_target_above_the_rooms_own_air_gains_nothing():
    """And makes nothing damper."""
    answer = advice(RoomSite(), target_pct=70.0).measure
    assert answer.leak_share == 1.0
    assert "Nothing to gain" in answer.advice


def test_a_box_that_is_silent_is_not_reckoned_with():
    """Its air of yesterday is no air."""
    boxes = {box.key: box for box in advice(RoomSite(), "cellar", target_pct=40.0).measure.boxes}
    assert boxes["hammer"].leak_share is None
    assert "not known just now" in boxes["hammer"].leak_share_why


@pytest.mark.parametrize(
    ("wish", "field", "said"),
    [
        ({"outside_c": 5.0}, "outside-rh", "is missing"),
        ({"outside_pct": 50.0}, "outside-temperature", "is missing"),
        ({"outside_c": 80.0, "outside_pct": 50.0}, "outside-temperature", "-40 to 50 °C"),
        ({"outside_c": 5.0, "outside_pct": 0.0}, "outside-rh", "1 to 100 %RH"),
        ({"target_pct": 5.0}, "target-rh", "20 to 80 %RH"),
        ({"target_pct": 40.0, "target_hours": 25.0}, "target-hours", "1 to 24 h"),
        ({"target_pct": math.nan}, "target-rh", "allowed"),
    ],
)
def test_what_no_air_can_be_is_refused_with_its_field(wish, field, said):
    """A form marks the field; nothing is guessed."""
    with pytest.raises(FieldError, match=said) as caught:
        advice(RoomSite(), **wish)
    assert caught.value.field == field
