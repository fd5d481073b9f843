"""B-18: the table of moves, every pair of it, against what `step` really does, and the page that shows it."""

from dataclasses import replace
from pathlib import Path

import pytest
from support.oven_pair import WALL_S, Bench, site
from support.oven_phases import bench_in

from monitor.errors import ForbiddenMoveError
from monitor.model.oven import OvenPhase, Trip
from monitor.oven import table
from monitor.oven.effects import PublishPermit, PublishStop
from monitor.oven.events import FoundDry, Heard, ProofTested, Restarted, SiteSaid, Ticked
from monitor.oven.moves import MOVES, Seen, can, move
from monitor.oven.site import Detector
from monitor.oven.verdict import HEATED, RUNNING

P = OvenPhase
PAGE = Path(__file__).resolve().parents[2] / "deploy" / "docs" / "oven-states.md"


def hear(bench, **changes):
    bench.controller.pass_time(2.0)
    bench.mono_s += 2.0
    bench.wall_s += 2.0
    bench.give(Heard(state=replace(bench.controller.state(), **changes)))


def jump(bench, by_s):
    bench.wall_s += by_s
    bench.give(Ticked())


def wait(bench, seconds):
    """Nothing is heard; the monitor itself is on time."""
    for _ in range(round(seconds / 4.0)):
        bench.mono_s += 4.0
        bench.wall_s += 4.0
        bench.give(Ticked())


def found_dry(bench, hold_c):
    cycle = bench.state.cycle.id if bench.state.cycle else "none"
    bench.give(FoundDry(cycle=cycle, hold_c=hold_c, why="dry"))


EVENTS = {
    "tick": lambda b: b.give(Ticked()),
    "state": hear,
    "duplicate": lambda b: b.give(Heard(state=b.state.window.newest.state)),
    "silence": lambda b: wait(b, 40.0),
    "stop": lambda b: b.stop(),
    "start": lambda b: b.start(),
    "extension": lambda b: b.extend(600.0),
    "reset": lambda b: b.reset(),
    "proof test": lambda b: b.give(ProofTested(who="Ada")),
    "service restarted": lambda b: b.give(Restarted(parameters=b.state.parameters)),
    "controller restarted": lambda b: (b.controller.reboot(), hear(b)),
    "door": lambda b: hear(b, door_open=True),
    "found dry, held cooler": lambda b: found_dry(b, 45.0),
    "found dry, ended": lambda b: found_dry(b, None),
    "detector alarm": lambda b: b.give(
        SiteSaid(site=site(detector=Detector(is_heard=True, is_alarming=True)))
    ),
    "store gone": lambda b: b.give(SiteSaid(site=site(is_storage_writable=False))),
    "clock forward": lambda b: jump(b, 7200.0),
    "clock back": lambda b: jump(b, -7200.0),
    "controller trip": lambda b: hear(b, trip=Trip(id="t9", rule="R6", what="stuck", remote_reset=False)),
}
_STAY = dict.fromkeys(EVENTS)  # None = stays where it is
# A cycle that runs, in any of its four states; differences of each stand below.
_RUNNING = _STAY | {
    "silence": P.COOLING,
    "stop": P.COOLING,
    "service restarted": P.COOLING,
    "controller restarted": P.COOLING,
    "door": P.HOLD,
    "detector alarm": P.TRIPPED,
    "store gone": P.COOLING,
    "controller trip": P.TRIPPED,
}
_RESTING = _STAY | {"detector alarm": P.TRIPPED, "controller trip": P.TRIPPED}
EXPECTED = {
    # Refused: it is not armed. A fresh state of a controller that is not armed changes nothing.
    P.IDLE: _RESTING,
    P.ARMED: _RESTING
    | {
        "start": P.PREHEAT_CHECK,
        "stop": P.IDLE,
        "service restarted": P.IDLE,
        "controller restarted": P.IDLE,
        "door": P.IDLE,
    },
    # Those three are still cold: a stop that is seen to have worked finds nothing left to cool.
    P.PREHEAT_CHECK: _RUNNING | {"state": P.HEATING, "controller restarted": P.DONE},
    P.HEATING: _RUNNING | {"controller restarted": P.DONE},
    P.DRYING: _RUNNING | {"found dry, ended": P.COOLING},
    P.HOLD: _RUNNING | {"door": None, "controller restarted": P.DONE},  # held for its door already
    P.COOLING: _RESTING,
    P.DONE: _RESTING | {"service restarted": P.IDLE, "door": P.IDLE},
    P.TRIPPED: _STAY | {"reset": P.IDLE},
}
PAIRS = [(phase, event) for phase in OvenPhase for event in EVENTS]


