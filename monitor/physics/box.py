"""The water balance of a dry box: its air, its leak, its desiccant's skin and core, its spools."""

from dataclasses import dataclass

import numpy as np

from monitor.physics.constants import Array
from monitor.physics.desiccant import Bed
from monitor.physics.isotherm import Numbers, loading_and_slope
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

_ITERATIONS = 160  # some 50 halvings are enough for any jump


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosure:
    """What stays the same; numbers, or arrays over boxes and members that broadcast."""

    volume_m3: Numbers
    leak_m3_s: Numbers  # leak, and permeation through the walls
    bed: Bed | None  # None = no desiccant


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxWater:
    """Where a box's water is, spools apart."""

    vapour_kg_m3: Numbers
    skin_loading: Numbers = 0.0  # [kg/kg]
    core_loading: Numbers = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Uptake:
    """What the bed takes up within a step: kg at an equilibrium loading of 0, and more per unit of it."""

    at_0_kg: Array
    rise_kg: Array


def step_box(
    enclosure: Enclosure,
    water: BoxWater,
    dt_s: float,
    temperature_c: Numbers,
    room_vapour_kg_m3: Numbers,
    spools_kg_s: Numbers = 0.0,
) -> tuple[BoxWater, Array]:
    """One implicit step, stable at any length; no water is made or lost.

    Args:
        enclosure: Box and bed.
        water: At its beginning.
        dt_s: Length, above 0 [s].
        temperature_c: Of the box and all in it, at its end [°C].
        room_vapour_kg_m3: Vapour outside [kg/m3].
        spools_kg_s: Given off by spools, negative when they take up [kg/s]; held over the step.

    Returns:
        The water at its end, and what came in from the room [kg].
    """
    saturated = saturated_vapour_kg_m3(np.asarray(temperature_c, dtype=np.float64))
    own_kg = enclosure.volume_m3 * water.vapour_kg_m3
    offered_kg = own_kg + dt_s * (enclosure.leak_m3_s * room_vapour_kg_m3 + spools_kg_s)
    per_vapour_m3 = np.asarray(enclosure.volume_m3 + dt_s * np.asarray(enclosure.leak_m3_s))
    bed = enclosure.bed
    if bed is None:
        vapour = np.asarray(offered_kg / per_vapour_m3)
        skin, core = np.asarray(water.skin_loading), np.asarray(water.core_loading)
    else:
        uptake = _uptake(bed, water, dt_s)
        vapour = _balanced_vapour(bed, uptake, offered_kg, per_vapour_m3, saturated, temperature_c)
        # What the air did not keep is in the bed: exact, however well the root was found.
        taken_kg = offered_kg - per_vapour_m3 * vapour
        skin, core = _bed_after(bed, water, dt_s, (taken_kg - uptake.at_0_kg) / uptake.rise_kg)
    came_in_kg = dt_s * enclosure.leak_m3_s * (room_vapour_kg_m3 - vapour)
    return BoxWater(vapour_kg_m3=vapour, skin_loading=skin, core_loading=core), np.asarray(came_in_kg)


def box_water_kg(enclosure: Enclosure, water: BoxWater) -> Array:
    """Water in the air and in the bed [kg]."""
    total = np.asarray(enclosure.volume_m3 * water.vapour_kg_m3)
    if enclosure.bed is None:
        return total
    return np.asarray(total + enclosure.bed.dry_kg * mean_loading(enclosure.bed, water))


def mean_loading(bed: Bed, water: BoxWater) -> Array:
    """Loading of the whole bed [kg/kg]: what a scale tells, and what it settles to."""
    return np.asarray(bed.skin_share * water.skin_loading + (1.0 - bed.skin_share) * water.core_loading)


def _bed_after(bed: Bed, water: BoxWater, dt_s: float, equilibrium: Numbers) -> tuple[Array, Array]:
    """Skin and core after an implicit step against an equilibrium loading; both linear in it."""
    to_air = dt_s * np.asarray(bed.skin_rate_1_s)
    to_skin = dt_s * np.asarray(bed.core_rate_1_s)  # seen from the core
    to_core = to_skin * (1.0 - bed.skin_share) / bed.skin_share  # seen from the skin
    given = water.skin_loading + to_core * water.core_loading / (1.0 + to_skin) + to_air * equilibrium
    skin = given / (1.0 + to_air + to_core / (1.0 + to_skin))
    core = (water.core_loading + to_skin * skin) / (1.0 + to_skin)
    return np.asarray(skin), np.asarray(core)


def _uptake(bed: Bed, water: BoxWater, dt_s: float) -> _Uptake:
    before = mean_loading(bed, water)

    def gained_kg(equilibrium: float) -> Array:
        skin, core = _bed_after(bed, water, dt_s, equilibrium)
        after = mean_loading(bed, BoxWater(vapour_kg_m3=0.0, skin_loading=skin, core_loading=core))
        return np.asarray(bed.dry_kg * (after - before))

    at_0_kg = gained_kg(0.0)
    return _Uptake(at_0_kg=at_0_kg, rise_kg=gained_kg(1.0) - at_0_kg)


def _balanced_vapour(
    bed: Bed,
    uptake: _Uptake,
    offered_kg: Numbers,
    per_vapour_m3: Array,
    saturated: Array,
    temperature_c: Numbers,
) -> Array:
    """The vapour at which air and bed together hold what is offered: Newton's method within a bracket.

    The balance rises with vapour, so halving the bracket finds what Newton's method misses, as at the jumps
    of a hydrate: it is done wherever the last step did not halve what is out of balance.
    """
    lowest = np.zeros(np.broadcast(offered_kg, per_vapour_m3, uptake.at_0_kg, saturated).shape)
    highest = np.maximum((offered_kg - uptake.at_0_kg) / per_vapour_m3, 0.0) + lowest
    vapour = 0.5 * highest
    last_kg = np.full_like(vapour, np.inf)
    for _ in range(_ITERATIONS):
        loading, slope = loading_and_slope(bed.kind.isotherm, vapour / saturated, temperature_c)
        equilibrium, steepness = bed.batch_factor * loading, bed.batch_factor * slope / saturated
        excess_kg = per_vapour_m3 * vapour + uptake.at_0_kg + uptake.rise_kg * equilibrium - offered_kg
        is_high = excess_kg > 0.0
        lowest, highest = np.where(is_high, lowest, vapour), np.where(is_high, vapour, highest)
        newton = vapour - excess_kg / (per_vapour_m3 + uptake.rise_kg * steepness)
        is_better = (newton > lowest) & (newton < highest) & (np.abs(excess_kg) < 0.5 * last_kg)
        last_kg = np.abs(excess_kg)
        following = np.where(is_better, newton, 0.5 * (lowest + highest))
        moved = np.abs(following - vapour)
        vapour = following
        if (moved <= 1e-13 * saturated).all():
            break
    return np.asarray(vapour)
