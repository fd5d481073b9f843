"""Spools and beds of desiccant as porous bodies, with properties a little off the catalogue."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.library import Library
from monitor.model.inventory import Charge, Spool
from monitor.physics.isotherm import desiccant_loading, polymer_content
from monitor.simulator.bodies import KNOT_HUMIDITY, NODES, Array, Body, single_mode, strand_modes
from monitor.simulator.scenarios import BoxTruth

# Physics handbook: still air at a surface, and through the fabric of a bag.
STILL_FILM_M_S = 3e-3
_BAG_FILM_M_S = 2.2e-3
# How strongly nodes crowd towards the surface: 1 would space them evenly.
_CROWDING = 1.6
_BED_VOIDS = 0.4
# Still-air vapour diffusion through a bed of beads: voids to the power of 1.5.
_BED_DIFFUSION = _BED_VOIDS**1.5
_BEAD_ACTIVATION_J_MOL = 42_000.0
_BEAD_DIFFUSIVITY_M2_S = 2.54e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """Geometry of what is wound on a reel."""

    hub_m: float  # radius
    outer_m: float  # radius
    width_m: float
    solid: float = 0.65
    diffusion: float = 0.21  # of free air's diffusivity, within the pack
    flanges_open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """The filament itself."""

    density_kg_m3: float
    weights: Array
    rates_1_s: Array
    activation_j_mol: float
    content: Array


def wound_body(winding: Winding, strand: Strand, *, box: int, start_humidity: Array, film_m_s: float) -> Body:
    """A wound spool: rings from the hub outwards, thin ones at the surface."""
    thickness_m = winding.outer_m - winding.hub_m
    edges_m = winding.outer_m - thickness_m * np.linspace(1.0, 0.0, NODES + 1) ** _CROWDING
    middles_m = (edges_m[1:] + edges_m[:-1]) / 2.0
    faces_m2 = np.pi * np.diff(edges_m**2)
    volumes_m3 = faces_m2 * winding.width_m
    through_m = 2.0 * np.pi * winding.width_m * winding.diffusion
    air_m, film = np.zeros(NODES), np.zeros(NODES)
    if winding.flanges_open:
        # Spoked sides: from the middle of the width out of either side, half of it covered by spokes.
        air_m += 0.5 * 2.0 * faces_m2 * winding.diffusion / (winding.width_m / 4.0)
        film += 0.5 * 2.0 * faces_m2 * film_m_s
    air_m[-1] += through_m / np.log(winding.outer_m / middles_m[-1])
    film[-1] += 2.0 * np.pi * winding.outer_m * winding.width_m * film_m_s
    return Body(
        box=box,
        void_m3=(1.0 - winding.solid) * volumes_m3,
        dry_kg=winding.solid * strand.density_kg_m3 * volumes_m3,
        link_m=through_m / np.log(middles_m[1:] / middles_m[:-1]),
        air_m=air_m,
        air_film_m3_s=film,
        weights=strand.weights,
        rates_1_s=strand.rates_1_s,
        activation_j_mol=strand.activation_j_mol,
        content=strand.content,
        warms_as_potential=False,
        start_humidity=start_humidity,
    )


def bed_of_beads(
    *,
    box: int,
    dry_kg: float,
    bulk_density_kg_m3: float,
    depth_m: float,
    bead_m: float,
    content: Array,
    humidity: float,
) -> Body:
    """A bag of beads, open on one side: layers from its bottom to its skin."""
    edges_m = depth_m * (1.0 - np.linspace(1.0, 0.0, NODES + 1) ** _CROWDING)
    middles_m = (edges_m[1:] + edges_m[:-1]) / 2.0
    area_m2 = dry_kg / (bulk_density_kg_m3 * depth_m)
    air_m, film = np.zeros(NODES), np.zeros(NODES)
    air_m[-1] = area_m2 * _BED_DIFFUSION / (depth_m - middles_m[-1])
    film[-1] = area_m2 * _BAG_FILM_M_S
    weights, rates_1_s = single_mode(bead_rate_1_s(bead_m))
    return Body(
        box=box,
        void_m3=_BED_VOIDS * area_m2 * np.diff(edges_m),
        dry_kg=dry_kg * np.diff(edges_m) / depth_m,
        link_m=area_m2 * _BED_DIFFUSION / np.diff(middles_m),
        air_m=air_m,
        air_film_m3_s=film,
        weights=weights,
        rates_1_s=rates_1_s,
        activation_j_mol=_BEAD_ACTIVATION_J_MOL,
        content=content,
        warms_as_potential=True,
        start_humidity=np.full(NODES, humidity),
    )


def bead_rate_1_s(bead_m: float) -> float:
    """Linear driving force of one bead at 23 °C: 15 D / r² with D after Chihara and Suzuki."""
    diffusivity_m2_s = _BEAD_DIFFUSIVITY_M2_S * math.exp(-_BEAD_ACTIVATION_J_MOL / (8.314462 * 296.15))
    return 15.0 * diffusivity_m2_s / (bead_m / 2.0) ** 2


def tabulated(isotherm: Callable[[Array], Array], *, factor: float = 1.0, tilt: float = 0.0) -> Array:
    """An isotherm at the knots, `factor` off the catalogue, and by `tilt` more so at high humidity."""
    exact = isotherm(np.clip(KNOT_HUMIDITY, 1e-9, 0.995))
    return np.asarray(exact * factor * (1.0 + tilt * (KNOT_HUMIDITY - 0.3)))


def humidity_at(content: Array, wanted: float) -> float:
    """The humidity at which a tabulated isotherm reaches a water content."""
    return float(np.interp(wanted, content, KNOT_HUMIDITY))


def strand_of(
    *,
    density_kg_m3: float,
    diameter_mm: float,
    diffusivity_m2_s: float,
    activation_j_mol: float,
    content: Array,
) -> Strand:
    weights, rates_1_s = strand_modes(diameter_mm / 2000.0, diffusivity_m2_s)
    return Strand(
        density_kg_m3=density_kg_m3,
        weights=weights,
        rates_1_s=rates_1_s,
        activation_j_mol=activation_j_mol,
        content=content,
    )


def dice_for(seed: int, key: str) -> random.Random:
    return random.Random(f"{seed}/stock/{key}")


def spool_body(spool: Spool, library: Library, *, box: int, seed: int) -> Body:
    """An inventory's spool as it really is."""
    material = library.material(spool.material)
    dice = dice_for(seed, spool.key)
    content = tabulated(
        lambda humidity: polymer_content(material, humidity),
        factor=1.0 + dice.uniform(-0.08, 0.08),
        tilt=dice.uniform(-0.05, 0.05),
    )
    strand = strand_of(
        density_kg_m3=material.density_kg_m3,
        diameter_mm=spool.diameter_mm,
        diffusivity_m2_s=material.diffusivity_m2_s * dice.lognormvariate(0.0, 0.3),
        activation_j_mol=material.activation_j_mol,
        content=content,
    )
    start = _start_humidity(spool, content, dice)
    winding = _winding(spool, material.density_kg_m3, dice)
    return wound_body(winding, strand, box=box, start_humidity=start, film_m_s=STILL_FILM_M_S)


