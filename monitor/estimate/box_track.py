"""One box followed through its readings: belief, and since when its desiccant is told to be spent."""

import math
import struct
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.box_belief import BoxBelief, first_belief, pack, restarted, square, unpack
from monitor.estimate.box_filter import advance, mean_loading
from monitor.estimate.box_forecast import Quantiles, is_spent
from monitor.estimate.box_lid import BoxReading, Event
from monitor.estimate.box_model import BoxModel

_SPENT = struct.Struct("<d")
_TENTH = 1.2816  # standard deviations from the middle to the outer tenth


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxTrack:
    """Where the estimate of a box has got to."""

    at_s: float
    model: BoxModel
    belief: BoxBelief
    spent_since_s: float | None = None


def begin(model: BoxModel, at_s: float) -> BoxTrack:
    """Before any reading, with what was entered."""
    return BoxTrack(at_s=at_s, model=model, belief=first_belief(model, at_s))


def changed(track: BoxTrack, model: BoxModel, *, is_new_charge: bool) -> BoxTrack:
    """After an entered change of desiccant or of spools; a new charge is not spent."""
    if track.belief.humidity < 0.0:  # nothing was read yet: nothing to keep
        return begin(model, track.at_s)
    belief = restarted(model, track.belief, is_new_charge=is_new_charge)
    return BoxTrack(
        at_s=track.at_s,
        model=model,
        belief=belief,
        spent_since_s=None if is_new_charge else track.spent_since_s,
    )


def step(track: BoxTrack, readings: Iterable[BoxReading], to_s: float) -> tuple[BoxTrack, tuple[Event, ...]]:
    """On through readings up to a time; what was noticed on the way."""
    belief, since_s = track.belief, track.spent_since_s
    noticed: tuple[Event, ...] = ()
    for reading in readings:
        belief, events = advance(track.model, belief, reading)
        noticed += events
        spent = is_spent(belief, was_spent=since_s is not None)
        since_s = (since_s if since_s is not None else reading.time_s) if spent else None
    return replace(track, at_s=to_s, belief=belief, spent_since_s=since_s), noticed


def loading_band(track: BoxTrack) -> Quantiles:
    """Loading of the bed [kg/kg]."""
    size = len(track.belief.state)
    weights = np.zeros(size)
    weights[:2] = mean_loading(np.eye(2))
    loading = float(weights @ np.array(track.belief.state))
    spread = math.sqrt(max(float(weights @ square(track.belief.covariance, size) @ weights), 0.0))
    return Quantiles(
        p10=max(loading - _TENTH * spread, 0.0), p50=max(loading, 0.0), p90=loading + _TENTH * spread
    )


def dump(track: BoxTrack) -> bytes:
    """At most 2 kB; the model is not in it: it follows from what was entered."""
    since_s = math.nan if track.spent_since_s is None else track.spent_since_s
    return _SPENT.pack(since_s) + pack(track.belief)


def load(model: BoxModel, at_s: float, content: bytes) -> BoxTrack:
    """The track again; ValueError where the bytes are none, or of a box with other contents."""
    if len(content) < _SPENT.size:
        raise ValueError("these bytes are no state of a box")
    since_s: float = _SPENT.unpack_from(content)[0]
    belief = unpack(content[_SPENT.size :])
    if len(belief.state) != len(first_belief(model, at_s).state):
        raise ValueError("these bytes are the state of a box with other contents")
    return BoxTrack(
        at_s=at_s, model=model, belief=belief, spent_since_s=None if math.isnan(since_s) else since_s
    )
