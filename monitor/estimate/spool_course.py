"""Spools followed through the air that was measured around them, many at a time."""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from monitor.estimate.spool_belief import Belief, Body, stack_states, stacked, unstack
from monitor.physics.constants import Array
from monitor.physics.drying import chamber_humidity
from monitor.physics.isotherm import content_and_slope
from monitor.physics.spool import FAN_M_S, STILL_AIR_M_S, SpoolParameters, SpoolState, step_spool
from monitor.physics.spool_reading import mean_water_content

# Between two half hours the air of a room or box changes so little that they need no shorter parts: against
# parts of a minute less than 0.5 % of what moves.
_SETTLED_S = 37_500.0
_STEADY_C = 35.0
# Between five minutes of an oven: less than 0.7 % of what moves, once it is warm.
_HOT_SETTLED_S = 3_600.0
# Many hours in the same air are one part.
_LONG_S, _LONG_SHARE = 14_400.0, 4.0
_DRIEST, _WETTEST = 0.002, 0.98  # relative humidity; no place of this trade is beyond
_SEALED_M_S = 1e-12  # a bag that lets nothing through


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """The air round a spool over one step."""

    place: str | None
    temperature_c: float
    relative_humidity: float
    relative_humidity_sd: float
    # Where nothing was measured: the driest it may have been. Members stand between this and the humidity
    # above, the nominal one at the wet end.
    driest: float | None = None
    is_sealed: bool = False
    is_heated: bool = False  # a fan moves the air
    is_measured: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """What one step did to the nominal member of a spool."""

    gained_kg: float
    mean_content: float
    heading_for: float  # equilibrium content at the air of the step


def follow(
    bodies: list[Body],
    beliefs: list[Belief],
    around: list[Around],
    dt_s: float,
    in_this_air_s: float = 0.0,
) -> tuple[list[Belief], list[Passage]]:
    """Every spool after a time in its own air; the longer it has been in it, the fewer parts are needed."""
    parameters, state = stacked(bodies, beliefs), stack_states(beliefs)
    humidity = np.stack([_humidity(air, b) for air, b in zip(around, beliefs, strict=True)])
    warmth = np.array([air.temperature_c for air in around])[:, None]
    film = np.array([_film_m_s(air) for air in around])[:, None]
    is_steady = max(air.temperature_c for air in around) < _STEADY_C
    settled_s = _HOT_SETTLED_S
    if is_steady:
        settled_s = _LONG_SHARE * dt_s if dt_s > _LONG_S else _SETTLED_S
    settled_s = max(settled_s, in_this_air_s)
    state, gained_kg = step_spool(parameters, state, dt_s, warmth, humidity, film, settled_s=settled_s)
    content, _ = content_and_slope(parameters.curve, humidity)
    mean = mean_water_content(parameters, state)
    passages = [
        Passage(
            gained_kg=float(gained_kg[number, 0]),
            mean_content=float(mean[number, 0]),
            heading_for=float(mean[number, 0] if air.is_sealed else content[number, 0]),
        )
        for number, air in enumerate(around)
    ]
    return unstack(beliefs, state), passages


def dryer_air(temperature_c: float, room: Around, room_humidity: float | None = None) -> Around:
    """The chamber of a dryer that warms room air and that nobody measured."""
    inlet = room.relative_humidity if room_humidity is None else room_humidity
    inside = float(chamber_humidity(room.temperature_c, inlet, temperature_c))
    return Around(
        place=None,
        temperature_c=temperature_c,
        relative_humidity=inside,
        # Chambers leak, recirculate and run beside their dial: told from outside the air is known to a third.
        relative_humidity_sd=0.35 * inside,
        is_heated=True,
        is_measured=False,
    )


def is_hot(around: Around) -> bool:
    return around.temperature_c > _STEADY_C


def equilibrium(body: Body, belief: Belief, around: Around) -> Array:
    """Water content that each member comes to rest at in an air [kg/kg], shape (13,)."""
    content, _ = content_and_slope(stacked([body], [belief]).curve, _humidity(around, belief)[None, :])
    return np.asarray(content[0])


# Humidities tried at once to find the constant one that did the same as a stay.
_TRIED = np.array([0.002, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.9, 0.98])


def equivalent_humidity(
    body: Body, start: Belief, duration_s: float, temperature_c: float, mean_content: float
) -> float:
    """The constant humidity that leads the nominal member from a state to a mean content (A-41).

    Args:
        body: The spool.
        start: At the stay's beginning.
        duration_s: Length of the stay.
        temperature_c: Its mean temperature.
        mean_content: The nominal mean at its end [kg/kg].
    """
    alike = Belief(
        state=_alike(start.state, len(_TRIED)),
        faster=np.full(len(_TRIED), start.faster[0]),
        thirstier=np.full(len(_TRIED), start.thirstier[0]),
        looser=np.full(len(_TRIED), start.looser[0]),
        air_bias=np.zeros(len(_TRIED)),
    )
    ends = _ends(stacked([body], [alike]), stack_states([alike]), duration_s, temperature_c)
    return float(np.interp(mean_content, ends, _TRIED))


def _ends(parameters: SpoolParameters, state: SpoolState, duration_s: float, warmth_c: float) -> Array:
    state, _ = step_spool(
        parameters, state, duration_s, warmth_c, _TRIED[None, :], settled_s=min(duration_s, _SETTLED_S)
    )
    return np.asarray(mean_water_content(parameters, state)[0])


def _alike(state: SpoolState, count: int) -> SpoolState:
    """The nominal member many times."""
    return replace(
        state,
        outer_m=np.repeat(state.outer_m[:1], count, axis=0),
        vapour_kg_m3=np.repeat(state.vapour_kg_m3[:1], count, axis=0),
        temperature_c=np.repeat(state.temperature_c[:1], count, axis=0),
        strand=np.repeat(state.strand[:1], count, axis=0),
    )


def _humidity(air: Around, belief: Belief) -> Array:
    """What each member takes the humidity for, shape (13,)."""
    if air.driest is None:
        taken = air.relative_humidity + air.relative_humidity_sd * belief.air_bias
    else:
        share = np.array([NormalDist().cdf(float(bias)) for bias in belief.air_bias])
        share[0] = 1.0
        taken = air.driest + (air.relative_humidity - air.driest) * share
    return np.asarray(np.clip(taken, _DRIEST, _WETTEST))


def _film_m_s(air: Around) -> float:
    if air.is_sealed:
        return _SEALED_M_S
    return FAN_M_S if air.is_heated else STILL_AIR_M_S
