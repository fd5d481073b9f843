"""A bag without a sensor: days and grams by hand, by what must hold always, and what a card can say."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.estimate.bag import (
    LEAST_USEFUL,
    Bag,
    Case,
    blown_up_m3,
    capacity_kg,
    card_range,
    contents_water_kg,
    film_m3_day,
    has_leaked,
    humidity_after,
    loading_after,
    needed_kg,
    open_seam,
    started_as_read,
    usual_case,
    usual_days,
    worst_case,
    worst_days,
)
from monitor.estimate.box_forecast import LONGEST_DAYS
from monitor.library import limit_relative_humidity, load_library
from monitor.library.enclosures import load_enclosures
from monitor.model.bag import Leaked
from monitor.physics.isotherm import desiccant_loading
from monitor.physics.psychrometrics import vapour_kg_m3

LIBRARY, ENCLOSURES = load_library(), load_enclosures()
GEL = LIBRARY.desiccant("silica_gel_a")
KINDS = (
    "silica_gel_a",
    "silica_gel_orange",
    "mol_sieve_4a",
    "montmorillonite_clay",
    "activated_alumina",
    "calcium_chloride",
)


def bag(film="ldpe_50", kind="silica_gel_a", **members):
    usual = {
        "area_m2": 0.24,  # 30 by 40 cm, both sides
        "zip_class": None,
        "air_m3": 0.0005,
        "full_m3": blown_up_m3(0.30, 0.40),
        "dry_kg": 0.1,
        "loading": 0.0,
        "limit_humidity": 0.10,
        "contents_kg": 0.0,
        "openings_per_day": 0.0,
        "temperature_c": 23.0,
        "room_humidity": 0.5,
    }
    return Bag(film=ENCLOSURES.films[film], kind=LIBRARY.desiccant(kind), **(usual | members))


bags = st.builds(
    bag,
    film=st.sampled_from(sorted(ENCLOSURES.films)),
    kind=st.sampled_from(KINDS),
    dry_kg=st.floats(0.005, 2.0),
    loading=st.one_of(st.none(), st.floats(0.0, 0.1)),
    limit_humidity=st.floats(0.02, 0.4),
    room_humidity=st.floats(0.2, 0.9),
    temperature_c=st.floats(5.0, 35.0),
    openings_per_day=st.floats(0.0, 3.0),
    contents_kg=st.floats(0.0, 0.005),
    zip_class=st.sampled_from([None, ENCLOSURES.boxes["zip_bag"]]),
)


def test_a_bag_worked_out_by_hand():
    """1.9 g/m2/day through 0.24 m2 at 23 °C and 50 %RH is 0.456 g a day; 100 g of gel hold 6.99 g at 10 %RH: 15.3 days."""
    film = ENCLOSURES.films["ldpe_50"]
    case = Case(
        kind=GEL,
        dry_kg=0.1,
        capacity=1.0,
        loading=0.0,
        film_m3_day=film_m3_day(0.0019, film, 0.24, 23.0),
        opening_m3=0.0,
        openings_per_day=0.0,
        temperature_c=23.0,
        room_kg_m3=vapour_kg_m3(23.0, 0.5),
    )
    assert case.film_kg_day == pytest.approx(0.456e-3, rel=1e-3)
    assert capacity_kg(case, 0.10) == pytest.approx(6.99e-3, rel=2e-3)
    assert worst_days(case, 0.10) == pytest.approx(15.3, abs=0.1)
    assert 15.3 < usual_days(case, 0.10) < 18.5  # it draws a fifth less when it is at 10 %RH
    assert needed_kg(case, 0.10, 365.0, 0.0) == pytest.approx(365.0 * 0.456e-3 / 0.0699, rel=3e-3)


def test_an_opening_worked_out_by_hand():
    """7.8 l of air with 10.28 g/m3 bring 0.080 g; one a day on top of 0.456 g leaves 13.0 of 15.3 days."""
    case = replace(worst_case(bag()), capacity=1.0, loading=0.0, room_kg_m3=vapour_kg_m3(23.0, 0.5))
    opened = replace(case, openings_per_day=1.0)
    assert case.opening_kg == pytest.approx(0.080e-3, rel=0.02)
    assert worst_days(opened, 0.10) == pytest.approx(6.99 / (0.456 + 0.080), rel=0.02)


def test_a_flat_bag_blown_up_holds_what_the_paper_bag_problem_says():
    """Robin 2004: a square of side 1 holds 0.3183 - 0.142 * 0.9 = 0.190; it lies the same either way round."""
    assert blown_up_m3(1.0, 1.0) == pytest.approx(1.0 / math.pi - 0.142 * 0.9)
    assert blown_up_m3(0.2, 0.5) == blown_up_m3(0.5, 0.2)


def test_a_film_lets_more_through_where_it_is_warm():
    """At 38 °C and 90 %RH it is the figure that was published."""
    for film in ENCLOSURES.films.values():
        hot = film_m3_day(film.transmission_kg_m2_day.high, film, 1.0, 38.0) * vapour_kg_m3(38.0, 0.9)
        assert hot == pytest.approx(film.published_kg_m2_day.high, rel=0.06), film.key


@settings(max_examples=60, deadline=None)
@given(case=bags, more=st.floats(1.01, 4.0))
def test_more_desiccant_lasts_longer_and_a_damper_room_shorter(case, more):
    """Whatever the film, the kind, the start."""
    more_gel = replace(case, dry_kg=min(case.dry_kg * more, 10.0))
    drier = replace(case, room_humidity=case.room_humidity / more)
    for days, make in ((worst_days, worst_case), (usual_days, usual_case)):
        here = days(make(case), case.limit_humidity)
        assert days(make(more_gel), case.limit_humidity) >= here - 1e-6
        assert days(make(drier), case.limit_humidity) >= here - 1e-6


@pytest.mark.parametrize("temperature_c", [5.0, 12.0, 23.0, 35.0])
@pytest.mark.parametrize("limit", [0.02, 0.031, 0.06, 0.1])
def test_a_salt_whose_humidity_steps_lasts_longer_in_a_drier_room(temperature_c, limit):
    """The sum of the days does not depend on where its intervals fall: found at 5 °C and 3.1 %RH."""
    shut = usual_case(bag(kind="calcium_chloride", temperature_c=temperature_c, limit_humidity=limit))
    days = [
        usual_days(replace(shut, room_kg_m3=shut.room_kg_m3 * share), limit)
        for share in np.linspace(1.0, 0.4, 61)
    ]
    assert all(after >= before - 1e-6 for before, after in itertools.pairwise(days))


@settings(max_examples=60, deadline=None)
@given(case=bags)
def test_the_worst_case_never_lasts_longer_than_the_usual_one(case):
    """Or the words on the page would be the wrong way round."""
    assert (
        worst_days(worst_case(case), case.limit_humidity)
        <= usual_days(usual_case(case), case.limit_humidity) + 1e-6
    )


@settings(max_examples=60, deadline=None)
@given(case=bags, times=st.floats(1.1, 5.0))
def test_a_leakier_film_or_more_openings_shorten_it(case, times):
    """Monotone in everything that lets water in."""
    usual = usual_case(case)
    leaky = replace(usual, film_m3_day=usual.film_m3_day * times)
    opened = replace(usual, openings_per_day=usual.openings_per_day + times)
    here = usual_days(usual, case.limit_humidity)
    assert usual_days(leaky, case.limit_humidity) <= here + 1e-9
    assert usual_days(opened, case.limit_humidity) <= here + 1e-9


@pytest.mark.parametrize("kind", ["silica_gel_a", "montmorillonite_clay", "activated_alumina"])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_what_the_bed_gained_is_what_came_in(kind, share):
    """Mass balance: the inflow that each day's humidity allows, added up by another rule, is the loading at the end."""
    case = replace(usual_case(bag(kind=kind, openings_per_day=0.5)), loading=0.02)
    saturated = vapour_kg_m3(case.temperature_c, 1.0)
    flow = case.film_m3_day + case.opening_m3 * case.openings_per_day
    days = share * usual_days(case, 0.45)
    moments = np.linspace(0.0, days, 41)
    inside = np.array([humidity_after(case, moment) for moment in moments]) * saturated
    came_kg = float(np.trapezoid(flow * (case.room_kg_m3 - inside), moments))
    assert case.dry_kg * (loading_after(case, days) - 0.02) == pytest.approx(came_kg, rel=0.003)


