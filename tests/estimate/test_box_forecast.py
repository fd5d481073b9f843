"""Days left, grams to fill and the price of openings."""

from dataclasses import replace

import pytest
from support.box_cases import entered, readings
from support.box_small import PLAIN, course_of, followed

from monitor.estimate.box_belief import first_belief
from monitor.estimate.box_filter import advance
from monitor.estimate.box_forecast import (
    LONGEST_DAYS,
    Outlook,
    bag_days,
    forecast,
    is_spent,
    spent_probability,
    usual_outlook,
)
from monitor.library import load_library

GEL = load_library().desiccant("silica_gel_a")


@pytest.fixture(scope="module")
def told():
    model, belief, _ = followed(PLAIN, 20.0)
    return model, belief, forecast(model, belief)


def test_every_range_is_in_order_and_within_what_can_be(told):
    _, _, ahead = told
    for name in ("days_left", "settled_humidity", "loading", "used", "water_kg", "air_changes_per_h"):
        spread = getattr(ahead, name)
        assert 0.0 <= spread.p10 <= spread.p50 <= spread.p90, name
    assert ahead.used.p90 <= 1.0
    assert ahead.days_left.p90 <= LONGEST_DAYS


def test_a_damper_room_a_busier_lid_and_a_stricter_material_never_leave_more_days(told):
    """Physics 5: each brings water faster, or asks for less of it."""
    model, belief, ahead = told
    usual = usual_outlook(belief)
    damp = forecast(model, belief, replace(usual, room_kg_m3=1.4 * usual.room_kg_m3))
    busy = forecast(model, belief, replace(usual, openings_per_s=3.0 * usual.openings_per_s))
    strict = forecast(replace(model, limit_humidity=0.9 * model.limit_humidity), belief)
    for worse in (damp, busy, strict):
        assert worse.days_left.p50 < ahead.days_left.p50


def test_ninety_days_take_more_desiccant_than_thirty(told):
    _, _, ahead = told
    assert 0.0 < ahead.fill_kg_30_days.p50 < ahead.fill_kg_90_days.p50


def test_an_opening_costs_its_share_of_life(told):
    model, belief, ahead = told
    assert ahead.opening_days is not None
    assert 0.0 < ahead.opening_days < 3.0
    assert ahead.opening_kg == pytest.approx(belief.openings_water_kg)
    assert ahead.opening_kg < 2.0 * 0.012 * model.volume_m3


def test_the_same_belief_gives_the_same_forecast(told):
    """Drawn members are always the same: a page must not flicker."""
    model, belief, ahead = told
    assert forecast(model, belief) == ahead


def test_a_bed_over_its_limit_is_spent_and_has_no_days():
    """Spent for this box: the humidity its whole bed settles to has reached the limit."""
    model, belief, _ = followed(PLAIN, 20.0)
    strict = replace(model, limit_humidity=0.02)
    assert spent_probability(strict, belief) > 0.99
    assert forecast(strict, belief).days_left.p50 == 0.0


def test_a_bag_without_a_sensor_lasts_as_long_as_its_film_allows_at_the_worst():
    """50 g of gel from 2 to 7 g per 100 g hold 2.5 g; a film passing 0.25 g a day fills them in ten days."""
    days = bag_days(GEL, 0.050, 0.02, 0.10, 0.25e-3)
    assert days == pytest.approx((0.0699 - 0.02) * 0.050 / 0.25e-3, rel=0.01)
    assert bag_days(GEL, 0.050, 0.02, 0.10, 0.25e-3, 0.1e-3, 1.0) < days
    assert bag_days(GEL, 0.050, 0.02, 0.10, 0.0) == LONGEST_DAYS


def test_an_outlook_is_what_has_been_lately(told):
    _, belief, _ = told
    assert usual_outlook(belief) == Outlook(
        room_kg_m3=belief.usual_room_kg_m3,
        temperature_c=belief.usual_temperature_c,
        openings_per_s=belief.openings_per_s,
    )


def test_spent_is_told_of_a_full_bed_and_not_taken_back_at_once(told):
    """A-14: what is told ends only well below where it began."""
    _, belief, _ = told
    assert not is_spent(replace(belief, spent_z=None), was_spent=True)
    assert not is_spent(replace(belief, spent_z=-3.0), was_spent=True)
    assert not is_spent(replace(belief, spent_z=-1.8), was_spent=False)
    assert is_spent(replace(belief, spent_z=-1.8), was_spent=True)
    assert is_spent(replace(belief, spent_z=0.0), was_spent=False)


def test_spent_is_told_about_the_day_that_it_is():
    """At most two days late, and not in the first three quarters of a life."""
    box = replace(PLAIN, air_changes_h=0.1, stated_dry_kg=0.08, dry_kg=0.08, limit_humidity=0.12)
    course = course_of(box, 45.0)
    life_d = float(course.time_s[course.settled_humidity[:, 0] >= 0.12][0]) / 86_400.0
    model = entered(box)
    belief, told_d = first_belief(model, 0.0), None
    for reading in readings(course, box, 0, 1):
        belief, _ = advance(model, belief, reading)
        if is_spent(belief, was_spent=False):
            told_d = reading.time_s / 86_400.0
            break
    assert told_d is not None
    assert 0.75 * life_d < told_d < life_d + 2.0
