"""A charge of desiccant: how fast it takes up water, when it is spent, what regeneration leaves in it."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from monitor.model.catalogue import DesiccantKind, HydrateIsotherm
from monitor.physics.constants import GAS_J_MOL_K, NORMAL_C, NORMAL_K, ZERO_C_K, Array
from monitor.physics.isotherm import Numbers, desiccant_humidity, desiccant_loading, loading_and_slope
from monitor.physics.psychrometrics import saturated_vapour_kg_m3, saturation_pressure_pa

# Batch to batch, relative: three measured gels differ by 15 to 20 % (see the head of desiccants.toml).
BATCH_SD = 0.17
USUAL_BEAD_M = 0.003
USUAL_DEPTH_M = 0.010
# Surface diffusivity of water in silica gel, Chihara and Suzuki's constants; handbook, not verified.
_SURFACE_M2_S = 2.54e-4
_SURFACE_J_MOL = 42_000.0
# Voids between beads; vapour diffuses through them at void^1.5 of its rate in free air.
_BED_VOID = 0.4
_FREE_AIR_M2_S = 2.5e-5
# A humidity sensor of the usual grade cannot tell this from nothing (its error is 1.8 %RH and more).
_SENSOR_BLIND = 0.02
# A gauge must keep this much of its scale out of the sensor's blind zone.
_LEAST_SCALE = 0.5


class HumidityTells(StrEnum):
    """What the humidity in a box says of a desiccant's loading."""

    LOADING = "loading"  # it is the fuel gauge
    NEARLY_FULL = "nearly_full"  # nothing until nearly full: count the water let in, and weigh
    PLATEAU = "plateau"  # stands still while one hydrate turns into the next or brine forms
    NOTHING = "nothing"  # a reaction that goes to completion


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """How a charge lies in its box; the air reaches its skin, and its core by way of the skin."""

    kind: DesiccantKind
    dry_kg: Numbers
    skin_share: Numbers = 0.2  # of the dry mass
    skin_rate_1_s: Numbers  # of the beads of the skin
    core_rate_1_s: Numbers  # at which the core follows the skin
    batch_factor: Numbers = 1.0  # this batch's loading over the catalogue's


def bead_rate_1_s(temperature_c: Numbers, bead_m: Numbers = USUAL_BEAD_M) -> Array:
    """Linear driving force of a bead, 15 D / r^2 [1/s]: 3.7 h at 25 °C for 3 mm."""
    kelvin = np.asarray(temperature_c) + ZERO_C_K
    diffusivity_m2_s = _SURFACE_M2_S * np.exp(-_SURFACE_J_MOL / (GAS_J_MOL_K * kelvin))
    return np.asarray(15.0 * diffusivity_m2_s / (np.asarray(bead_m) / 2.0) ** 2)


def bed_settling_s(
    kind: DesiccantKind,
    depth_m: Numbers,
    relative_humidity: Numbers,
    temperature_c: Numbers = NORMAL_C,
) -> Array:
    """Time in which a bed open on one side evens out by 63 % [s]; vapour diffuses and is stored on its way.

    Args:
        kind: Of desiccant; where its isotherm is a step, the whole loading counts as stored on the way.
        depth_m: Of the bed; half its thickness if it is open on both sides [m].
        relative_humidity: About which it evens out, 0 to 1.
        temperature_c: [°C].
    """
    loading, slope = loading_and_slope(kind.isotherm, relative_humidity, temperature_c)
    slope = np.where(slope > 0.0, slope, loading / relative_humidity)
    saturated_kg_m3 = saturated_vapour_kg_m3(np.asarray(temperature_c, dtype=np.float64))
    stored = _BED_VOID + kind.bulk_density_kg_m3 * slope / saturated_kg_m3
    return np.asarray(4.0 * np.asarray(depth_m) ** 2 * stored / (np.pi**2 * _FREE_AIR_M2_S * _BED_VOID**1.5))


def usual_bed(kind: DesiccantKind, dry_kg: float, temperature_c: float = NORMAL_C) -> Bed:
    """A charge of usual beads in a usual bag, settling as it does at 10 %RH."""
    return Bed(
        kind=kind,
        dry_kg=dry_kg,
        skin_rate_1_s=bead_rate_1_s(temperature_c),
        core_rate_1_s=1.0 / bed_settling_s(kind, USUAL_DEPTH_M, 0.10, temperature_c),
    )


def humidity_at_25_c(relative_humidity: Numbers, temperature_c: Numbers) -> Array:
    """The humidity that the same loading holds at 25 °C: rh^(T / 298.15 K).

    >>> round(float(humidity_at_25_c(0.098, 22.0)), 3)
    0.1
    """
    kelvin = np.asarray(temperature_c) + ZERO_C_K
    return np.asarray(np.asarray(relative_humidity, dtype=np.float64) ** (kelvin / NORMAL_K))


def humidity_tells(kind: DesiccantKind, limit_humidity: float) -> HumidityTells:
    """Whether the air's humidity can be read as loading, up to the humidity that the box must hold."""
    if isinstance(kind.isotherm, HydrateIsotherm):
        return HumidityTells.PLATEAU if kind.isotherm.brine_from is not None else HumidityTells.NOTHING
    unseen = desiccant_loading(kind, min(_SENSOR_BLIND, limit_humidity))
    seen_share = 1.0 - float(unseen / desiccant_loading(kind, limit_humidity))
    return HumidityTells.LOADING if seen_share >= _LEAST_SCALE else HumidityTells.NEARLY_FULL


def settled_humidity(
    kind: DesiccantKind, mean_loading: Numbers, temperature_c: Numbers = NORMAL_C, batch_factor: Numbers = 1.0
) -> Array:
    """Humidity to which the whole bed settles, once skin and core are even."""
    return desiccant_humidity(kind, np.asarray(mean_loading) / batch_factor, temperature_c)


def is_spent(
    kind: DesiccantKind,
    mean_loading: Numbers,
    limit_humidity: Numbers,
    temperature_c: Numbers = NORMAL_C,
    batch_factor: Numbers = 1.0,
) -> np.bool_ | np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Spent for this box: the bed settles at or above the limit of the most demanding material inside."""
    return settled_humidity(kind, mean_loading, temperature_c, batch_factor) >= limit_humidity


def used_share(
    kind: DesiccantKind,
    mean_loading: Numbers,
    limit_humidity: Numbers,
    *,
    fresh_loading: Numbers = 0.0,
    temperature_c: Numbers = NORMAL_C,
    batch_factor: Numbers = 1.0,
) -> Array:
    """Share of what is useful here that is used up: 0 as regenerated, 1 as spent for this box."""
    full = desiccant_loading(kind, limit_humidity, temperature_c) * batch_factor
    useful = full - fresh_loading
    share = (np.asarray(mean_loading) - fresh_loading) / np.where(useful > 0.0, useful, 1.0)
    return np.clip(np.where(useful > 0.0, share, 1.0), 0.0, 1.0)


def residual_loading(kind: DesiccantKind, oven_c: Numbers, room_dew_point_c: Numbers) -> Array:
    """Loading at which regeneration in ventilated room air ends, however long it takes [kg/kg]."""
    chamber_pa = saturation_pressure_pa(np.asarray(oven_c, dtype=np.float64))
    room_pa = saturation_pressure_pa(np.asarray(room_dew_point_c, dtype=np.float64))
    return desiccant_loading(kind, np.minimum(room_pa / chamber_pa, 1.0), oven_c)
