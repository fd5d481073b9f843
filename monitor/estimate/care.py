"""What a care card computes: how thirsty and how fast a material, what air it needs, how dry heat gets it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from monitor.library import limit_relative_humidity, polymer_content, polymer_humidity
from monitor.model.catalogue import Material
from monitor.physics.constants import Array
from monitor.physics.drying import attainable_floor, chamber_humidity
from monitor.physics.spool import even_spool, spool_parameters, step_spool
from monitor.physics.spool_reading import full_outer_m, mean_water_content, outer_water_content

# The card's room, and a muggy one in which the same oven gets filament less dry.
ROOM_C, ROOM_HUMIDITY = 23.0, 0.5
MUGGY_C, MUGGY_HUMIDITY = 28.0, 0.7
SPOOL_KG, STRAND_M = 1.0, 1.75e-3
# Points of a spool's uptake: close together at first, until the slowest polyamide has settled.
_TIMES_S = np.concatenate([[0.0], np.geomspace(900.0, 120 * 86_400.0, 40)])
_DRIEST = 1e-9  # kg/kg: a spool of exactly nothing has no humidity
_HUMIDITIES = tuple(step / 40 for step in range(41))
_CURVE_POINTS = 32
_SETTLED = 0.95  # of what it heads for: there the picture ends


@dataclass(frozen=True, slots=True, kw_only=True)
class UptakePoint:
    """A spool's moisture some time after it was quite dry."""

    time_s: float
    mean: float  # [kg/kg]
    outer: float  # outermost millimetre [kg/kg]


@dataclass(frozen=True, slots=True, kw_only=True)
class Uptake:
    """A full spool, quite dry at first, left in the card's room; good within a factor of 2 to 3."""

    half_s: float  # until it holds half of what it heads for
    outer_over_s: float | None  # until its outermost millimetre passes the limit; None = it never does
    mean_over_s: float | None  # and all of it, on average
    curve: tuple[UptakePoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """The computed part of a care card."""

    heading_for: float  # water content in the card's room [kg/kg]
    limit_humidity: float  # in drier air it stays under its limit, 0 to 1; 1 = in any air
    looser_limit_humidity: float | None
    floor: float  # what merely heated air of the card's room leaves, however long [kg/kg]
    muggy_floor: float  # and that of the muggy room
    isotherm: tuple[tuple[float, float], ...]  # (relative humidity, water content [kg/kg])
    uptake: Uptake


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    """Materials of one computation; two with the same figures of movement are the same."""

    traits: tuple[object, ...]
    materials: tuple[Material, ...] = field(compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Courses:
    """Moisture of all spools of a batch, shape (times, materials) [kg/kg]."""

    mean: Array
    outer: Array


def cares(materials: Mapping[str, Material]) -> dict[str, Care]:
    """By key, for a table or a card; a fraction of a second at first, then next to nothing."""
    listed = tuple(materials.values())
    traits = tuple((m.isotherm, m.density_kg_m3, m.diffusivity_m2_s, m.activation_j_mol) for m in listed)
    courses = _courses(_Batch(traits=traits, materials=listed))
    return {
        key: _care(material, courses.mean[:, number], courses.outer[:, number])
        for number, (key, material) in enumerate(materials.items())
    }


@lru_cache(maxsize=4)
def _courses(batch: _Batch) -> _Courses:
    parameters = spool_parameters(batch.materials, diameter_m=STRAND_M)
    dry = np.full(len(batch.materials), _DRIEST)
    state = even_spool(parameters, full_outer_m(parameters, SPOOL_KG), ROOM_C, water_content=dry)
    mean, outer = [dry], [dry]
    for start_s, dt_s in zip(_TIMES_S, np.diff(_TIMES_S), strict=False):
        state, _ = step_spool(parameters, state, float(dt_s), ROOM_C, ROOM_HUMIDITY, settled_s=float(start_s))
        mean.append(mean_water_content(parameters, state))
        outer.append(outer_water_content(parameters, state))
    return _Courses(mean=np.array(mean), outer=np.array(outer))


def _care(material: Material, mean: Array, outer: Array) -> Care:
    looser = material.looser_limit_content
    return Care(
        heading_for=polymer_content(material, ROOM_HUMIDITY),
        limit_humidity=limit_relative_humidity(material),
        looser_limit_humidity=None if looser is None else polymer_humidity(material, looser),
        floor=_floor(material, ROOM_C, ROOM_HUMIDITY),
        muggy_floor=_floor(material, MUGGY_C, MUGGY_HUMIDITY),
        isotherm=tuple((humidity, polymer_content(material, humidity)) for humidity in _HUMIDITIES),
        uptake=_uptake(material, mean, outer),
    )


def _floor(material: Material, room_c: float, room_humidity: float) -> float:
    return float(attainable_floor(material, chamber_humidity(room_c, room_humidity, material.dry_c)))


def _uptake(material: Material, mean: Array, outer: Array) -> Uptake:
    goal = polymer_content(material, ROOM_HUMIDITY)
    end_s = _reached_s(mean, _SETTLED * goal) or float(_TIMES_S[-1])
    # What heads for just its limit, as POM, would pass it by a rounding.
    limit = material.limit_content if goal > 1.001 * material.limit_content else np.inf
    return Uptake(
        half_s=_reached_s(mean, 0.5 * goal) or float(_TIMES_S[-1]),
        outer_over_s=_reached_s(outer, limit),
        mean_over_s=_reached_s(mean, limit),
        curve=tuple(
            UptakePoint(time_s=float(at_s), mean=_at(mean, at_s), outer=_at(outer, at_s))
            for at_s in np.linspace(0.0, end_s, _CURVE_POINTS + 1)
        ),
    )


def _reached_s(contents: Array, wanted: float) -> float | None:
    """When a rising course first holds that much [s]: straight over the root of time, as uptake begins."""
    if contents[-1] < wanted:
        return None
    after = int((contents >= wanted).argmax())
    if after == 0:
        return 0.0
    low, high = contents[after - 1], contents[after]
    start, end = np.sqrt(_TIMES_S[after - 1 : after + 1])
    return float((start + (wanted - low) / (high - low) * (end - start)) ** 2)


def _at(contents: Array, time_s: float) -> float:
    return float(np.interp(np.sqrt(time_s), np.sqrt(_TIMES_S), contents))
