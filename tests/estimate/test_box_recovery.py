"""The hour after an opening tells how much desiccant there is."""

from dataclasses import replace

import numpy as np
import pytest
from support.box_small import PLAIN, advanced, followed, with_fault

from monitor.estimate.box_lid import BoxReading

DAY_S = 86_400.0


def recoveries(belief, since_d, until_d):
    """What the openings between two days told."""
    end_s, found = belief.half_begun_s, []
    for half in reversed(belief.history):
        if half.recovery_ln is not None and since_d * DAY_S < end_s <= until_d * DAY_S:
            found.append(half.recovery_ln)
        end_s -= half.span_s
    return found


def test_half_the_desiccant_leaves_twice_as_much_in_the_air():
    """Water from an opening divides by areas; half the bed takes half of what the windings give back."""
    box = with_fault("charge", 14.0, limit_humidity=0.35, openings_week=6.0)
    _, belief, _ = followed(box, 24.0, seed=2)
    before, after = recoveries(belief, 3.0, 14.0), recoveries(belief, 14.1, 25.0)
    assert min(len(before), len(after)) >= 2
    assert 0.4 < np.median(after) - np.median(before) < 1.2


@pytest.mark.parametrize("fault", ["leak", "sensor"])
def test_no_other_fault_moves_it(fault):
    """That is what tells half the grams from a leak: both raise the humidity faster."""
    box = with_fault(fault, 14.0, limit_humidity=0.35, openings_week=6.0)
    _, belief, _ = followed(box, 24.0, seed=2)
    before, after = recoveries(belief, 3.0, 14.0), recoveries(belief, 14.5, 25.0)
    assert abs(np.median(after) - np.median(before)) < 0.3


def test_a_lid_that_stays_open_for_long_tells_nothing():
    """The ratio stands for a short opening only."""
    model, belief, _ = followed(replace(PLAIN, openings_week=0.0, gap_share=0.0), 7.0)
    humid = [0.40] * 6 + [0.25, 0.15, 0.10, 0.08, 0.07, 0.07, 0.06, 0.06]
    heard = [
        BoxReading(
            time_s=belief.seen_s + 300.0 * (index + 1),
            temperature_c=22.0,
            relative_humidity=humidity,
            room_kg_m3=0.009,
        )
        for index, humidity in enumerate(humid)
    ]
    after, _ = advanced(model, belief, heard)
    assert after.half_recovery_ln == belief.half_recovery_ln
