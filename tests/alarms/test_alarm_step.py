"""What an alarm does with samples, acts and time, rule by rule."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.alarms import DAY_S, HOUR_S, Bench, row, safety_row

from monitor.alarms import events as happens
from monitor.alarms.sampling import delay_bound_s, faults_of
from monitor.alarms.saved import from_text, to_text
from monitor.alarms.state import Shown, Suppression, alarm_key
from monitor.alarms.step import SHELVE_MAX_S, shelve_max_s
from monitor.errors import RefusedError, StoreError
from monitor.model.message import Priority


def _ack(bench, who="Kim"):
    return bench.step(happens.Acknowledged(activation=bench.state.activation, who=who))


def _shelve(bench, lasts_s=HOUR_S, one_shot=False, why="known"):
    return bench.step(happens.Shelved(lasts_s=lasts_s, one_shot=one_shot, why=why, who="Kim"))


def test_a_gap_freezes_the_state_and_clears_nothing():
    """A-02."""
    bench = Bench()
    bench.sample(True)
    state = bench.sample(None)
    assert state.shown is Shown.UNACK
    assert state.condition is None
    assert state.frozen_since_s == bench.wall_s
    assert bench.sample(True).frozen_since_s is None


def test_a_gap_neither_advances_nor_resets_a_delay():
    """A-16."""
    bench = Bench(row(on_delay_s=600.0))
    bench.sample(True)
    bench.sample(True, covered_s=300.0)
    bench.sample(None)
    assert not bench.sample(True, covered_s=0.0).active  # the looks on both sides of a gap cover nothing
    assert not bench.sample(True, covered_s=290.0).active
    assert bench.sample(True, covered_s=10.0).active


def test_a_good_sample_resets_the_on_delay():
    bench = Bench(row(on_delay_s=600.0))
    bench.sample(True)
    bench.sample(True, covered_s=300.0)
    bench.sample(False, covered_s=30.0)
    bench.sample(True, covered_s=30.0)
    assert not bench.sample(True, covered_s=299.0).active


def test_no_single_step_counts_for_longer_than_two_looks_may_be_apart():
    """A-16: the machine slept; what it says it covered it did not see."""
    bench = Bench(row(on_delay_s=600.0))
    bench.sample(True)
    assert not bench.sample(True, covered_s=5_000.0).active


@pytest.mark.parametrize(
    ("limit", "bad", "near", "good"), [(30.0, 31.0, 28.5, 27.9), (15.0, 14.0, 16.5, 17.1)]
)
def test_the_deadband_is_one_sided(limit, bad, near, good):
    """A-14: a high alarm clears at set-point less deadband, a low one at set-point plus deadband."""
    bench = Bench(row(deadband=2.0))
    assert not bench.sample(False, value=near, limit=limit).active  # it delays no raising
    bench.sample(True, value=bad, limit=limit)
    assert bench.sample(False, value=near, limit=limit).active
    assert not bench.sample(False, value=good, limit=limit).active


def test_k_of_n_samples():
    """A-14: two of three; the same reading seen again is no further sample."""
    bench = Bench(row(k=2, n=3))
    assert not bench.sample(True, sample="1").active
    assert not bench.sample(True, sample="1").active
    bench.sample(False, sample="2")
    assert bench.sample(True, sample="3").active


def test_the_off_delay_holds_what_comes_back_at_once():
    bench = Bench(row(off_delay_s=900.0))
    bench.sample(True)
    bench.sample(False)
    assert bench.sample(False, covered_s=200.0).active
    bench.sample(True, covered_s=30.0)
    bench.sample(False, covered_s=30.0)
    for _ in range(4):
        assert bench.sample(False, covered_s=200.0).active
    assert not bench.sample(False, covered_s=200.0).active


def test_a_delay_takes_at_most_a_quarter_of_the_time_to_respond():
    """A-17."""
    assert delay_bound_s(row(respond_s=7200.0)) == 1800.0
    assert faults_of(row(respond_s=7200.0, on_delay_s=1800.0)) == ()
    (fault,) = faults_of(row(respond_s=7200.0, on_delay_s=1801.0))
    assert "on_delay_s" in fault
    assert "1800" in fault


def test_what_cleared_by_itself_is_shown_until_it_was_seen():
    """A-03."""
    bench = Bench()
    bench.sample(True)
    assert bench.sample(False).shown is Shown.RTNUN
    assert bench.tells() == ["clears"]
    assert _ack(bench).shown is Shown.NORM


def test_an_acknowledgement_of_an_older_activation_is_refused():
    """A-04: it must not silence a newer occurrence."""
    bench = Bench()
    old = bench.sample(True).activation
    bench.sample(False)
    bench.sample(True)
    with pytest.raises(RefusedError):
        bench.step(happens.Acknowledged(activation=old, who="Kim"))
    assert bench.state.shown is Shown.UNACK


def test_acknowledging_again_changes_nothing():
    """A-04: idempotent."""
    bench = Bench()
    bench.sample(True)
    first = _ack(bench)
    assert bench.tells() == ["seen"]
    assert _ack(bench, who="Ada") == first
    assert bench.effects == ()


def test_a_worse_limit_takes_an_acknowledged_alarm_back():
    """A-10 (a), A-31: as a new activation, which whoever acknowledges must have seen."""
    bench = Bench()
    bench.sample(True, priority=Priority.LOW)
    _ack(bench)
    before = bench.state
    after = bench.sample(True, priority=Priority.MEDIUM)
    assert after.shown is Shown.UNACK
    assert after.activation != before.activation
    assert after.since_s == before.since_s
    assert bench.tells() == ["worse"]
    bench.sample(True, priority=Priority.LOW)
    bench.sample(True, priority=Priority.MEDIUM)
    assert bench.tells() == []  # wavering is no news


def test_what_still_holds_after_its_time_is_told_again():
    """A-10 (b), with its count kept."""
    bench = Bench(row(realarm_s=DAY_S))
    bench.sample(True)
    _ack(bench)
    assert bench.step(happens.Ticked(), DAY_S - 1.0).shown is Shown.ACKED
    assert bench.step(happens.Ticked(), 1.0).shown is Shown.UNACK
    assert bench.state.count == 2
    assert bench.tells() == ["worse"]


def test_a_latched_trip_is_not_reset_while_it_holds():
    """A-11."""
    bench = Bench(safety_row())
    bench.sample(True, priority=Priority.SAFETY)
    _ack(bench)
    with pytest.raises(RefusedError, match="still holds"):
        bench.step(happens.ResetAsked(who="Kim"))
    assert bench.sample(False, priority=Priority.SAFETY).shown is Shown.LATCHD
    bench.sample(None, priority=Priority.SAFETY)
    with pytest.raises(RefusedError, match="cannot be told"):
        bench.step(happens.ResetAsked(who="Kim"))
    bench.sample(False, priority=Priority.SAFETY)
    assert bench.step(happens.ResetAsked(who="Kim")).shown is Shown.NORM


@pytest.mark.parametrize(
    ("priority", "most_s"),
    [
        (Priority.LOW, 7 * DAY_S),
        (Priority.MEDIUM, DAY_S),
        (Priority.HIGH, 2 * HOUR_S),
        (Priority.SAFETY, 0.0),
    ],
)
def test_how_long_something_may_be_put_aside(priority, most_s):
    """A-06: by priority; of safety nothing."""
    assert SHELVE_MAX_S[priority] == most_s
    bench = Bench()
    bench.sample(True, priority=priority)
    assert shelve_max_s(bench.state, bench.row) == most_s
    with pytest.raises(RefusedError):
        _shelve(bench, most_s + 1.0)
    if most_s:
        assert _shelve(bench, most_s).shown is Shown.SHLVD


def test_a_reason_is_asked_for():
    """A-06."""
    bench = Bench()
    bench.sample(True)
    with pytest.raises(RefusedError, match="why must be 1 to 200"):
        _shelve(bench, why="  ")


def test_what_is_put_aside_goes_on_being_looked_at_and_tells_nobody():
    """A-09."""
    bench = Bench()
    _shelve(bench)
    bench.sample(True)
    assert bench.notes() == ["activated"]
    assert bench.tells() == []
    assert bench.state.active
    assert bench.state.shown is Shown.SHLVD


def test_what_is_worse_when_its_shelf_ends_is_told_at_once():
    """A-06."""
    bench = Bench()
    bench.sample(True, priority=Priority.LOW)
    _ack(bench)
    _shelve(bench)
    bench.sample(True, priority=Priority.MEDIUM)
    assert bench.tells() == []
    bench.step(happens.Ticked(), HOUR_S)
    assert bench.state.shown is Shown.UNACK
    assert bench.tells() == ["worse"]


def test_a_clock_that_is_set_back_makes_no_shelf_longer():
    bench = Bench()
    _shelve(bench, HOUR_S)
    bench.wall_s -= 30 * DAY_S
    assert bench.step(happens.Ticked(), HOUR_S).shown is Shown.NORM


def test_a_one_shot_ends_when_it_is_over():
    """A-06."""
    bench = Bench()
    bench.sample(True)
    _shelve(bench, one_shot=True)
    assert bench.sample(False).suppression is Suppression.NONE


def test_out_of_service_is_brought_to_mind_each_day():
    """A-08: no end by itself."""
    bench = Bench()
    bench.step(happens.OutOfService(why="taken apart", who="Kim"))
    told = []
    for _ in range(72):
        bench.step(happens.Ticked(), HOUR_S)
        told += [effect.occurrence for effect in bench.effects]
    assert len(told) == len(set(told)) == 3
    assert bench.state.shown is Shown.OOSRV


def test_hidden_for_too_long_it_is_told():
    """A-27."""
    bench = Bench()
    bench.step(happens.DesignSuppressed(rule="lid", text="the lid is open", lasts_s=HOUR_S))
    bench.sample(True)
    assert bench.state.shown is Shown.DSUPR
    assert bench.tells() == []
    bench.step(happens.Ticked(), HOUR_S)
    assert bench.state.shown is Shown.UNACK
    assert bench.tells() == ["active"]


def test_while_it_settles_only_safety_is_told():
    """A-23: what is held back is told afterwards if it still holds."""
    calm, trip = Bench(), Bench(safety_row())
    calm.is_quiet = trip.is_quiet = True
    trip.sample(True, priority=Priority.SAFETY)
    assert trip.tells() == ["active"]
    calm.sample(True)
    assert calm.tells() == []
    assert calm.state.shown is Shown.UNACK
    calm.is_quiet = False
    calm.step(happens.Ticked(), 30.0)
    assert calm.tells() == ["active"]


def test_a_key_fits_a_topic_and_stays_its_own():
    assert alarm_key("oven_trip", "kiln") == "oven_trip-kiln"
    assert alarm_key("broker_away", "") == "broker_away"
    assert alarm_key("battery_low", "n1/box").startswith("battery_low-n1-box-")
    long = [alarm_key("supervision_trouble", "x" * 62 + end) for end in "ab"]
    assert max(map(len, long)) <= 63
    assert len(set(long)) == 2


EVENTS = st.one_of(
    st.builds(
        happens.Sampled,
        holds=st.sampled_from([True, False, None]),
        priority=st.sampled_from(list(Priority)),
        covered_s=st.sampled_from([0.0, 30.0, 60.0, 300.0]),
    ),
    st.just("ack"),
    st.builds(
        happens.Shelved,
        lasts_s=st.sampled_from([60.0, HOUR_S, 8 * DAY_S]),
        one_shot=st.booleans(),
        why=st.sampled_from(["", "known"]),
        who=st.just("Kim"),
    ),
    st.just(happens.Unshelved(who="Kim")),
    st.just(happens.OutOfService(why="apart", who="Kim")),
    st.just(happens.Returned(who="Kim")),
    st.just(happens.ResetAsked(who="Kim")),
    st.just(happens.Ticked()),
    st.just(happens.DesignSuppressed(rule="lid", text="open", lasts_s=HOUR_S)),
    st.just(happens.DesignLifted()),
)
ROWS = st.sampled_from(
    [row(), row(on_delay_s=600.0, off_delay_s=900.0), row(k=2, n=3, realarm_s=HOUR_S), safety_row()]
)


def _run(bench, events):
    """Each event a minute later; yields (before, event, after)."""
    for event in events:
        if event == "ack":
            event = happens.Acknowledged(activation=bench.state.activation, who="Kim")
        before = bench.state
        try:
            bench.step(event, 60.0)
        except RefusedError:
            assert bench.state is before
            bench.effects = ()
        yield before, event, bench.state


@given(of=ROWS, events=st.lists(EVENTS, max_size=40), gap=st.integers(1, 30))
def test_loss_of_data_never_clears_an_alarm(of, events, gap):
    """A-02, whatever came before."""
    bench = Bench(of)
    for _ in _run(bench, events):
        pass
    active, acked, latched = bench.state.active, bench.state.acked, bench.state.latched
    for _ in range(gap):
        bench.sample(None, covered_s=60.0)
    assert (bench.state.active, bench.state.acked, bench.state.latched) == (active, acked, latched)


@given(events=st.lists(EVENTS, max_size=40), is_quiet=st.booleans())
def test_a_matter_of_safety_is_never_hidden_and_always_told(events, is_quiet):
    """A-06, A-21, A-23."""
    bench = Bench(safety_row())
    bench.is_quiet = is_quiet
    for _, _, after in _run(bench, events):
        assert after.suppression is Suppression.NONE
        if after.active and not after.acked:
            assert after.told


@given(events=st.lists(EVENTS, max_size=60), of=ROWS)
def test_what_becomes_urgent_comes_out_of_hiding(events, of):
    """No alarm is hidden that is of priority safety, when it is raised or later."""
    bench = Bench(of)
    for _, event, after in _run(bench, events):
        is_looked_at = isinstance(event, happens.Sampled) and event.holds is not None
        if is_looked_at and after.active and after.priority is Priority.SAFETY:
            assert after.suppression is Suppression.NONE


@given(events=st.lists(EVENTS, max_size=40), of=ROWS)
def test_nothing_is_told_twice(events, of):
    """A pair of kind and occurrence is told once, or delivery could not tell a repetition from news."""
    bench, told = Bench(of), []
    for _ in _run(bench, events):
        told += [(e.kind, e.occurrence) for e in bench.effects if isinstance(e, happens.Tell)]
    assert len(told) == len(set(told))


@given(events=st.lists(EVENTS, max_size=40), of=ROWS)
def test_a_state_comes_back_from_text_as_it_was(events, of):
    """A-12."""
    bench = Bench(of)
    for _ in _run(bench, events):
        pass
    assert from_text(to_text(bench.state)) == bench.state


@pytest.mark.parametrize("text", ["", "{}", "[]", "null", '{"key": 1}', "[" * 5000])
def test_a_text_that_is_none_of_ours_is_refused(text):
    with pytest.raises(StoreError):
        from_text(text)
