"""Causes that hide their consequences, by the very table: whoever is told of the one is not told of the other."""

from dataclasses import replace

import pytest
from support.alarms import START_S

from monitor.alarms.events import Moment, Tell
from monitor.alarms.round import Looks, Scene, look
from monitor.library.alarm_table import load_alarm_table
from monitor.model.condition import Condition

TABLE = load_alarm_table()
STEP_S = 60.0


def told(conditions_at, minutes, rows=TABLE.rows):
    """(minute, type) of everything that people are told of; a function of the minute says what holds."""
    states, looks, found = {}, Looks(), []
    for minute in range(minutes):
        scene = Scene(
            rows=rows,
            rules=TABLE.rules,
            conditions=conditions_at(minute),
            modes=frozenset(),
            samples={"box-1": str(minute)},
            places=frozenset({"box-1"}),
            mono_s=STEP_S * minute,
            moment=Moment(wall_s=START_S + STEP_S * minute, elapsed_s=STEP_S),
        )
        changed, changes = look(states, scene, looks)
        states |= changed
        found += [
            (minute, change.after.type)
            for change in changes
            for effect in change.effects
            if isinstance(effect, Tell) and str(effect.kind) == "active"
        ]
    return found


def held(kind, holds, place="box-1", **more):
    return Condition(type=kind, place=place, holds=holds, what="It is so.", **more)


def test_a26_a_cause_hides_from_when_it_holds_not_from_when_it_is_told():
    """Both wait for as long, and the humidity is over first: only the lid is told."""
    delay_s = TABLE.rows["lid_open"].on_delay_s
    humidity = replace(TABLE.rows["humidity_high"], on_delay_s=delay_s)

    def at(minute):
        return (
            held("humidity_high", True, value=45.0, limit=12.0),
            held("lid_open", minute >= 5),  # two readings later it is known for the lid
        )

    assert told(at, 60, {**TABLE.rows, humidity.type: humidity}) == [(5 + delay_s / STEP_S, "lid_open")]


@pytest.mark.parametrize(("open_h", "heard"), [(5.0, ["lid_open"]), (9.0, ["lid_open", "humidity_high"])])
def test_a27_of_a_forgotten_lid_the_humidity_is_told_after_eight_hours(open_h, heard):
    """Till then one voice is enough: its act is the same, and shutting the lid ends both."""

    def at(minute):
        is_open = minute < 60 * open_h
        return (
            held("humidity_high", minute < 60 * open_h + 100, value=45.0, limit=12.0),
            held("lid_open", is_open),
        )

    found = told(at, 12 * 60)
    assert [kind for _, kind in found] == heard
    assert found[-1][0] in (45, 8 * 60 - 1)


def test_a26_air_that_does_not_dry_after_the_lid_was_shut_is_told_two_hours_later():
    def at(minute):
        return (held("humidity_high", True, value=45.0, limit=12.0), held("lid_open", minute < 180))

    found = told(at, 12 * 60)
    assert [kind for _, kind in found] == ["lid_open", "humidity_high"]
    assert found[1][0] == pytest.approx(180 + 120, abs=2)


def test_a27_the_humidity_is_told_when_the_lid_was_no_reason():
    def at(minute):
        return (held("humidity_high", True, value=45.0, limit=12.0), held("lid_open", 5 <= minute < 12))

    found = told(at, 240)
    assert [kind for _, kind in found] == ["humidity_high"]
    assert found[0][0] > 12


@pytest.mark.parametrize("cause", ["desiccant_spent", "box_leaky", "wet_contents"])
def test_of_a_box_the_cause_is_told_and_not_its_humidity_too(cause):
    def at(_):
        return (held("humidity_high", True, value=14.0, limit=12.0), held(cause, True))

    assert [kind for _, kind in told(at, 80 * 60)] == [cause]


def test_a27_after_a_week_the_humidity_is_told_though_its_cause_lasts():
    def at(_):
        return (held("humidity_high", True, value=14.0, limit=12.0), held("desiccant_spent", True))

    assert [kind for _, kind in told(at, 170 * 60)] == ["desiccant_spent", "humidity_high"]


def test_a_wrong_clock_hides_that_all_readings_look_old():
    def at(_):
        return (held("reading_stale", True), held("clock_wrong", True, place=""))

    assert [kind for _, kind in told(at, 240)] == ["clock_wrong"]
