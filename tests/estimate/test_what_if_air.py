"""The air of a what-if: courses against constant air, gaps bridged at the worst, blocks that cost nothing."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.advice import ask, hourly

from monitor.errors import BadInputError
from monitor.estimate.what_if import answer_what_if
from monitor.estimate.what_if_air import Piece, bridged, pieces
from monitor.estimate.what_if_course import body_of, course_of
from monitor.estimate.what_if_members import members_of, start_content
from monitor.model.what_if import AirSpan


@pytest.mark.parametrize("key", ["pa6", "pla", "pva"])
@pytest.mark.parametrize("hours", [62, 168])
def test_a_course_of_constant_air_equals_the_answer_for_constant_air(key, hours):
    """The same air told in hours is the same air; stepped otherwise, so to within 1 %."""
    told_once = answer_what_if(ask(key, rh=55, temperature=21, hours=hours))
    told_hourly = answer_what_if(ask(key, air=hourly([(55.0, 21.0)] * hours)))
    for name in ("moisture_pct", "outer_pct"):
        one, other = getattr(told_once, name), getattr(told_hourly, name)
        assert other.p50 == pytest.approx(one.p50, rel=0.01)
        assert other.p10 == pytest.approx(one.p10, rel=0.01)
        assert other.p90 == pytest.approx(one.p90, rel=0.01)
    assert told_hourly.drying.floor_pct == told_once.drying.floor_pct
    assert told_hourly.night_outside == told_once.night_outside


@pytest.mark.parametrize("key", ["pa6", "pla", "tpu_ether"])
@pytest.mark.parametrize("hours", [62, 168])
def test_few_long_steps_end_where_ten_minute_steps_of_every_hour_end(key, hours):
    """A week is stepped in blocks that grow: against every hour in six steps, within 1 % at the end."""
    week = hourly([(50 + 10 * math.sin(h / 3.8), 20 + 2 * math.sin(h / 3.8 + 2)) for h in range(hours)])
    question = ask(key, air=week)
    members, spans = members_of(question.material), bridged(week)
    body = body_of(question, members, start_content(question, members), 20.0)
    quick = course_of(body, pieces(spans))
    slow = course_of(
        body,
        [
            Piece(
                hours=1 / 6,
                settled_h=0.0,
                temperature_c=span.temperature_c,
                humidity_pct=span.humidity_pct,
            )
            for span in spans
            for _ in range(6)
        ],
    )
    assert len(quick.hours) <= 70
    assert quick.hours[-1] == pytest.approx(hours)
    assert quick.mean[-1] == pytest.approx(slow.mean[-1], rel=0.01)
    assert quick.outer[-1] == pytest.approx(slow.outer[-1], rel=0.015)


def test_a_course_ends_wetter_when_its_moist_hours_come_last():
    """A mean alone would not tell: outer windings follow the last hours."""
    dry, moist = [(30.0, 22.0)] * 24, [(70.0, 22.0)] * 24
    last, first = (
        answer_what_if(ask("pa6", air=hourly(dry + moist))),
        answer_what_if(ask("pa6", air=hourly(moist + dry))),
    )
    assert last.outer_pct.p50 > 1.3 * first.outer_pct.p50
    assert last.air_taken.humidity_pct == first.air_taken.humidity_pct == 50.0


def test_a_gap_is_bridged_with_the_most_humid_air_of_the_day_before_and_told():
    """A-36: what was not measured may have been bad; a moister day long before does not count."""
    figures = [(80.0, 15.0)] * 3 + [(40.0, 22.0)] * 30 + [(50.0, 21.0)] + [(45.0, 22.0)] * 2 + [None] * 4
    spans = bridged(hourly(figures))
    assert {(span.humidity_pct, span.temperature_c) for span in spans[-4:]} == {(50.0, 21.0)}
    taken = answer_what_if(ask("pla", air=hourly(figures))).air_taken
    assert taken.bridged_h == 4.0
    assert "For 4 h of that time nothing was measured" in taken.note


def test_a_gap_at_the_beginning_takes_the_day_after_it():
    """There is no day before: the nearest that is known stands in."""
    spans = bridged(hourly([None] * 2 + [(40.0, 22.0), (60.0, 20.0)] + [(90.0, 20.0)] * 40))
    assert spans[0].humidity_pct == 90.0  # within a day of the first known hour
    assert bridged(hourly([None, (40.0, 22.0), (60.0, 20.0)]))[0].humidity_pct == 60.0


def test_half_a_reading_is_a_gap():
    """Humidity without its temperature says nothing of the vapour."""
    air = hourly([(40.0, 22.0), (70.0, 21.0), (35.0, 22.0)])
    half = AirSpan(hours=1.0, humidity_pct=99.0, temperature_c=None)
    assert bridged((*air, half))[-1].humidity_pct == 70.0


def test_a_time_in_which_nothing_was_measured_is_refused():
    """No air, no answer."""
    with pytest.raises(BadInputError, match="nothing was measured"):
        answer_what_if(ask("pla", air=hourly([None] * 5)))


@settings(max_examples=20, deadline=None)
@given(
    figures=st.lists(
        st.one_of(st.none(), st.tuples(st.floats(0.0, 100.0), st.floats(0.0, 40.0))), min_size=1, max_size=200
    ).filter(any)
)
def test_bridging_keeps_what_was_measured_and_the_pieces_add_up(figures):
    """Nothing known is changed, nothing lasts longer or shorter, and no gap is drier than its surroundings."""
    air = hourly(figures)
    spans = bridged(air)
    for span, figure in zip(spans, figures, strict=True):
        if figure is not None:
            assert (span.humidity_pct, span.temperature_c) == figure
        else:
            assert (span.humidity_pct, span.temperature_c) in figures
    assert sum(piece.hours for piece in pieces(spans)) == pytest.approx(len(figures))
    assert all(piece.hours > 0.0 and piece.settled_h >= 0.0 for piece in pieces(spans))
