"""A bench in each of the nine states, reached by what really leads there."""

import copy
from functools import cache

from support.oven_pair import Bench

from monitor.model.oven import OvenPhase


@cache
def _reached(phase: OvenPhase) -> Bench:
    return _WAYS[phase]()


def bench_in(phase: OvenPhase) -> Bench:
    """A fresh copy each time."""
    bench = copy.deepcopy(_reached(phase))
    assert bench.phase is phase
    return bench


def _idle() -> Bench:
    bench = Bench()
    bench.run(30.0)
    return bench


def _preheat() -> Bench:
    bench = Bench().ready()
    assert bench.start().problem is None
    return bench


def _heating() -> Bench:
    bench = _preheat()
    bench.run(60.0)
    return bench


def _drying() -> Bench:
    return Bench().drying()


def _hold() -> Bench:
    bench = _heating()
    bench.controller.door_open = True
    bench.run(4.0)
    return bench


def _cooling() -> Bench:
    bench = bench_in(OvenPhase.DRYING)
    bench.stop()
    bench.run(10.0)
    return bench


def _done() -> Bench:
    bench = bench_in(OvenPhase.COOLING)
    bench.until(OvenPhase.DONE, at_most_s=3600.0)
    bench.run(10.0)
    return bench


def _tripped() -> Bench:
    bench = _heating()
    bench.controller.faults.dead = (0,)
    bench.run(10.0)
    bench.controller.faults.dead = ()
    bench.run(20.0)
    return bench


_WAYS = {
    OvenPhase.IDLE: _idle,
    OvenPhase.ARMED: lambda: Bench().ready(),
    OvenPhase.PREHEAT_CHECK: _preheat,
    OvenPhase.HEATING: _heating,
    OvenPhase.DRYING: _drying,
    OvenPhase.HOLD: _hold,
    OvenPhase.COOLING: _cooling,
    OvenPhase.DONE: _done,
    OvenPhase.TRIPPED: _tripped,
}
