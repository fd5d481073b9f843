"""How a box's water moves over one stretch of time, for many states at once: columns are states."""

import math
from collections.abc import Sequence

import numpy as np

from monitor.estimate.box_belief import (
    AIR,
    CAPACITY,
    CORE,
    INWARD,
    LEAK,
    LUMPS,
    OFFSET,
    PACE,
    SKIN,
    SWING,
    WANDER,
    WANDER_S,
)
from monitor.estimate.box_model import BoxModel
from monitor.physics.constants import Array
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

# The outer fifth of a bed answers to the air, the rest follows it.
SKIN_SHARE = 0.2
# Vapour in a pack and diffusion in a strand both quicken by some 6 % a kelvin.
_QUICKENS_1_K = 0.06
_CATALOGUE_C = 23.0
_LEAST_LOADING = 1e-5
_TAKING_STEP_S = 600.0


def moved(
    model: BoxModel,
    states: Array,
    dt_s: float,
    temperature_c: float,
    room_kg_m3: float,
    before_c: float | None = None,
    slow_c: float | None = None,
) -> tuple[Array, Array]:
    """The states after `dt_s`, and the humidity that the sensor should then read.

    Args:
        model: Of the box.
        states: Shape (rows, columns); see the rows' names.
        dt_s: Up to an hour or two [s].
        temperature_c: Of the box [°C].
        room_kg_m3: Vapour outside [kg/m3].
        before_c: Of the box before; warmer air holds more of the bed's water. None = as it is now [°C].
        slow_c: Its mean over a day, from which SWING tells how far the air follows; None = as it is [°C].
    """
    after = states.copy()
    saturated = saturated_vapour_kg_m3(temperature_c)
    felt_c = _felt_c(states, temperature_c, slow_c)
    over_skin = model.tables.humidity(states[SKIN], felt_c)
    influx_kg_s = np.exp(states[LEAK]) * (room_kg_m3 - over_skin * saturated)
    if before_c is not None and before_c != temperature_c:
        felt_before_c = _felt_c(states, before_c, slow_c)
        cooler = model.tables.humidity(states[SKIN], felt_before_c) * saturated_vapour_kg_m3(before_c)
        influx_kg_s = influx_kg_s - model.volume_m3 * (over_skin * saturated - cooler) / dt_s
    if model.tables.spools:
        kept, given_kg = lumps_after(model, states, over_skin, dt_s, temperature_c)
        after[LUMPS:] = kept
        influx_kg_s = influx_kg_s + given_kg / dt_s
    bed_kg = model.dry_kg * np.exp(states[CAPACITY])
    skin = states[SKIN] + influx_kg_s * dt_s / (SKIN_SHARE * bed_kg)
    skin, core = _evened(skin, states[CORE], np.exp(states[INWARD]), dt_s)
    after[SKIN], after[CORE] = np.maximum(skin, _LEAST_LOADING), np.maximum(core, _LEAST_LOADING)
    above_skin = influx_kg_s / (np.exp(states[AIR]) * saturated)
    air = model.tables.humidity(after[SKIN], felt_c) + above_skin
    after[WANDER] = states[WANDER] * math.exp(-dt_s / WANDER_S)
    return after, air + states[OFFSET] + after[WANDER]


def taken_up_kg(
    model: BoxModel,
    state: Sequence[float],
    into_bed_m3_s: float,
    air_kg_m3: float,
    temperature_c: float,
    span_s: float,
) -> float:
    """What a bed takes from air that stays as it is: the less, the fuller its skin becomes [kg].

    Args:
        model: Of the box.
        state: One column of states; see the rows' names.
        into_bed_m3_s: Air that gives the skin all its surplus [m3/s].
        air_kg_m3: Its vapour [kg/m3].
        temperature_c: Of air and bed [°C].
        span_s: How long [s].
    """
    saturated = saturated_vapour_kg_m3(temperature_c)
    skin_kg, inward_1_s = SKIN_SHARE * model.dry_kg * math.exp(state[CAPACITY]), np.exp([state[INWARD]])
    skin, core, taken_kg = np.array([state[SKIN]]), np.array([state[CORE]]), 0.0
    steps = math.ceil(span_s / _TAKING_STEP_S)
    for _ in range(steps):
        dt_s = span_s / steps
        over_skin = float(model.tables.humidity(skin, temperature_c)[0])
        came_kg = into_bed_m3_s * max(air_kg_m3 - over_skin * saturated, 0.0) * dt_s
        taken_kg += came_kg
        skin, core = _evened(skin + came_kg / skin_kg, core, inward_1_s, dt_s)
    return taken_kg


def _evened(skin: Array, core: Array, inward_1_s: Array, dt_s: float) -> tuple[Array, Array]:
    """Loadings of both parts after what sank in; their mean stays."""
    mean = SKIN_SHARE * skin + (1.0 - SKIN_SHARE) * core
    apart = (skin - core) * np.exp(-inward_1_s * dt_s / SKIN_SHARE)
    return mean + (1.0 - SKIN_SHARE) * apart, mean - SKIN_SHARE * apart


def _felt_c(states: Array, temperature_c: float, slow_c: float | None) -> Array:
    slow = temperature_c if slow_c is None else slow_c
    return np.asarray(slow + np.exp(states[SWING]) * (temperature_c - slow))


def lumps_after(
    model: BoxModel, states: Array, humidity: Array, dt_s: float, temperature_c: float
) -> tuple[Array, Array]:
    """Content of every lump, and what all together gave off [kg]."""
    pace_1_s = np.exp(_QUICKENS_1_K * (temperature_c - _CATALOGUE_C) - states[PACE]) / model.tables.lump_s
    lumps = states[LUMPS:]
    change = (model.tables.contents(humidity) - lumps) * -np.expm1(-dt_s * pace_1_s)
    return lumps + change, -(model.tables.lump_kg * change).sum(axis=0)
