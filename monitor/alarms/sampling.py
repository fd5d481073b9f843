"""From samples of a rule to a condition: deadband, k of n, and delays on covered time (A-14, A-16)."""

from dataclasses import replace

from monitor.alarms.events import Sampled
from monitor.alarms.state import AlarmState
from monitor.model.alarm_row import AlarmRow

_MOST_COVERED_S = 300.0  # between two looks; more than that is a gap, whatever the looks say


def delay_bound_s(row: AlarmRow) -> float:
    """A delay may use up no more than a quarter of the time to respond (A-17)."""
    return row.respond_s / 4.0


def faults_of(row: AlarmRow) -> tuple[str, ...]:
    """What is wrong with a row's numbers, a sentence each; a table with any is not used."""
    bound_s = delay_bound_s(row)
    found = []
    for name in ("on_delay_s", "off_delay_s"):
        if getattr(row, name) < 0.0:
            found.append(f"{row.type}: {name} must not be negative")
    if row.on_delay_s > bound_s:
        found.append(
            f"{row.type}: on_delay_s {row.on_delay_s:g} is over a quarter of its time to respond, {bound_s:g}"
        )
    if row.deadband < 0.0:
        found.append(f"{row.type}: deadband must not be negative")
    if not 1 <= row.k <= row.n:
        found.append(f"{row.type}: k must be 1 to n")
    return tuple(found)


def sampled(state: AlarmState, event: Sampled, row: AlarmRow) -> tuple[AlarmState, bool]:
    """The state with the sample taken in, and whether its condition is to turn over now.

    An unknown sample must not come here: it freezes everything, delays included.
    """
    holds = bool(event.holds) or _is_within_deadband(state, event, row)
    window = _window(state, event, holds, row.n)
    if sum(1 for value in window if value is not state.active) < row.k:
        if window == state.window and event.sample == state.sample and state.pending_s is None:
            return state, False
        return replace(state, window=window, sample=event.sample, pending_s=None), False
    covered_s = min(max(event.covered_s, 0.0), _MOST_COVERED_S)
    pending_s = 0.0 if state.pending_s is None else state.pending_s + covered_s
    is_due = pending_s >= (row.off_delay_s if state.active else row.on_delay_s)
    return replace(state, window=window, sample=event.sample, pending_s=pending_s), is_due


def is_at_rest(state: AlarmState) -> bool:
    """Whether a good sample changes nothing."""
    return (
        not state.active
        and state.pending_s is None
        and state.frozen_since_s is None
        and not any(state.window)
    )


def _is_within_deadband(state: AlarmState, event: Sampled, row: AlarmRow) -> bool:
    """Back on the good side, but not by the deadband: one-sided, for high and low limits alike."""
    value, limit = event.said.value, event.said.limit
    if not state.active or value is None or limit is None:
        return False
    return abs(value - limit) < row.deadband


def _window(state: AlarmState, event: Sampled, holds: bool, n: int) -> tuple[bool, ...]:
    """The same reading seen twice is one sample."""
    if event.sample and event.sample == state.sample and state.window:
        return (*state.window[:-1], holds)[-n:]
    return (*state.window, holds)[-n:]
