"""A spool in hot air and after it: the chamber's humidity, its floor, the course, the re-wetting."""

from dataclasses import dataclass

import numpy as np

from monitor.model.catalogue import Material
from monitor.physics.constants import VAPOUR_J_KG_K, ZERO_C_K, Array
from monitor.physics.isotherm import Numbers, polymer_content
from monitor.physics.psychrometrics import saturation_pressure_pa
from monitor.physics.spool import SpoolParameters, SpoolState, step_spool
from monitor.physics.spool_reading import mean_water_content, outer_water_content


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """Constant air round a spool; numbers, or arrays over an ensemble."""

    temperature_c: Numbers
    relative_humidity: Numbers
    film_m_s: Numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Moisture at each time; shape (times, ...), the first at the start."""

    time_s: Array  # shape (times,)
    mean: Array
    outer: Array  # outermost millimetre
    inner: Array  # innermost ring
    warmth_c: Array  # innermost ring: drying counts once the core is warm
    end: SpoolState


def chamber_humidity(
    room_c: Numbers,
    room_humidity: Numbers,
    chamber_c: Numbers,
    *,
    released_kg_s: Numbers = 0.0,
    vent_m3_s: Numbers | None = None,
) -> Array:
    """Relative humidity of a chamber that draws in room air and vents it; at most 1.

    Warming at constant pressure leaves the vapour pressure as it was; what the spools give off comes on
    top over the vent's flow, which is counted at the chamber's temperature.

    Args:
        room_c: Of the air drawn in [°C].
        room_humidity: Of the air drawn in, 0 to 1.
        chamber_c: [°C].
        released_kg_s: Water given off inside [kg/s].
        vent_m3_s: Flow out of the chamber [m3/s]; needed where something is given off.
    """
    vapour_pa = room_humidity * saturation_pressure_pa(_array(room_c))
    if vent_m3_s is not None:
        kelvin = _array(chamber_c) + ZERO_C_K
        vapour_pa = vapour_pa + released_kg_s / _array(vent_m3_s) * VAPOUR_J_KG_K * kelvin
    elif np.any(np.asarray(released_kg_s) != 0.0):
        raise ValueError("vent_m3_s is needed where water is given off")
    return np.asarray(np.minimum(vapour_pa / saturation_pressure_pa(_array(chamber_c)), 1.0))


def attainable_floor(material: Material, chamber_relative_humidity: Numbers) -> Array:
    """Water content below which no cycle gets in that air, however long [kg/kg]."""
    return polymer_content(material, chamber_relative_humidity)


def course(
    parameters: SpoolParameters, state: SpoolState, air: Air, duration_s: float, step_s: float = 600.0
) -> Course:
    """The spools' moisture over a time in constant air, noted every `step_s`."""
    count = max(round(duration_s / step_s), 1)
    times = np.linspace(0.0, duration_s, count + 1)
    states = [state]
    for _ in range(count):
        state, _ = step_spool(
            parameters,
            state,
            duration_s / count,
            air.temperature_c,
            air.relative_humidity,
            air.film_m_s,
        )
        states.append(state)
    contents = [each.strand[..., 0, :] @ parameters.modes.weights for each in states]
    return Course(
        time_s=times,
        mean=np.stack([mean_water_content(parameters, each) for each in states]),
        outer=np.stack([outer_water_content(parameters, each) for each in states]),
        inner=np.stack(contents),
        warmth_c=np.stack([each.temperature_c[..., 0] for each in states]),
        end=state,
    )


def time_below_s(time_s: Array, moisture: Array, limit_content: Numbers) -> Array:
    """When a course first is at or below a limit [s]; infinite where it never is.

    Args:
        time_s: Shape (times,).
        moisture: Mean, outer or inner moisture of a course, shape (times, ...).
        limit_content: [kg/kg].
    """
    return _first_s(time_s, moisture - np.asarray(limit_content))


def time_above_s(time_s: Array, moisture: Array, limit_content: Numbers) -> Array:
    """When a course first is at or above a limit [s]: the re-wet deadline; infinite where it never is."""
    return _first_s(time_s, np.asarray(limit_content) - moisture)


def _first_s(time_s: Array, excess: Array) -> Array:
    """First time at which a falling excess reaches 0, on straight lines between the times."""
    is_there = excess <= 0.0
    first = is_there.argmax(axis=0)
    before = np.maximum(first - 1, 0)
    high, low = (np.take_along_axis(excess, at[None, ...], axis=0)[0] for at in (before, first))
    share = np.where(first > 0, high / np.where(high > low, high - low, 1.0), 0.0)
    reached = time_s[before] + share * (time_s[first] - time_s[before])
    return np.asarray(np.where(is_there.any(axis=0), reached, np.inf))


def _array(value: Numbers) -> Array:
    return np.asarray(value, dtype=np.float64)
