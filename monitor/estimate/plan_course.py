"""The course of a whole load in one chamber: all spools in the same air, which they wet themselves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.estimate.ensemble import AIR, deviations
from monitor.estimate.spool_belief import Belief, Body, stack_states, stacked
from monitor.model.inventory import Oven
from monitor.model.plan import RoomAir
from monitor.physics.constants import Array
from monitor.physics.drying import chamber_humidity
from monitor.physics.isotherm import content_and_slope
from monitor.physics.psychrometrics import vapour_kg_m3
from monitor.physics.spool import (
    FAN_M_S,
    STILL_AIR_M_S,
    SpoolParameters,
    SpoolState,
    ring_content,
    spool_rings,
    step_spool,
)
from monitor.physics.spool_reading import mean_water_content, outer_water_content

LONGEST_H = 120.0
# Looks at the course: close together at first, since drying begins as the root of time.
_FIRST_LOOK_H, _LOOK_GROWTH = 0.1, 1.12
# A room's humidity is known to 2 %RH and changes over the hours; a chamber's temperature to 2 °C, which is a
# tenth of its relative humidity.
_AIR_SD = 0.15
_WETTEST = 0.98  # above it water runs down the walls
_BALANCED = 0.01  # of the water given off in a step
_TRIES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadSpool:
    """One spool to be dried, as it is believed to be."""

    body: Body
    belief: Belief
    dryings: int = 0  # it went through already
    hot_h: float = 0.0
    spoiled: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chamber:
    """The air in the oven: the room's, heated."""

    temperature_c: float
    room: RoomAir
    film_m_s: float
    vent_m3_s: float | None  # None = not known: what the spools give off is taken to leave at once
    volume_m3: float

    def humidity(self) -> Array:
        """Without what the spools give off, by member, shape (13,)."""
        nominal = chamber_humidity(
            self.room.temperature_c, self.room.humidity_pct / 100.0, self.temperature_c
        )
        return np.asarray(np.minimum(nominal * np.exp(_AIR_SD * deviations(AIR)), _WETTEST))


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCourse:
    """Water content [kg/kg] at each look, shape (looks, spools, 13); the first at the start."""

    hours: Array  # shape (looks,)
    mean: Array
    outer: Array
    inner: Array
    judged: Array  # what is held against the target
    states: tuple[SpoolState, ...]  # one a look
    parameters: SpoolParameters
    humidity: Array  # of the chamber, nominal, shape (looks,)


def chamber_of(oven: Oven, temperature_c: float, room: RoomAir) -> Chamber:
    """The chamber of an oven; its air is balanced where its vent and volume are known."""
    knows = oven.vent_m3_h is not None and oven.volume_l is not None
    return Chamber(
        temperature_c=temperature_c,
        room=room,
        film_m_s=STILL_AIR_M_S if oven.fan is False else FAN_M_S,
        vent_m3_s=oven.vent_m3_h / 3600.0 if knows and oven.vent_m3_h is not None else None,
        volume_m3=(oven.volume_l or 0.0) / 1000.0,
    )


def parameters_of(load: Sequence[LoadSpool]) -> SpoolParameters:
    """Of all spools at once, shape (spools, 13)."""
    return stacked([each.body for each in load], [each.belief for each in load])


def floors(load: Sequence[LoadSpool], chamber: Chamber) -> Array:
    """What that air leaves in them, however long [kg/kg], shape (spools, 13)."""
    content, _ = content_and_slope(parameters_of(load).curve, chamber.humidity())
    return np.asarray(content)


def course_of(
    load: Sequence[LoadSpool], chamber: Chamber, aims: Array, first_m: float | None, longest_h: float
) -> LoadCourse:
    """Until every member of every spool is down to its aim (spools, 13) [kg/kg], or for the longest time."""
    parameters, state = parameters_of(load), stack_states([each.belief for each in load])
    humidity = chamber.humidity()
    hours, states, wet = [0.0], [state], [float(humidity[0])]
    judged = [worst_within(parameters, state, first_m)]
    while hours[-1] < longest_h and not (judged[-1] <= aims).all():
        dt_h = min(_FIRST_LOOK_H + (_LOOK_GROWTH - 1.0) * hours[-1], longest_h - hours[-1])
        state, humidity = _stepped(parameters, state, chamber, humidity, 3600.0 * dt_h, 3600.0 * hours[-1])
        hours.append(hours[-1] + dt_h)
        states.append(state)
        wet.append(float(humidity[0]))
        judged.append(worst_within(parameters, state, first_m))
    return LoadCourse(
        hours=np.array(hours),
        mean=np.array([mean_water_content(parameters, each) for each in states]),
        outer=np.array([outer_water_content(parameters, each) for each in states]),
        inner=np.array([ring_content(parameters, each)[..., 0] for each in states]),
        judged=np.array(judged),
        states=tuple(states),
        parameters=parameters,
        humidity=np.array(wet),
    )


