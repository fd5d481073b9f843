"""What is kept of an oven's states as the air of its chamber."""

from dataclasses import replace

import pytest
from support.oven_controller import ModelController

from monitor.service.chamber_air import Chambers

STATE = ModelController().state()


def said(**changes):
    return replace(STATE, **({"chamber_c": (58.0, 57.0), "humidity_pct": 4.0, "heater": 0.4} | changes))


def kept(rows):
    return [row.minute for row in rows if row is not None]


def test_a_warm_chamber_is_kept_once_a_minute():
    """At most one value a minute, whatever it sends."""
    chambers = Chambers()
    rows = [chambers.air("kiln", said(), 6_000.0 + second) for second in range(0, 300, 2)]
    assert kept(rows) == [100, 101, 102, 103, 104]
    assert rows[0].temperature_c == 57.5
    assert rows[0].humidity_pct == 4.0


def test_a_cold_one_once_in_five_minutes():
    """Over a day 288 rows, no more than another node writes."""
    chambers = Chambers()
    cold = said(chamber_c=(22.0, None), heater=0.0)
    rows = [chambers.air("kiln", cold, 6_000.0 + 10.0 * number) for number in range(8640)]
    assert len(kept(rows)) == 288


def test_a_restart_writes_no_second_row_of_a_span():
    """The span's beginning numbers it, so the store keeps the first."""
    cold = said(chamber_c=(22.0,), heater=0.0)
    assert Chambers().air("kiln", cold, 6_100.0).minute == Chambers().air("kiln", cold, 6_290.0).minute


@pytest.mark.parametrize("chamber_c", [(), (None, None), (900.0,), (-80.0, None)])
def test_what_no_sensor_tells_is_not_kept(chamber_c):
    """A broken sensor is no air; the supervision looks at it by its own rules."""
    assert Chambers().air("kiln", said(chamber_c=chamber_c), 6_000.0) is None


@pytest.mark.parametrize(("told", "expected"), [(None, None), (-0.5, 0.0), (100.4, 100.0), (140.0, None)])
def test_a_humidity_is_one_between_nothing_and_all(told, expected):
    """A driver's small overshoot is its end; more is none."""
    assert Chambers().air("kiln", said(humidity_pct=told), 6_000.0).humidity_pct == expected
