"""What a dry spool needs of a person before it is wet again (P20, D-14)."""

import dataclasses

import pytest
from support.pages import NOW_S, FakeQueries, spool

from monitor.alarms.needs import needs
from monitor.service.air import rfc3339

BOX = FakeQueries().status().boxes[0]


def told(*hours_left):
    spools = [
        dataclasses.replace(spool(number, "anvil", "petg"), use_before=rfc3339(NOW_S + 3600.0 * hours))
        for number, hours in enumerate(hours_left)
    ]
    return needs((), (), (), spools, NOW_S, (), {})


@pytest.mark.parametrize(
    ("hours", "words"), [(0.4, "within the hour"), (1.2, "in about 1 hour "), (5.0, "in about 5 hours")]
)
def test_p20_a_spool_that_will_be_over_its_limit_within_hours_is_told(hours, words):
    """P20: alarm before the limit, with the act."""
    (need,) = told(hours)
    assert words in need.what
    assert "dry box" in need.act
    assert need.level == "soon"


def test_a_spool_with_days_left_needs_nobody():
    assert told(30.0) == ()


def test_the_first_to_be_over_is_told_first():
    assert [need.what.split()[1] for need in told(9.0, 2.0)] == ["1", "0"]


def test_a22_many_at_once_are_one_line():
    """A-22: a common cause is one message."""
    (need,) = told(3.0, 4.0, 5.0, 6.0, 7.0)
    assert need.what.startswith("5 spools")
    assert "in about 3 hours" in need.what


def test_what_lies_in_a_measured_box_is_the_boxs_need():
    """Nobody can put into a dry box what lies in one; the humid box is told of instead."""
    inside = dataclasses.replace(spool(1, BOX.key, "petg"), use_before=rfc3339(NOW_S + 3600.0))
    told_of = needs((BOX,), (), (), [inside], NOW_S, (), {})
    assert [need for need in told_of if inside.name in need.what] == []
