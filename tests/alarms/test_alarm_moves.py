"""Every state of an alarm times every event, refused ones too, against the declared table."""

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
from support.alarms import START_S, row, safety_row

from monitor.alarms import events as happens
from monitor.alarms.events import Moment
from monitor.alarms.moves import MOVES, REFUSED_OF_SAFETY, Seen
from monitor.alarms.state import Away, Hiding, Shelf, Shown, begin
from monitor.alarms.step import step
from monitor.alarms.table import page
from monitor.errors import RefusedError
from monitor.model.message import Priority

PAGE = Path(__file__).resolve().parents[2] / "deploy" / "docs" / "alarm-states.md"
LATER = Moment(wall_s=START_S + 60.0, elapsed_s=60.0)


def _sample(holds):
    return happens.Sampled(holds=holds, priority=Priority.MEDIUM)


EVENTS = {
    Seen.HOLDS: _sample(True),
    Seen.CLEARS: _sample(False),
    Seen.UNKNOWN: _sample(None),
    Seen.ACK: happens.Acknowledged(activation="a-1", who="Kim"),
    Seen.ACK_OLD: happens.Acknowledged(activation="a-0", who="Kim"),
    Seen.SHELVE: happens.Shelved(lasts_s=3600.0, one_shot=False, why="known", who="Kim"),
    Seen.UNSHELVE: happens.Unshelved(who="Kim"),
    Seen.SILENCE: happens.Silenced(who="Kim"),
    Seen.OUT: happens.OutOfService(why="taken apart", who="Kim"),
    Seen.RETURN: happens.Returned(who="Kim"),
    Seen.RESET: happens.ResetAsked(who="Kim"),
    Seen.TICK: happens.Ticked(),
    Seen.HIDE: happens.DesignSuppressed(rule="r", text="t", lasts_s=3600.0),
    Seen.LIFT: happens.DesignLifted(),
    Seen.RESTART: happens.Restarted(),
}
ROW = row(latches=True, realarm_s=3600.0)  # every axis can be reached with it


def _states():
    """All combinations of the axes, each with short and long timers."""
    shelves = [
        None,
        *(
            Shelf(since_s=START_S, lasts_s=lasts_s, one_shot=one_shot, who="Kim", why="known")
            for lasts_s in (30.0, 3600.0)
            for one_shot in (False, True)
        ),
    ]
    hidings = [
        None,
        *(Hiding(rule="r", text="t", since_s=START_S, lasts_s=lasts_s) for lasts_s in (30.0, 3600.0)),
    ]
    aways = [None, Away(since_s=START_S, who="Kim", why="taken apart")]
    bools = (False, True)
    for active, acked, latched, told, shelf, hiding, away, long_acked, priority in itertools.product(
        bools, bools, bools, bools, shelves, hidings, aways, bools, (Priority.LOW, Priority.MEDIUM)
    ):
        yield replace(
            begin("humidity_high", "box-1"),
            active=active,
            acked=acked,
            latched=latched,
            told=told,
            told_priority=priority if told else Priority.NOTICE,
            priority=priority,
            shelf=shelf,
            hiding=hiding,
            away=away,
            count=1,
            activation="a-1",
            since_s=START_S,
            acked_for_s=4000.0 if long_acked else 0.0,
        )


@pytest.mark.parametrize("seen", list(Seen))
def test_every_state_and_event_does_what_the_table_says(seen):
    """What is in the table happens and nothing else does; a refused event changes nothing (A.1)."""
    reached = {shown: set() for shown in Shown}
    for state in _states():
        allowed = MOVES[state.shown][seen]
        try:
            after, _ = step(state, EVENTS[seen], ROW, LATER)
        except RefusedError:
            is_not_shelved = seen is Seen.UNSHELVE and state.shelf is None
            assert not allowed or is_not_shelved, (state, seen)
            continue
        assert after.shown in allowed, (state, seen, after)
        reached[state.shown].add(after.shown)
    for shown in Shown:
        assert reached[shown] == MOVES[shown][seen], (shown, seen)


@pytest.mark.parametrize("seen", REFUSED_OF_SAFETY)
def test_safety_is_never_hidden(seen):
    """A-06, A-26: whoever asks, and in whatever state."""
    of = safety_row()
    for state in _states():
        if state.shelf or state.hiding or state.away:
            continue
        with pytest.raises(RefusedError):
            step(replace(state, type=of.type), EVENTS[seen], of, LATER)


def test_the_table_names_every_pair():
    assert set(MOVES) == set(Shown)
    for moves in MOVES.values():
        assert set(moves) == set(Seen)


def test_the_printed_table_is_the_one_that_runs():
    """People read deploy/docs/alarm-states.md."""
    assert PAGE.read_text() == page()
