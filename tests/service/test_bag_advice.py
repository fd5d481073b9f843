"""Advice on a bag: which air and which figures are taken, by when, and what is refused with its field."""

import datetime as dt
from dataclasses import replace

import pytest
from support.room_site import DAY_S, RoomSite

from monitor.errors import FieldError
from monitor.library import load_library
from monitor.model.bag import BagAir, BagWish, CardReading, ChargeState, Closure, Contents, Leaked
from monitor.service.bag_advice import advise_on_bag

WISH = BagWish(
    film="ldpe_100",
    width_cm=30.0,
    length_cm=40.0,
    desiccant="silica_gel_a",
    dry_g=100.0,
    material="petg",
    air=BagAir.STEADY,
    humidity_pct=50.0,
    temperature_c=23.0,
)


def ask(site=None, **more):
    return advise_on_bag(site or RoomSite(), replace(WISH, **more))


def test_the_air_is_that_which_was_asked_for():
    """Typed, a room's newest reading, or the mean of its last 30 days."""
    site = RoomSite(lambda _place, time_s: (21.0, 9.0) if time_s > site.now - 10 * DAY_S else (21.0, 6.0))
    assert ask(site).room_humidity_pct == pytest.approx(50.0)
    assert ask(site, air=BagAir.NOW, room="loft").room_humidity_pct == pytest.approx(48.0)
    month = ask(site, air=BagAir.MONTH, room="loft")
    assert month.temperature_c == pytest.approx(21.0)
    assert month.room_humidity_pct == pytest.approx(100.0 * 7.0 / 18.35, rel=0.01)


def test_dates_count_from_the_day_the_bag_was_shut():
    """P33: check by the worst case, seal anew by the usual one, by the site's calendar."""
    site = RoomSite()
    today = dt.date(2026, 11, 25)
    answer = ask(site)
    assert dt.date.fromisoformat(answer.check_by) == today + dt.timedelta(days=int(answer.days_worst))
    assert dt.date.fromisoformat(answer.renew_by) == today + dt.timedelta(days=int(answer.days_usual))
    earlier = ask(site, sealed_days=5.0)
    assert dt.date.fromisoformat(earlier.check_by) == dt.date.fromisoformat(answer.check_by) - dt.timedelta(
        days=5
    )


def test_a_bag_of_years_has_no_date():
    """A date beyond what is reckoned with would be made up."""
    answer = ask(film="foil", dry_g=500.0)
    assert answer.renew_by is None
    assert "two years or more" in answer.renew_by_why


def test_what_takes_up_next_to_nothing_needs_no_desiccant():
    """Polypropylene: any bag does."""
    answer = ask(material="pp")
    assert not answer.needs_desiccant
    assert answer.days_worst is None
    assert answer.grams_6_months is None
    assert "without desiccant" in answer.days_worst_why


def test_a_kind_that_cannot_hold_the_limit_is_said_to():
    """PA6 asks for 4 %RH: gel may start above that, and no amount of it helps; a sieve can."""
    assert ask(material="pa6").grams_12_months is None
    assert "no sensible amount of it" in ask(material="pa6").grams_12_months_why
    sieve = ask(material="pa6", desiccant="mol_sieve_4a")
    assert sieve.grams_12_months > sieve.grams_6_months > 0.0


def test_the_grams_for_a_year_are_not_quite_twice_those_for_half():
    """Spool water comes once; the film lets in each day alike."""
    dry, wet = ask(), ask(contents=Contents.ROOM)
    assert dry.grams_12_months == pytest.approx(dry.grams_6_months * 365.0 / 183.0)
    assert wet.grams_12_months < 1.99 * wet.grams_6_months
    assert wet.contents_g > 1.0


def test_what_the_charge_takes_up_is_told_before_what_the_filament_takes_of_it():
    """'0 g' of 100 g of sieve would not be understood."""
    wet = ask(material="pa6", desiccant="mol_sieve_4a", contents=Contents.ROOM, film="metallised")
    assert wet.days_usual == 0.0
    dry = ask(material="pa6", desiccant="mol_sieve_4a", film="metallised")
    assert wet.capacity_g_usual == pytest.approx(dry.capacity_g_usual)
    assert wet.contents_g > wet.capacity_g_usual > 10.0
    assert not any("take a barrier bag" in line for line in wet.cautions)


