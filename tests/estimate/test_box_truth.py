"""The boxes that the estimator is tried on: their own water balance, and what is known in closed form."""

from dataclasses import replace

import numpy as np
from support.box_cases import draw_boxes, readings
from support.box_small import PLAIN, course_of
from support.box_truth import DAY_S, Truth


def test_the_truth_neither_makes_nor_loses_water():
    """A truth that leaked water by itself would teach the estimator a wrong leak."""
    course = Truth(draw_boxes(4, 3), 3).run(2.0)
    assert course.water_error_kg < 1e-12


def test_the_same_seed_gives_the_same_boxes_and_another_gives_others():
    """A benchmark that cannot be repeated shows nothing."""
    once, again = (Truth(draw_boxes(2, 5), 5).run(0.5, 300.0).humidity for _ in range(2))
    assert np.array_equal(once, again)
    assert not np.array_equal(once, Truth(draw_boxes(2, 6), 6).run(0.5, 300.0).humidity)


def test_a_box_that_is_never_opened_loads_its_bed_by_what_leaks_in():
    """Reference desiccants, 3.1: dq/dt = G (c_out - c) / m once the spool is even with the air."""
    box = replace(
        PLAIN, openings_week=0.0, air_changes_h=0.1, spools=(replace(PLAIN.spools[0], net_kg=0.001),)
    )
    course = course_of(box, 20.0)
    late = course.time_s > 5.0 * DAY_S
    settled = course.settled_humidity[late, 0]
    # The gel's catalogue: 0.0395 at 5 %RH, 0.0699 at 10 %RH.
    gained_kg = box.dry_kg * (settled[-1] - settled[0]) * (0.0699 - 0.0395) / 0.05
    vapour = course.room_humidity * 2.17e-3 * 611.2 * np.exp(17.62 * course.room_c / (243.12 + course.room_c))
    outside_kg_m3 = (vapour / (course.room_c + 273.15))[late, 0]
    leaked_kg = 0.1 * box.volume_m3 * 24.0 * 15.0 * (outside_kg_m3.mean() * 0.85)
    assert abs(gained_kg / leaked_kg - 1.0) < 0.15


def test_readings_have_gaps_and_the_offset_of_their_sensor():
    """What the estimator sees is never clean."""
    box = replace(PLAIN, sensor_offset=0.02)
    course = course_of(box, 20.0)
    heard = readings(course, box, 0, 1)
    assert 0.5 < len(heard) / len(course.time_s) < 0.99
    read = np.median([reading.relative_humidity for reading in heard])
    assert abs(read - np.median(course.humidity) - 0.02) < 0.002
