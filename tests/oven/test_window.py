"""The window of the last minutes: what is read off it, against a look at every sample."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.oven_scene import oven_state

from monitor.oven.window import Sample, Window

STEPS_S = st.lists(st.sampled_from([0.0, 0.5, 1.0, 2.0, 2.5, 13.0, 30.0, 61.0]), max_size=60)
SPANS_S = st.sampled_from([0.0, 1.0, 2.0, 60.0, 62.0, 300.0])


def window_of(steps_s):
    at_s, samples = 100.0, []
    for step_s in steps_s:
        at_s += step_s
        samples.append(Sample(at_s=at_s, heard_mono_s=at_s, state=oven_state()))
    return Window(samples=tuple(samples))


@settings(max_examples=200, deadline=None)
@given(STEPS_S, SPANS_S)
def test_the_last_seconds_are_all_samples_that_are_not_older(steps_s, span_s):
    """Those on the edge belong to it."""
    window = window_of(steps_s)
    newest_s = window.samples[-1].at_s if window.samples else 0.0
    assert window.last(span_s) == tuple(s for s in window.samples if s.at_s >= newest_s - span_s)


@pytest.mark.parametrize(
    ("steps_s", "span_s", "count"),
    [
        ([2.0] * 40, 60.0, 31),
        ([2.0] * 20, 60.0, 0),  # 38 s tell nothing of a minute
        ([2.0] * 10 + [15.0] + [2.0] * 20, 60.0, 24),  # a gap of just what is allowed
        ([2.0] * 10 + [15.5] + [2.0] * 20, 60.0, 0),
        ([30.0, 30.0], 60.0, 0),
        ([], 60.0, 0),
    ],
)
def test_a_span_is_covered_or_tells_nothing(steps_s, span_s, count):
    """A gap of a fifth, or of 15 s where that is more, is too long to judge across."""
    assert len(window_of(steps_s).covers(span_s)) == count