def test_a_charge_that_holds_water_already_lasts_less():
    """P15: a percentage from a weighing."""
    assert ask(state=ChargeState.LOADED, loading_pct=4.0).days_usual < ask().days_usual


def test_a_zip_lets_in_more_than_a_weld():
    """By the air that is left in the bag."""
    zipped = ask(closure=Closure.ZIP, air_l=2.0)
    assert zipped.film_g_day_worst > ask().film_g_day_worst
    assert any("zip" in line for line in zipped.cautions)


def test_a_sites_own_limit_counts():
    """A shop that prints for looks keeps its bags longer."""
    library = load_library()
    lax = replace(library.materials["petg"], limit_content=0.001)
    site = RoomSite()
    site.library = lambda: replace(library, materials={**library.materials, "petg": lax})
    assert ask(site).days_worst > ask().days_worst


@pytest.mark.parametrize(
    ("desiccant", "said"),
    [
        ("silica_gel_blue_cobalt", "cobalt chloride"),
        ("calcium_chloride", "does not belong in a bag"),
        ("calcium_oxide", "does not belong in a bag"),
        ("mol_sieve_4a", "weigh the packet"),
        ("montmorillonite_clay", "order of magnitude"),
    ],
)
def test_each_kind_brings_its_caution_first(desiccant, said):
    """P15: what is dangerous or cannot be read off a card is said."""
    assert any(said in line for line in ask(desiccant=desiccant).cautions[:4])


@pytest.mark.parametrize(
    ("days", "turned", "unturned", "leaked", "said"),
    [
        (30.0, 30.0, 40.0, Leaked.LIKELY, "probably leaked"),
        (60.0, None, 5.0, Leaked.UNLIKELY, "No sign of a leak"),
        (1.0, None, 10.0, Leaked.CANNOT_TELL, "cannot tell"),
    ],
)
def test_a_card_is_told_with_the_reason(days, turned, unturned, leaked, said):
    """P33: likely, unlikely or cannot tell; never a plain yes."""
    card = ask(film="foil", sealed_days=days, card=CardReading(turned_pct=turned, unturned_pct=unturned)).card
    assert card.leaked is leaked
    assert said in card.leaked_why
    assert card.low_pct < card.high_pct


@pytest.mark.parametrize(
    ("more", "field", "said"),
    [
        ({"film": "paper"}, "film", "allowed are ldpe_50"),
        ({"width_cm": 0.0}, "width-cm", "5 to 150 cm"),
        ({"dry_g": -1.0}, "dry-g", "1 to 5000 g"),
        ({"dry_g": float("nan")}, "dry-g", "1 to 5000 g"),
        ({"air_l": 50.0}, "air-l", "at most 7.8 l"),
        ({"openings_week": 1e9}, "openings", "0 to 100"),
        ({"humidity_pct": 0.0}, "rh", "1 to 100"),
        ({"temperature_c": 90.0}, "temperature", "0 to 40"),
        ({"humidity_pct": None}, "rh", "is missing"),
        ({"desiccant": "rice"}, "desiccant", "not in the catalogue"),
        ({"material": "wood"}, "material", "not in the catalogue"),
        ({"state": ChargeState.LOADED}, "loading-pct", "is missing"),
        ({"state": ChargeState.LOADED, "loading_pct": 90.0}, "loading-pct", "holds at most"),
        ({"air": BagAir.MONTH, "room": "attic"}, "air", "allowed are: cellar, loft"),
        ({"card": CardReading(turned_pct=30.0, unturned_pct=20.0)}, "turned", "spoilt or was read wrongly"),
        ({"first_card": CardReading(turned_pct=0.0, unturned_pct=None)}, "first-turned", "1 to 95"),
    ],
)
def test_what_no_bag_can_be_is_refused_with_its_field(more, field, said):
    """A form marks the field; nothing is guessed."""
    with pytest.raises(FieldError, match=said) as caught:
        ask(**more)
    assert caught.value.field == field


def test_air_that_is_not_known_is_refused():
    """A bag for months is not reckoned from a reading of last week."""
    site = RoomSite()
    site.make_stale("loft")
    with pytest.raises(FieldError, match="not known just now"):
        ask(site, air=BagAir.NOW, room="loft")
    site.unplace("loft")
    with pytest.raises(FieldError, match="measured for 0 h of 30 days"):
        ask(site, air=BagAir.MONTH, room="loft")
