"""What a wound spool's state says: moisture by depth, metres that are dry, and what is left after use."""

from dataclasses import replace

import numpy as np

from monitor.physics.constants import Array
from monitor.physics.isotherm import Numbers
from monitor.physics.spool import SpoolParameters, SpoolState, ring_content, spool_rings
from monitor.physics.winding import outer_radius_m, overlap_means, rings_of

OUTER_DEPTH_M = 0.001  # "outer" means this everywhere


def mean_water_content(parameters: SpoolParameters, state: SpoolState) -> Array:
    """Mean moisture of all that is wound [kg/kg], shape (...)."""
    area = spool_rings(parameters, state).sides_m2
    return np.asarray((ring_content(parameters, state) * area).sum(axis=-1) / area.sum(axis=-1))


def outer_water_content(
    parameters: SpoolParameters, state: SpoolState, depth_m: float = OUTER_DEPTH_M
) -> Array:
    """Mean moisture of the outermost windings [kg/kg], shape (...); of all of them where fewer are left."""
    rings = spool_rings(parameters, state)
    inside = np.maximum(state.outer_m - depth_m, rings.edges_m[..., 0])
    edges = np.stack([inside, rings.edges_m[..., -1]], axis=-1)
    return np.asarray(overlap_means(rings, ring_content(parameters, state), edges)[..., 0])


def profile(parameters: SpoolParameters, state: SpoolState) -> tuple[Array, Array]:
    """Depth below the surface [m] and water content [kg/kg], from the surface inwards; shape (..., rings)."""
    rings = spool_rings(parameters, state)
    depth = state.outer_m[..., None] - rings.middles_m
    return depth[..., ::-1], ring_content(parameters, state)[..., ::-1]


def total_length_m(parameters: SpoolParameters, state: SpoolState) -> Array:
    """Filament left on the spool [m], shape (...)."""
    return _length_m(parameters, spool_rings(parameters, state).edges_m[..., 0], state.outer_m)


def wound_kg(parameters: SpoolParameters, state: SpoolState) -> Array:
    """Dry filament left on the spool [kg], shape (...)."""
    section_m2 = np.pi * parameters.strand_m**2
    return np.asarray(total_length_m(parameters, state) * section_m2 * parameters.density_kg_m3)


def dry_length_m(parameters: SpoolParameters, state: SpoolState, limit_content: Numbers) -> Array:
    """Metres from the outside whose moisture is under a limit without a break [m], shape (...).

    Between the middles of two rings moisture is taken as straight over volume; the outermost ring decides
    whether printing can begin at all.
    """
    squares = spool_rings(parameters, state).middles_m[..., ::-1] ** 2
    content = ring_content(parameters, state)[..., ::-1]
    limit = np.asarray(limit_content, dtype=np.float64)[..., None]
    is_wet = content > limit
    first = is_wet.argmax(axis=-1)[..., None]
    before = np.maximum(first - 1, 0)
    dry, wet = (np.take_along_axis(content, ring, axis=-1) for ring in (before, first))
    near, far = (np.take_along_axis(squares, ring, axis=-1) for ring in (before, first))
    share = (limit - dry) / np.where(wet > dry, wet - dry, 1.0)
    crossing_m = np.sqrt(near + np.clip(share, 0.0, 1.0) * (far - near))[..., 0]
    metres = _length_m(parameters, crossing_m, state.outer_m)
    metres = np.where(is_wet[..., 0], 0.0, metres)
    return np.asarray(np.where(is_wet.any(axis=-1), metres, total_length_m(parameters, state)))


def use_filament(parameters: SpoolParameters, state: SpoolState, length_m: Numbers) -> SpoolState:
    """The spool after printing off its outer windings: what is left keeps its profile where it was."""
    left_m = total_length_m(parameters, state) - length_m
    if not ((left_m >= 0.0) & (np.asarray(length_m) >= 0.0)).all():
        raise ValueError("length_m must lie within 0 and the length left")
    strand_m3 = left_m * np.pi * parameters.strand_m**2
    outer = np.minimum(
        outer_radius_m(strand_m3 / parameters.solid_share, parameters.hub_m, parameters.width_m),
        state.outer_m,
    )
    rings = spool_rings(parameters, state)
    edges = rings_of(parameters.hub_m, outer, parameters.width_m, state.vapour_kg_m3.shape[-1]).edges_m
    return replace(
        state,
        outer_m=outer,
        vapour_kg_m3=overlap_means(rings, state.vapour_kg_m3, edges),
        temperature_c=overlap_means(rings, state.temperature_c, edges),
        strand=overlap_means(rings, state.strand, edges),
    )


def full_outer_m(parameters: SpoolParameters, net_kg: Numbers) -> Array:
    """Radius of a winding of that much dry filament [m]."""
    solid_m3 = np.asarray(net_kg) / parameters.density_kg_m3
    return outer_radius_m(solid_m3 / parameters.solid_share, parameters.hub_m, parameters.width_m)


def _length_m(parameters: SpoolParameters, inside_m: Array, outside_m: Array) -> Array:
    wound_m3 = np.pi * (outside_m**2 - inside_m**2) * parameters.width_m
    return np.asarray(wound_m3 * parameters.solid_share / (np.pi * parameters.strand_m**2))