@settings(max_examples=40, deadline=None)
@given(case=bags, days=st.floats(30.0, 400.0))
def test_the_grams_that_are_asked_for_last_that_long(case, days):
    """The same sum the other way round."""
    worst = worst_case(case)
    needed = needed_kg(worst, case.limit_humidity, days, case.contents_kg)
    start = worst.loading - case.contents_kg / case.dry_kg
    if needed is None:
        assert capacity_kg(replace(worst, loading=start), case.limit_humidity) <= LEAST_USEFUL * case.dry_kg
        return
    refilled = replace(worst, dry_kg=needed, loading=start + case.contents_kg / needed)
    assert worst_days(refilled, case.limit_humidity) == pytest.approx(days, rel=1e-6)


def test_a_bag_of_foil_outlasts_what_is_reckoned_with():
    """Two years or more is all that is ever said."""
    assert worst_days(worst_case(bag("foil", dry_kg=0.5)), 0.10) == LONGEST_DAYS


def test_a_bag_in_a_room_drier_than_its_limit_is_never_spent():
    """It comes to rest with the room before that."""
    assert usual_days(usual_case(bag(room_humidity=0.08)), 0.10) == LONGEST_DAYS


def test_a_wet_spool_can_spend_the_charge_at_once():
    """1 kg of PA6 from 50 %RH brings some 25 g: more than 100 g of gel take up at 10 %RH."""
    nylon = LIBRARY.material("pa6")
    water = contents_water_kg(nylon, 1.0, 0.5, limit_relative_humidity(nylon))
    assert water == pytest.approx(nylon.content_50 - nylon.limit_content, rel=0.05)
    assert worst_days(worst_case(bag(contents_kg=water)), 0.10) == 0.0
    assert usual_days(usual_case(bag(contents_kg=water)), 0.10) == 0.0
    assert contents_water_kg(nylon, 1.0, 0.02, limit_relative_humidity(nylon)) == 0.0