def worst_within(parameters: SpoolParameters, state: SpoolState, first_m: float | None) -> Array:
    """Mean or outer windings, whichever is wetter; or the wettest of the metres that come first [kg/kg]."""
    if first_m is None:
        return np.maximum(mean_water_content(parameters, state), outer_water_content(parameters, state))
    rings, content = spool_rings(parameters, state), ring_content(parameters, state)
    section_m2 = np.pi * parameters.strand_m**2
    inside = rings.edges_m[..., -1] ** 2 - first_m * section_m2 / (
        np.pi * parameters.width_m * parameters.solid_share
    )
    squares = np.broadcast_to(rings.middles_m**2, content.shape)
    inside = np.broadcast_to(inside, content.shape[:-1])
    return np.array(
        [
            [_worst(squares[s, m], content[s, m], float(inside[s, m])) for m in range(content.shape[1])]
            for s in range(content.shape[0])
        ]
    )


def first_under_h(course: LoadCourse, aims: Array) -> Array:
    """When each member of each spool is first at its aim [h], shape (spools, 13); infinite = not yet."""
    is_there = course.judged <= aims
    first = is_there.argmax(axis=0)
    before = np.maximum(first - 1, 0)
    high, low = (np.take_along_axis(course.judged, at[None], axis=0)[0] for at in (before, first))
    # What falls towards its floor falls as an exponential: straight over the logarithm.
    low = np.maximum(low, 1e-12)
    drop = np.log(high / low)
    share = np.where(drop > 0.0, np.log(high / aims) / np.where(drop > 0.0, drop, 1.0), 0.0)
    hours: Array = course.hours[before] + np.clip(share, 0.0, 1.0) * (
        course.hours[first] - course.hours[before]
    )
    return np.asarray(np.where(is_there.any(axis=0), np.where(first == 0, 0.0, hours), np.inf))


def _worst(squares: Array, content: Array, inside: float) -> float:
    at_end = float(np.interp(inside, squares, content))
    return max(at_end, float(content[squares >= inside].max(initial=0.0)))


def _stepped(
    parameters: SpoolParameters,
    state: SpoolState,
    chamber: Chamber,
    humidity: Array,
    dt_s: float,
    settled_s: float,
) -> tuple[SpoolState, Array]:
    def after(air: Array) -> tuple[SpoolState, Array]:
        return step_spool(
            parameters, state, dt_s, chamber.temperature_c, air, chamber.film_m_s, settled_s=settled_s
        )

    if chamber.vent_m3_s is None:
        return after(humidity)[0], humidity
    full = float(vapour_kg_m3(chamber.temperature_c, 1.0))
    through = chamber.vent_m3_s * dt_s + chamber.volume_m3  # m3 that the air of the step must fill
    brought = full * (chamber.vent_m3_s * dt_s * chamber.humidity() + chamber.volume_m3 * humidity)

    def settles_at(gained_kg: Array) -> Array:
        """Humidity with which the chamber holds what came in, was there and was given off."""
        return np.asarray(np.clip((brought - gained_kg.sum(axis=0)) / through / full, 0.0, _WETTEST))

    return _balanced(after, settles_at, humidity)


def _balanced(
    after: Callable[[Array], tuple[SpoolState, Array]], settles_at: Callable[[Array], Array], humidity: Array
) -> tuple[SpoolState, Array]:
    """The step whose air is that which its own water makes: by secants, since spools answer almost "
    "straight."""
    low, (state, gained) = humidity, after(humidity)
    off_low = settles_at(gained) - low
    high = low + 0.5 * off_low
    for _ in range(_TRIES):
        state, gained = after(high)
        off_high = settles_at(gained) - high
        if (np.abs(off_high) <= _BALANCED * np.maximum(high, 1e-4)).all():
            break
        bend = off_high - off_low
        stride = np.where(np.abs(bend) > 1e-15, off_high * (high - low) / np.where(bend == 0, 1.0, bend), 0.0)
        low, off_low = high, off_high
        high = np.clip(high - stride, 0.0, _WETTEST)
    return state, high
