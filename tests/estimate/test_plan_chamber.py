"""The air in the chamber: the room's, heated, and what the spools give off over the vent."""

import numpy as np
import pytest
from support.plan_loads import KILN, ROOM, VENTED, load_spool, plan_of

from monitor.estimate.plan_course import chamber_of, course_of
from monitor.physics.drying import chamber_humidity
from monitor.physics.spool import spool_water_kg

NEVER = np.zeros((1, 13))


def courses(oven, hours=6.0):
    load = [load_spool("pa6", start_pct=2.4)]
    return course_of(load, chamber_of(oven, 78.0, ROOM), NEVER, None, hours)


def test_the_chambers_humidity_is_what_the_water_given_off_makes_over_the_vent():
    """A moist-air balance: against the closed form with the mean release of each step."""
    course = courses(VENTED)
    water = [float(spool_water_kg(course.parameters, state)[0, 0]) for state in course.states]
    for at in range(8, len(course.hours)):
        release = (water[at - 1] - water[at]) / (3600.0 * (course.hours[at] - course.hours[at - 1]))
        wanted = chamber_humidity(23.0, 0.5, 78.0, released_kg_s=release, vent_m3_s=VENTED.vent_m3_h / 3600.0)
        assert course.humidity[at] == pytest.approx(float(wanted), rel=0.05)


def test_less_vent_dries_slower_and_never_below_the_floor():
    """Water that does not leave is not gone."""
    from dataclasses import replace

    ends = [float(courses(replace(VENTED, vent_m3_h=vent)).mean[-1, 0, 0]) for vent in (0.05, 0.2, 1.0, 20.0)]
    assert ends == sorted(ends, reverse=True)
    free = float(courses(KILN).mean[-1, 0, 0])
    assert ends[-1] == pytest.approx(free, rel=0.02)


def test_a_closed_chamber_is_refused():
    """No vent, no drying."""
    from dataclasses import replace

    answer = plan_of(load_spool("pa6"), oven=replace(VENTED, vent_m3_h=0.0))
    assert answer.refused.title == "A closed chamber does not dry"


def test_a_load_of_four_in_a_vented_oven_takes_longer_than_one():
    """P09: they share the air."""
    one = plan_of(load_spool("pa12", start_pct=0.7), oven=VENTED)
    four = plan_of(*(load_spool("pa12", key=f"s{n}", start_pct=0.7) for n in range(4)), oven=VENTED)
    assert four.duration_h.p50 > 1.02 * one.duration_h.p50