def test_the_humidity_in_a_bag_rises_from_its_start_to_its_rooms():
    """And never beyond."""
    case = usual_case(bag())
    humidities = [humidity_after(case, days) for days in (0.0, 1.0, 10.0, 100.0, 1000.0, 1e5)]
    assert humidities == sorted(humidities)
    assert humidities[0] < 0.001
    assert 0.45 < humidities[-1] <= 0.5


@pytest.mark.parametrize(
    ("turned", "unturned", "low", "high"),
    [(None, 0.05, 0.0, 0.07), (0.10, 0.15, 0.08, 0.17), (0.20, 0.30, 0.15, 0.35), (0.60, None, 0.55, 1.0)],
)
def test_a_card_is_a_range_not_a_figure(turned, unturned, low, high):
    """Spots turn gradually: 2 %RH up to the spot of 15 %, 5 %RH above."""
    card = card_range(turned, unturned)
    assert (card.low, card.high) == (pytest.approx(low), pytest.approx(high))


def leaked_after(days, turned, unturned, **members):
    made = bag("foil", **members)
    return has_leaked(
        card_range(turned, unturned),
        humidity_after(worst_case(made), days),
        humidity_after(open_seam(made), days),
    )


def test_a_card_tells_a_leak_only_when_the_film_cannot_have_brought_it():
    """P33: foil lets next to nothing through, so 30 %RH after three weeks is a leak; 5 %RH is not, if a seam would show."""
    assert leaked_after(21.0, 0.20, 0.30) is Leaked.LIKELY
    assert leaked_after(60.0, None, 0.10) is Leaked.UNLIKELY
    assert leaked_after(2.0, None, 0.10) is Leaked.CANNOT_TELL  # too early: a seam would not show yet


def test_a_wet_spool_is_not_taken_for_a_leak():
    """Its water explains the card as well."""
    assert leaked_after(21.0, 0.15, 0.20) is Leaked.LIKELY
    assert leaked_after(21.0, 0.15, 0.20, contents_kg=0.015) is Leaked.CANNOT_TELL


@settings(max_examples=60, deadline=None)
@given(
    case=bags,
    days=st.floats(1.0, 300.0),
    card=st.sampled_from([(None, 0.05), (0.05, 0.1), (0.1, 0.2), (0.4, 0.5), (0.6, None)]),
)
def test_no_card_that_a_tight_bag_can_show_is_called_a_leak(case, days, card):
    """The worst tight bag is never accused, and one with an open seam is never acquitted."""
    shown = card_range(*card)
    verdict = has_leaked(shown, humidity_after(worst_case(case), days), humidity_after(open_seam(case), days))
    if shown.low <= humidity_after(worst_case(case), days):
        assert verdict is not Leaked.LIKELY
    if shown.high >= humidity_after(open_seam(case), days):
        assert verdict is not Leaked.UNLIKELY


def test_a_card_read_when_the_bag_was_shut_settles_its_start():
    """A charge said to be fresh that shows 15 %RH was not."""
    fresh = worst_case(bag(loading=None))
    read = started_as_read(fresh, card_range(0.15, 0.20), 0.0)
    assert read.loading == pytest.approx(fresh.capacity * float(desiccant_loading(GEL, 0.13, 23.0)))
    assert started_as_read(fresh, card_range(None, 0.05), 0.0).loading <= fresh.loading
    wet = started_as_read(worst_case(bag(loading=None, contents_kg=0.003)), card_range(None, 0.05), 0.003)
    assert wet.loading >= 0.03  # what the spool gives off is still to come
