"""Many alarms at once: when they are one message, and what it names."""

from hypothesis import given
from hypothesis import strategies as st
from support.alarms import START_S

from monitor.alarms.storms import MOST_TOLD, Gathered, Raised, Signs, gather, probable_cause
from monitor.model.message import Priority


def _raised(number, at_s=START_S, priority=Priority.LOW):
    return Raised(key=f"a-{number}", place=f"p-{number}", name="Damp", priority=priority, at_s=at_s)


def _one_by_one(count, apart_s, priority=Priority.LOW):
    kept, alone, storms = Gathered(), [], []
    for number in range(count):
        at_s = START_S + number * apart_s
        kept, singly, storm = gather(kept, (_raised(number, at_s, priority),), at_s)
        alone += singly
        storms += [] if storm is None else [storm]
    return kept, alone, storms


def test_three_places_are_told_singly():
    """A-22: four make a storm."""
    _, alone, storms = _one_by_one(3, 10.0)
    assert (len(alone), len(storms)) == (3, 0)


def test_the_fourth_within_ten_minutes_makes_a_storm():
    """A-22, A-25: it names the first."""
    _, alone, storms = _one_by_one(4, 150.0)
    assert len(alone) == 3
    assert [storm.first for storm in storms] == ["a-0"]
    assert storms[0].members == ("a-0", "a-1", "a-2", "a-3")


def test_four_within_an_hour_are_no_storm():
    _, alone, storms = _one_by_one(4, 900.0)
    assert (len(alone), len(storms)) == (4, 0)


def test_several_alarms_of_one_place_are_no_storm():
    raised = tuple(
        Raised(key=f"a-{n}", place="box", name="Damp", priority=Priority.LOW, at_s=START_S) for n in range(6)
    )
    _, alone, storm = gather(Gathered(), raised, START_S)
    assert (len(alone), storm) == (6, None)


def test_a_long_storm_is_told_a_few_times_only():
    """A-20: at most five an incident."""
    _, alone, storms = _one_by_one(300, 5.0)
    assert len(alone) + len(storms) <= 3 + MOST_TOLD


def test_what_is_more_urgent_is_told_in_any_storm():
    kept, _, _ = _one_by_one(300, 5.0)
    at_s = START_S + 1_500.0
    _, _, storm = gather(kept, (_raised("x", at_s, Priority.HIGH),), at_s)
    assert storm is not None
    assert storm.priority is Priority.HIGH


def test_a_storm_ends_when_nothing_new_came_for_ten_minutes():
    kept, _, _ = _one_by_one(5, 5.0)
    at_s = START_S + 700.0
    kept, alone, storm = gather(kept, (_raised("x", at_s),), at_s)
    assert (len(alone), storm, kept.storm) == (1, None, None)


@given(
    waves=st.lists(
        st.tuples(st.floats(0.0, 2_000.0), st.lists(st.integers(0, 30), unique=True, max_size=12)),
        max_size=12,
    )
)
def test_nothing_raised_is_lost(waves):
    """Each is told for itself, or is a member of a storm that people were told of."""
    kept, at_s = Gathered(), START_S
    for wait_s, numbers in waves:
        at_s += wait_s
        raised = tuple(_raised(n, at_s) for n in numbers)
        kept, alone, _ = gather(kept, raised, at_s)
        named = {item.key for item in alone}
        if kept.storm is not None and kept.storm.told:
            named |= set(kept.storm.members)
        assert {item.key for item in raised} <= named


def test_the_probable_cause_is_what_was_seen():
    """A-22."""
    assert "clock" in probable_cause(Signs(clock_was_set=True, broker_is_away=True))
    assert "broker" in probable_cause(Signs(broker_is_away=True))
    assert "power" in probable_cause(Signs(has_just_started=True))
    assert "Hall" in probable_cause(Signs(damp_rooms=("Hall",)))
    assert probable_cause(Signs())