@pytest.mark.parametrize(("phase", "event"), PAIRS)
def test_every_state_meets_every_event_as_expected(phase, event):
    """B-18: written down by hand beside the table, so that neither is the other's copy."""
    bench = bench_in(phase)
    if phase is P.HOLD and event in ("state", "controller restarted"):
        bench.controller.door_open = True
    EVENTS[event](bench)
    assert bench.phase is (EXPECTED[phase][event] or phase), bench.why()


@pytest.mark.parametrize(("phase", "event"), PAIRS)
def test_no_event_is_followed_by_a_permit_unless_a_cycle_heats(phase, event):
    """Unknown or resting = off: a permit goes out in the three heated states only, and in a hold one of no heat."""
    bench = bench_in(phase)
    bench.log.clear()
    EVENTS[event](bench)
    for number, effect in enumerate(bench.log):
        if isinstance(effect, PublishPermit):
            later = bench.log[number:]
            is_cold = bench.phase is P.HOLD and effect.permit.setpoint_c == 0.0
            assert is_cold or bench.phase in HEATED or any(isinstance(e, PublishStop) for e in later)


@pytest.mark.parametrize("phase", OvenPhase)
def test_a_running_cycle_that_ends_publishes_a_stop(phase):
    """H09: leaving the heated states by whatever event tells the controller at once.

    But for a lost link: its lease has run out by then, and a stop that waits in the broker would kill what a
    person goes on with (B-22); `test_links.py` shows what happens where the heat did not end.
    """
    for event, act in EVENTS.items():
        bench = bench_in(phase)
        bench.log.clear()
        act(bench)
        if phase in RUNNING and bench.phase not in RUNNING and event != "silence":
            assert any(isinstance(e, PublishStop) for e in bench.log), event


@pytest.mark.parametrize("phase", OvenPhase)
@pytest.mark.parametrize("seen", Seen)
def test_what_is_not_in_the_table_does_not_happen(phase, seen):
    """A missing row is a bug in the caller and says so."""
    if can(phase, seen):
        assert move(phase, seen) is MOVES[phase][seen]
    else:
        with pytest.raises(ForbiddenMoveError):
            move(phase, seen)


def test_every_state_takes_a_stop_and_a_trip():
    """B-17, B-03."""
    for phase in OvenPhase:
        assert move(phase, Seen.TRIPPED) is P.TRIPPED
        assert move(phase, Seen.STOPPED) not in RUNNING
        assert move(phase, Seen.RESTARTED) not in RUNNING  # B-21


def test_heat_begins_by_a_start_or_goes_on_by_a_cleared_hold_alone():
    """B-21, B-31: no other fact leads from a state without permits to one with them."""
    into = {
        (phase, seen)
        for phase, moves in MOVES.items()
        for seen, after in moves.items()
        if after in HEATED and phase not in HEATED
    }
    starts = {(phase, Seen.STARTED) for phase in (P.IDLE, P.ARMED, P.COOLING, P.DONE)}
    assert into == starts | {(P.HOLD, Seen.CLEARED)}


def test_a_tripped_oven_leaves_by_a_reset_alone_and_to_idle():
    """B-30, B-31."""
    ways = {(seen, after) for seen, after in MOVES[P.TRIPPED].items() if after is not P.TRIPPED}
    assert ways == {(Seen.RESET, P.IDLE)}


def test_the_page_shows_the_tables_as_they_are():
    """Run `python -m monitor.oven.table > deploy/docs/oven-states.md` after a change."""
    assert PAGE.read_text() == table.page()


def test_a_new_oven_is_idle_and_gets_nothing():
    """Unknown = off, before anything was heard."""
    bench = Bench()
    bench.wall_s = WALL_S
    wait(bench, 60.0)
    assert bench.phase is P.IDLE
    assert not bench.permits()
