"""A-24: a fixed sample of the simulated year; its goals are those of A-19 to A-23 for a site of this size."""

import pytest
from support.year_count import pushes
from support.year_site import alarms_of, simulate
from support.year_truth import DAY_S, HOUR_S, Opening

BOXES, DAYS, SEED = 3, 12.0, 31
# A lid forgotten for half a night, and one left open for half an hour.
MORE = (
    Opening(box=0, from_s=4.4 * DAY_S, to_s=4.4 * DAY_S + 7.0 * HOUR_S),
    Opening(box=2, from_s=9.3 * DAY_S, to_s=9.3 * DAY_S + 0.5 * HOUR_S),
)


@pytest.fixture(scope="module")
def year():
    seen = simulate(BOXES, DAYS, SEED, tables=1, tables_only=True, more=MORE)
    return seen, *alarms_of(seen)


def test_the_sample_has_something_to_tell_of(year):
    """Else the goals were met by silence."""
    seen, told, load, judged = year
    assert load.activations >= 5
    assert {"broker_away", "clock_wrong", "oven_trip"} <= {message.type for message in pushes(told)}
    assert seen.year.plan.openings
    assert float(seen.year.time_s[-1]) == DAYS * DAY_S


def test_a20_a21_pushes_are_few(year):
    _, _, load, _ = year
    assert load.a_day <= 1.0
    assert load.most_in_1_h <= 3
    assert load.most_of_a_storm <= 5
    assert load.high_share <= 0.05
    assert load.safety == 1  # the trip, told at once


def test_a19_nothing_chatters_and_nothing_stands(year):
    _, _, load, _ = year
    assert load.chattering == 0
    assert load.slow_chattering == 0
    assert load.fleeting == 0
    assert load.most_stale < 5
    assert load.flood_share < 0.01


def test_safety_is_never_hidden(year):
    _, _, load, judged = year
    assert load.hidden_safety == 0
    assert judged["oven_trip"].events == 1
    assert judged["oven_trip"].missed == 0


@pytest.mark.parametrize("kind", ["broker_away", "clock_wrong", "reading_stale", "lid_open"])
def test_nothing_that_had_to_be_told_is_missed(year, kind):
    judged = year[3][kind]
    assert judged.events >= 1
    assert judged.missed == 0


def test_what_is_told_is_so(year):
    """No false alarm of any kind; the lid is told, its humidity when it stood open for too long to be hidden (A-27)."""
    judged = year[3]
    assert {kind: item.false for kind, item in judged.items() if item.false} == {}
    assert judged["lid_open"].raised >= 1
    assert judged["humidity_high"].raised == 1
