"""Times over a limit: what ends one, what does not, and what is counted."""

import pytest

from monitor.estimate.excursion import Mean, excursions, gaps

HOUR_S = 3_600.0


def means(*values, place="b1", from_s=0.0):
    """An hour each."""
    return [
        Mean(from_s=from_s + number * HOUR_S, seconds=HOUR_S, place=place, humidity_pct=value)
        for number, value in enumerate(values)
    ]


def test_a_time_over_the_limit_ends_with_the_first_mean_that_is_not():
    first, second = excursions(means(10.0, 30.0, 40.0, 10.0, 30.0, 20.0), 20.0)
    assert (first.from_s, first.to_s, first.is_under_way) == (HOUR_S, 3 * HOUR_S, False)
    assert first.area_pct_h == pytest.approx(30.0)
    assert first.highest_pct == 40.0
    assert (second.from_s, second.to_s, second.is_under_way) == (4 * HOUR_S, 5 * HOUR_S, False)


def test_a_gap_ends_nothing_and_counts_for_nothing():
    (found,) = excursions(means(30.0, None, None, 30.0, None), 20.0)
    assert (found.to_s, found.measured_s) == (4 * HOUR_S, 2 * HOUR_S)
    assert found.is_under_way  # nothing was measured since that would say otherwise
    assert [(gap.from_s, gap.to_s) for gap in gaps(means(30.0, None, None, 30.0, None), 1.5 * HOUR_S)] == [
        (HOUR_S, 3 * HOUR_S)
    ]


def test_another_place_begins_another_one():
    moved = [*means(30.0, 30.0), *means(30.0, place="b2", from_s=2 * HOUR_S)]
    before, after = excursions(moved, 20.0)
    assert (before.place, before.is_under_way) == ("b1", False)
    assert (after.place, after.is_under_way) == ("b2", True)


def test_air_that_is_never_over_the_limit_has_none():
    assert excursions(means(20.0, None, 10.0), 20.0) == ()