def bed_body(charge: Charge, truth: BoxTruth, library: Library, *, box: int, seed: int) -> Body:
    """A box's charge of desiccant as it really is; batches scatter by some 10 %."""
    kind = library.desiccant(charge.kind)
    dice = dice_for(seed, f"bed/{box}")
    content = tabulated(
        lambda humidity: desiccant_loading(kind, humidity),
        factor=min(max(dice.gauss(1.0, 0.08), 0.85), 1.15),
    )
    return bed_of_beads(
        box=box,
        dry_kg=charge.dry_g / 1000.0,
        bulk_density_kg_m3=kind.bulk_density_kg_m3,
        depth_m=truth.bed_depth_m,
        bead_m=truth.bead_m,
        content=content,
        humidity=truth.bed_humidity,
    )


# Humidity to which a spool of each history has settled, lowest and highest.
_STARTS = {"sealed_dry": (0.06, 0.14), "sealed": (0.15, 0.35), "open": (0.30, 0.45), "unknown": (0.15, 0.45)}


def _start_humidity(spool: Spool, content: Array, dice: random.Random) -> Array:
    """From the surface inwards the story is never quite even: an opened spool is wetter outside."""
    if spool.start_pct is not None:
        settled = humidity_at(content, spool.start_pct / 100.0 * dice.uniform(0.95, 1.05))
        return np.full(NODES, settled)
    lowest, highest = _STARTS[spool.start or "unknown"]
    settled = dice.uniform(lowest, highest)
    outside = min(settled + (0.05 if spool.start == "open" else 0.0), 0.6)
    return settled + (outside - settled) * np.linspace(0.0, 1.0, NODES) ** 3


def _winding(spool: Spool, density_kg_m3: float, dice: random.Random) -> Winding:
    solid = 0.65 + dice.uniform(-0.03, 0.03)
    hub_m = spool.hub_mm / 2000.0 if spool.hub_mm else 0.045
    width_m = spool.width_mm / 1000.0 if spool.width_mm else 0.060
    wound_m3 = (spool.net_g - spool.used_g) / 1000.0 / density_kg_m3 / solid
    return Winding(
        hub_m=hub_m,
        outer_m=math.sqrt(hub_m**2 + wound_m3 / (math.pi * width_m)),
        width_m=width_m,
        solid=solid,
        diffusion=0.21 * dice.uniform(0.85, 1.15),
        flanges_open=spool.flanges == "open",
    )
