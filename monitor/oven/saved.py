"""A state as text and back, for a restart: what was saved is read whole or not at all."""

import json
import types
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, Union, get_args, get_origin, get_type_hints

from monitor.errors import BadSettingsError, StoreError
from monitor.model.cycle import LatchedTrip
from monitor.model.oven import OvenPhase
from monitor.oven.parameters import OvenParameters
from monitor.oven.state import Supervised, begin
from monitor.oven.window import Window

# More permits than the longest cycle takes: numbers given after the last save are never given again.
_SEQ_GAP = 1_000_000
# Members that came later: what an earlier version saved lacks them; their start value is what was so then.
_CAME_LATER = {"Cycle": frozenset({"dry_since_wall_s", "target_pct", "first_m"})}


def forgotten(state: Supervised, parameters: OvenParameters) -> Supervised:
    """Without anything that only the run of the program knew in which it was seen."""
    trip = replace(state.trip, at_mono_s=None) if state.trip else None
    ended = replace(state.ended, ended_mono_s=None) if state.ended else None
    return replace(
        begin(state.oven, parameters),
        phase=state.phase,
        version=state.version,
        cycle=None,
        ended=ended,
        trip=trip,
        safety_trips=state.safety_trips,
        is_out_of_service=state.is_out_of_service,
        is_proof_tested_since_trip=state.is_proof_tested_since_trip,
        answered=state.answered,
        permit_seq=state.permit_seq + _SEQ_GAP,
        cycles=state.cycles,
        trips=state.trips,
        stops=state.stops,
        armed_s=state.armed_s,
        is_arming_void=state.is_arming_void,
    )


def unreadable(oven: str, parameters: OvenParameters, wall_s: float) -> Supervised:
    """For a saved state that cannot be read: a trip may have been latched, so one is (unknown = off)."""
    what = "What was known of this oven could not be read. Look at it before it is used again."
    trip = LatchedTrip(
        id=f"t{int(wall_s):x}-0",
        rule="B-18",
        what=what,
        is_safety=True,
        at_wall_s=wall_s,
        at_mono_s=None,
        fired=(),
    )
    # Its permits of before are not known either; the wall clock is above any count of them.
    return replace(
        begin(oven, parameters), phase=OvenPhase.TRIPPED, trip=trip, permit_seq=max(int(wall_s), 0)
    )


def to_text(state: Supervised) -> str:
    """JSON without the window and the site, which are of this run of the program."""
    return json.dumps(_plain(replace(state, window=Window(), site=None)), separators=(",", ":"))


def from_text(text: str) -> Supervised:
    """What `to_text` wrote; StoreError when it is anything else. `Restarted` must be the next event."""
    try:
        # What was around the oven is told anew; one that another version wrote would lock the oven.
        state = _made(Supervised, json.loads(text) | {"site": None})
    except (BadSettingsError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(f"the saved state of an oven cannot be read: {error}") from None
    assert isinstance(state, Supervised)
    return state


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if is_dataclass(value) and not isinstance(value, type):
        return {spec.name: _plain(getattr(value, spec.name)) for spec in fields(value)}
    if isinstance(value, frozenset):
        return sorted(_plain(item) for item in value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value


def _made(kind: Any, plain: Any) -> Any:
    """A value of a declared type; every member must be there, and none that is not declared."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return None if plain is None else _made(next(k for k in get_args(kind) if k is not type(None)), plain)
    if origin in (tuple, frozenset):
        return _sequence(origin, get_args(kind)[0], plain)
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        if set(hints) - set(plain) - _CAME_LATER.get(kind.__name__, frozenset()) or set(plain) - set(hints):
            raise ValueError(f"{kind.__name__} has other members")
        return kind(**{name: _made(hint, plain[name]) for name, hint in hints.items() if name in plain})
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(plain)
    return _scalar(kind, plain)


def _sequence(origin: Any, kind: Any, plain: Any) -> Any:
    if not isinstance(plain, list):
        raise ValueError("a list is missing")
    return origin(_made(kind, item) for item in plain)


def _scalar(kind: Any, plain: Any) -> Any:
    if kind is float and type(plain) is int:
        return float(plain)
    if type(plain) is not kind:
        raise ValueError(f"{plain!r} is no {kind.__name__}")
    return plain
