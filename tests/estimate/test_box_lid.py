"""Lid openings, nonsense readings and stepping sensors, told apart."""

from dataclasses import replace

import numpy as np
import pytest
from support.box_small import PLAIN, advanced, course_of, followed, with_fault
from support.year_boxes import draw_gaps, follow_box
from support.year_truth import Opening, YearTruth, draw_plan, draw_site

from monitor.estimate.box_lid import BoxReading, EventKind

DAY_S, HOUR_S = 86_400.0, 3_600.0


def after(belief, humidities, every_s=300.0):
    return [
        BoxReading(
            time_s=belief.seen_s + every_s * (index + 1),
            temperature_c=22.0,
            relative_humidity=humidity,
            room_kg_m3=0.009,
        )
        for index, humidity in enumerate(humidities)
    ]


@pytest.fixture(scope="module")
def calm():
    """A box that nobody opens, after a week."""
    return followed(replace(PLAIN, openings_week=0.0, gap_share=0.0), 7.0)


def test_nearly_every_opening_is_seen_and_hardly_any_is_made_up():
    """Physics 5: an opening shows as a step and its decay; no button is needed."""
    box = replace(PLAIN, openings_week=5.0, gap_share=0.0)
    _, _, events = followed(box, 30.0)
    opened = [event.time_s for event in events if event.kind is EventKind.LID_OPENED]
    true = course_of(box, 30.0).openings_s[0]
    seen = [any(0.0 <= told - at <= 900.0 for told in opened) for at in true]
    made_up = [told for told in opened if not any(0.0 <= told - at <= 900.0 for at in true)]
    assert len(true) > 10
    assert np.mean(seen) >= 0.9
    assert len(made_up) <= 2


def test_an_opening_lets_in_a_change_of_air_and_what_is_taken_meanwhile(calm):
    """Reference desiccants, 3.1: each opening costs V c_out at least; bed and windings take more while it lasts."""
    model, belief, _ = calm
    _, events = advanced(model, belief, after(belief, [0.4, 0.2, 0.1, 0.07, 0.06]))
    let_in = [event.water_kg for event in events if event.kind is EventKind.LID_SHUT]
    assert len(let_in) == 1
    assert 0.8 < let_in[0] / (model.volume_m3 * 0.009) <= 2.0


def test_one_odd_reading_is_an_outlier_and_leaves_no_mark(calm):
    """A glitch on the bus is not a person at the box."""
    model, belief, _ = calm
    steady = belief.humidity
    marked, events = advanced(model, belief, after(belief, [steady, 0.9, steady, steady]))
    assert [event.kind for event in events] == [EventKind.OUTLIER]
    assert marked.lid.phase == "shut"


def test_a_sensor_that_steps_and_stays_is_not_an_opening(calm):
    """Air rises over minutes and comes down again; a sensor does neither."""
    model, belief, _ = calm
    _, events = advanced(model, belief, after(belief, [belief.humidity + 0.04] * 40))
    kinds = [event.kind for event in events]
    assert EventKind.SENSOR_STEPPED in kinds
    assert EventKind.LID_SHUT not in kinds


def test_a_lid_left_open_is_told_once_and_until_it_is_shut():
    """It stays so over days and through silence, until the air parts from the room's."""
    _, belief, events = followed(with_fault("lid", 8.0, openings_week=0.0), 11.0)
    told = [event for event in events if event.kind is EventKind.LID_LEFT_OPEN]
    assert len(told) == 1
    assert abs(told[0].time_s - 8.0 * DAY_S) < 3600.0
    assert belief.lid.is_told


@pytest.mark.parametrize("seed", [1, 3])
def test_what_a_forgotten_lid_let_in_is_told_as_nothing_else_in_the_days_after(seed):
    """A-27, P10: the bed and the windings even it out for days; no spool is wet for that, and no seal leaks."""
    boxes = [replace(box, openings_week=0.0) for box in draw_site(1, seed)]
    open_s = 6.0 * DAY_S + 9.0 * HOUR_S
    plan = replace(
        draw_plan(boxes, 14.0, seed),
        swaps=(),
        openings=(Opening(box=0, from_s=open_s, to_s=open_s + 7.8 * HOUR_S),),
    )
    year = YearTruth(boxes, plan, seed).course(14.0)
    followed = follow_box(year, draw_gaps(len(year.time_s), 1, seed, None), 0, seed)
    told = [insight.diagnosis for insight in followed.insights if insight.at_s > open_s + DAY_S]
    assert len(told) >= 5
    causes = {item.cause for diagnosis in told for item in diagnosis}
    assert not causes & {"wet_contents", "leak", "sensor_offset"}
