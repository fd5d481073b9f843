"""Lid openings, nonsense readings and stepping sensors, told apart."""

from dataclasses import replace

import numpy as np
import pytest
from support.box_small import PLAIN, advanced, course_of, followed, with_fault
from support.box_truth import TrueSpool
from support.year_boxes import Following, draw_gaps
from support.year_truth import BLOCK_S, Opening, YearTruth, draw_plan, draw_site

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


# A deep bed of coarse beads, nearly used up: it leaves what a wet spool gives off in the air for a day.
SLOW_BED = {
    "stated_dry_kg": 0.05,
    "dry_kg": 0.05,
    "start_humidity": 0.1,
    "bead_m": 0.005,
    "bed_depth_m": 0.03,
}


@pytest.mark.parametrize("room_dew_c", [5.0, 13.0])
def test_a_wet_spool_that_keeps_the_air_like_the_rooms_is_not_an_open_lid(room_dew_c):
    """P10: its air sinks from the first hour or is wetter than the room's; an open lid does neither."""
    box = with_fault("wet", 8.0, openings_week=0.0, gap_share=0.0, room_dew_c=room_dew_c, **SLOW_BED)
    _, belief, events = followed(box, 11.0)
    kinds = {event.kind for event in events if event.time_s > 7.9 * DAY_S}
    assert EventKind.CONTENTS_CHANGED in kinds
    assert EventKind.LID_LEFT_OPEN not in kinds
    assert belief.lid.phase == "shut"


def test_air_that_sinks_for_hours_lets_in_no_water_of_a_lid_that_was_told_as_open():
    """Where a wet spool was taken for a lid at first, its slow end takes that back, with the time that it began."""
    _, belief, events = followed(with_fault("wet", 8.0, openings_week=0.0, gap_share=0.0, **SLOW_BED), 11.0)
    told = [event for event in events if event.kind is EventKind.LID_LEFT_OPEN]
    assert len(told) == 1
    after = events[events.index(told[0]) + 1 :]
    assert [event.kind for event in after][0] is EventKind.CONTENTS_CHANGED
    assert after[0].time_s == told[0].time_s
    assert not [event for event in after if event.kind is EventKind.LID_SHUT]
    assert belief.lid.phase == "shut"


@pytest.mark.parametrize(("then", "is_open"), [(0.42, True), (0.12, False)])
def test_a_lid_that_was_open_before_an_hour_of_silence_is_so_after_it_where_the_air_says_so(
    calm, then, is_open
):
    """A-36: a sensor that is silent while somebody forgets a lid must not make one forget the lid."""
    model, belief, _ = calm
    opened, _ = advanced(model, belief, after(belief, [0.4] * 6))
    assert opened.lid.phase == "open"
    silent = replace(opened, seen_s=opened.seen_s + 3600.0)  # so that the readings come an hour later
    later = after(silent, [then] * 24)
    found, events = advanced(model, opened, later)
    assert (found.lid.phase == "open") is is_open
    assert (EventKind.LID_LEFT_OPEN in {event.kind for event in events}) is is_open


@pytest.mark.parametrize("is_lid_long_ago", [False, True])
def test_nobody_is_asked_about_the_desiccant_after_a_lid_that_was_forgotten(is_lid_long_ago):
    """A-27: what it let in is known badly; far less of it than was thought is not a change of the charge."""
    model, belief, _ = followed(replace(PLAIN, start_humidity=0.15, openings_week=0.0, gap_share=0.0), 3.0)
    low = [0.3 * belief.humidity] * 100
    shut, _ = advanced(model, belief, after(belief, [0.45] * 96 + [0.25, 0.16, 0.14]))
    assert shut.lid.phase == "shut"
    sure = replace(shut, covariance=tuple(1e-4 * value for value in shut.covariance))
    if is_lid_long_ago:
        sure = replace(sure, settle_until_s=sure.seen_s)
    _, events = advanced(model, sure, after(sure, low))
    assert (EventKind.DESICCANT_CHANGED in {event.kind for event in events}) is is_lid_long_ago


@pytest.mark.parametrize(("seed", "box"), [(3, 0), (1, 1), (2, 1)])
def test_what_a_forgotten_lid_let_in_is_told_as_nothing_else_in_the_days_after(seed, box):
    """A-27, P10: the bed and the windings even it out for days; no spool is wet for that, and no seal leaks."""
    boxes = [replace(drawn, openings_week=0.0) for drawn in draw_site(2, seed)]
    open_s = (6.0 + 0.3 * box) * DAY_S + 9.0 * HOUR_S
    plan = replace(
        draw_plan(boxes, 14.0, seed),
        swaps=(),
        openings=(Opening(box=box, from_s=open_s, to_s=open_s + 7.8 * HOUR_S),),
    )
    gaps = draw_gaps(round(14.0 * DAY_S / BLOCK_S), 2, seed, None)
    following = Following(boxes[box], plan, gaps.heard(box), box, seed)

    def watch(stretch):
        following.take(stretch)
        return frozenset()  # nobody is told

    YearTruth(boxes, plan, seed).course(14.0, watch)
    told = [i.diagnosis for i in following.followed().insights if i.at_s > open_s + DAY_S]
    assert len(told) >= 5
    causes = {item.cause for diagnosis in told for item in diagnosis}
    assert not causes & {"wet_contents", "leak", "sensor_offset"}


LARGE_BED = {
    "volume_m3": 0.0127,
    "air_changes_h": 0.0075,
    "stated_dry_kg": 0.54,
    "dry_kg": 0.54,
    "bed_depth_m": 0.006,
    "bead_m": 0.0034,
    "start_humidity": 0.02,
    "openings_week": 0.0,
    "spools": (TrueSpool(material="pla", net_kg=0.9, start_humidity=0.06, stated="dried"),),
}


@pytest.mark.parametrize("open_min", [24.0, 36.0])
def test_half_an_hour_open_again_and_again_is_told_as_what_it_lets_in_and_no_leak(open_min):
    """P10: a large bed beside an open lid takes more in half an hour than leaks into a tight box in a week."""
    days, seed = 14.0, 2028
    box = replace(PLAIN, **LARGE_BED)
    begun_s = [(day + 0.6) * DAY_S for day in range(2, 13)]
    openings = tuple(Opening(box=0, from_s=at_s, to_s=at_s + 60.0 * open_min) for at_s in begun_s)
    plan = replace(draw_plan([box], days, seed), swaps=(), leaks=(), openings=openings)
    following = Following(box, plan, np.ones(round(days * DAY_S / BLOCK_S), bool), 0, seed)

    def watch(stretch):
        following.take(stretch)
        return frozenset()  # nobody is told

    year = YearTruth([box], plan, seed).course(days, watch)
    insights = following.followed().insights
    assert len(insights) > 10
    assert year.settled[-1, 0] > 2.0 * year.settled[0, 0]
    for insight in insights[4:]:
        true = year.settled[np.searchsorted(year.settled_time_s, insight.at_s) - 1, 0]
        assert abs(insight.settled - true) < 0.004
        assert not {item.cause for item in insight.diagnosis} & {"leak", "wet_contents"}
