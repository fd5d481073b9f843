"""Sensors in the same air: which differs, and when it cannot be told; corners of a box."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.estimate.sensor_check import Sample
from monitor.estimate.side_by_side import placement, side_by_side
from monitor.model.sensor_check import Corner
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

TOLERANCE = 1.8


def lying_together(temperature_c=22.0, count=12, **humidity_pct):
    return {
        key: [Sample(time_s=300.0 * n, temperature_c=temperature_c, humidity_pct=value) for n in range(count)]
        for key, value in humidity_pct.items()
    }


def compared(samples, **tolerances):
    return side_by_side(samples, {key: tolerances.get(key, TOLERANCE) for key in samples})


def odd(found):
    return [item.channel for item in found.sensors if item.is_odd]


def test_of_three_the_one_that_differs_is_named():
    """P16: two agree, so the third is the odd one."""
    found = compared(lying_together(a=44.0, b=45.0, c=55.0))
    assert odd(found) == ["c"]
    assert not found.is_pair_apart
    assert found.sensors[2].difference_pct == pytest.approx(10.5)


def test_of_two_neither_is_blamed():
    """P16: one reads 70, the other 40; which is right two cannot tell."""
    found = compared(lying_together(a=70.0, b=40.0))
    assert odd(found) == []
    assert found.is_pair_apart


def test_what_the_data_sheets_allow_is_no_difference():
    """Two of +-1.8 may differ by 2.5 %RH."""
    found = compared(lying_together(a=44.0, b=46.4))
    assert not found.is_pair_apart
    assert found.sensors[0].allowed_pct == pytest.approx(2.546, abs=0.01)
    assert compared(lying_together(a=44.0, b=46.4), a=1.0, b=1.0).is_pair_apart


def test_two_odd_ones_of_five_are_both_found():
    """One far off must not hide the next."""
    assert sorted(odd(compared(lying_together(a=44.0, b=45.0, c=60.0, d=44.5, e=38.0)))) == ["c", "e"]


def test_a_sensor_warmed_by_its_board_is_not_blamed_for_its_warmth():
    """It is 1 K warmer, so the same vapour is 6 % less humidity there."""
    samples = lying_together(a=45.0, b=45.0)
    warm = 45.0 * saturated_vapour_kg_m3(22.0) / saturated_vapour_kg_m3(23.0)
    samples["c"] = [replace(s, temperature_c=23.0, humidity_pct=float(warm)) for s in samples["a"]]
    found = compared(samples)
    assert odd(found) == []
    assert found.sensors[2].difference_pct == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize(
    ("samples", "fault"),
    [
        (lying_together(a=45.0), "few"),
        (lying_together(count=4, a=45.0, b=45.0), "few"),
        (lying_together(a=45.0) | lying_together(26.0, b=45.0), "apart"),
        (
            lying_together(a=45.0)
            | {"b": [Sample(time_s=300.0 * n, temperature_c=22.0, humidity_pct=30.0 + n) for n in range(12)]},
            "moving",
        ),
    ],
)
def test_what_is_not_one_steady_air_is_not_compared(samples, fault):
    """A difference between two airs is no error of a sensor."""
    found = compared(samples)
    assert (found.fault, found.sensors) == (fault, ())


@given(values=st.lists(st.floats(5.0, 95.0), min_size=2, max_size=8), shift=st.floats(0.0, 4.0))
def test_who_is_odd_does_not_depend_on_the_order_asked(values, shift):
    """The same sensors, named the other way round."""
    samples = lying_together(**{f"s{n}": value + shift for n, value in enumerate(values)})
    one = {item.channel: item.is_odd for item in compared(samples).sensors}
    turned = dict(reversed(samples.items()))
    other = {item.channel: item.is_odd for item in compared(turned).sensors}
    gaps = sorted(values)
    if min((b - a for a, b in zip(gaps, gaps[1:], strict=False)), default=1.0) > 0.01:
        assert sum(one.values()) == sum(other.values()) or len(values) % 2 == 0
    assert len(values) - sum(one.values()) >= 2


def test_the_permanent_sensor_belongs_into_the_dampest_corner():
    """P37, A-39: beside the desiccant it reads too dry."""
    spots = [
        Corner(name="beside the desiccant", humidity_pct=11.0, hours=24.0),
        Corner(name="low, by the hinge", humidity_pct=15.5, hours=26.0),
        Corner(name="high", humidity_pct=13.0, hours=24.0),
    ]
    found = placement(spots)
    assert found.spots[0].name == "low, by the hinge"
    assert found.spread_pct == pytest.approx(4.5)
    assert found.is_uneven
    assert found.fault is None


def test_corners_that_one_sensor_cannot_tell_apart_are_equal():
    """What differs by less than its hysteresis is no gradient; short stays are said to be short."""
    spots = [Corner(name=n, humidity_pct=h, hours=8.0) for n, h in (("a", 12.0), ("b", 12.6))]
    found = placement(spots)
    assert (found.is_uneven, found.fault) == (False, "short")
    assert placement(spots[:1]).fault == "few"
