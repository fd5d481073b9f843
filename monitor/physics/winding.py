"""The rings of a wound spool: where they lie, how they conduct, and how a profile moves to new rings.

Rings run from the hub outwards and crowd towards the surface, where moisture changes first. All arrays
have the spools' axes in front and the rings as the last axis.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from monitor.physics.constants import Array
from monitor.physics.isotherm import Numbers

# Where no geometry is known: radius of the hub, width between the flanges, winding's solid share.
USUAL_HUB_M = 0.045
USUAL_WIDTH_M = 0.060
USUAL_SOLID = 0.65
# Vapour diffusion in the pack over that in free air, hexagonal lay at that solid share (Perrins,
# McKenzie & McPhedran 1979); (1 - solid) / tortuosity in general.
USUAL_DIFFUSION = 0.21
# Spoked flanges: about half of the side is open (an assumption: reels differ).
OPEN_FLANGES = 0.5
# 1 would space the rings evenly; at 1.7 the outermost of 16 on a full spool is half a millimetre thick.
_CROWDING = 1.7
# What is left when all is used up, so that rings never vanish.
_LEAST_THICKNESS_M = 1e-5
# Up to so many spools the whole matrix is quicker. Below the thirteen members of a followed spool: those go
# one and the same way, alone or with others, and so give the same figures to the digit.
_FEW = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """The grid; shape (..., rings), edges one more."""

    edges_m: Array
    middles_m: Array  # of gravity: where a straight profile has its mean over the ring
    sides_m2: Array  # area of one side of each ring
    width_m: Array  # shape (..., 1)


def rings_of(hub_m: Numbers, outer_m: Numbers, width_m: Numbers, count: int) -> Rings:
    """The rings between the hub and what is still wound."""
    hub, outer = np.asarray(hub_m)[..., None], np.asarray(outer_m)[..., None]
    edges = outer - (outer - hub) * _crowded(count)
    square = edges * edges
    cube = square * edges
    squares = square[..., 1:] - square[..., :-1]
    return Rings(
        edges_m=edges,
        middles_m=2.0 / 3.0 * (cube[..., 1:] - cube[..., :-1]) / squares,
        sides_m2=np.pi * squares,
        width_m=np.asarray(width_m)[..., None],
    )


@cache
def _crowded(count: int) -> Array:
    """How far each edge is from the surface, as a share of what is wound."""
    return np.asarray(np.linspace(1.0, 0.0, count + 1) ** _CROWDING)


def outer_radius_m(volume_m3: Numbers, hub_m: Numbers, width_m: Numbers) -> Array:
    """Radius at which a winding of that volume, voids included, ends [m]."""
    outer = np.sqrt(np.asarray(hub_m) ** 2 + np.asarray(volume_m3) / (np.pi * np.asarray(width_m)))
    return np.asarray(np.maximum(outer, np.asarray(hub_m) + _LEAST_THICKNESS_M))


def links(rings: Rings, conductivity: Array) -> Array:
    """Conductance between neighbouring rings, conductivity times metres; shape (..., rings - 1)."""
    inner = np.log(rings.edges_m[..., 1:-1] / rings.middles_m[..., :-1])
    outer = np.log(rings.middles_m[..., 1:] / rings.edges_m[..., 1:-1])
    resistance = inner / conductivity[..., :-1] + outer / conductivity[..., 1:]
    return np.asarray(2.0 * np.pi * rings.width_m / resistance)


def to_air(rings: Rings, conductivity: Array, film: Array, open_share: Array) -> Array:
    """Conductance from each ring to the air: by the rim from the outermost, by open sides from all.

    Sideways a ring gives off what it holds as a slab between two open faces: the mean over half the
    width lies a third of it away from the face (a quasi-steady parabola).
    """
    outer_m = rings.edges_m[..., -1]
    half_ring = outer_m * np.log(outer_m / rings.middles_m[..., -1]) / conductivity[..., -1]
    rim = 2.0 * np.pi * outer_m * rings.width_m[..., 0] / (1.0 / film[..., 0] + half_ring)
    sideways = 1.0 / film + rings.width_m / (6.0 * conductivity)
    conductance = 2.0 * open_share * rings.sides_m2 / sideways
    conductance[..., -1] += rim
    return np.asarray(conductance)


def solve_rings(diagonal: Array, link: Array, known: Array) -> Array:
    """Solves diagonal x - link (neighbours) = known for every spool; shape (..., rings)."""
    if diagonal[..., 0].size <= _FEW:
        return _solved_whole(diagonal, link, known)
    return _solved_row_by_row(diagonal, link, known)


def _solved_whole(diagonal: Array, link: Array, known: Array) -> Array:
    """By the full matrix: a few calls, where rows one by one would spend their time on calling."""
    rows = np.arange(diagonal.shape[-1])
    matrix = np.zeros((*diagonal.shape, len(rows)))
    matrix[..., rows, rows] = diagonal
    matrix[..., rows[:-1], rows[1:]] = matrix[..., rows[1:], rows[:-1]] = -link
    return np.asarray(np.linalg.solve(matrix, known[..., None])[..., 0])


def _solved_row_by_row(diagonal: Array, link: Array, known: Array) -> Array:
    """From both ends at once to the middle, where two rows are left, and back: half as many calls."""
    rows, spools = diagonal.shape[-1], diagonal[..., 0].size
    half, odd = (rows + 1) // 2, rows % 2
    # Rings first, so that each row is one stretch of memory; an odd count is made even by a row of its own.
    ends = np.empty((3, half, 2, spools))
    ends[0, 0, 1], ends[1:, 0, 1], ends[2, -1] = 1.0, 0.0, 0.0
    every_link = np.broadcast_to(link, (*diagonal.shape[:-1], rows - 1))
    for place, values in enumerate((diagonal, known, every_link)):
        from_hub = values.reshape(spools, values.shape[-1]).T
        ends[place, : len(from_hub), 0] = from_hub[:half]
        ends[place, odd:, 1] = from_hub[::-1][: rows - half]
    d, x, k = map(list, ends)
    for row in range(1, half):
        factor = k[row - 1] / d[row - 1]
        x[row] += factor * x[row - 1]
        factor *= k[row - 1]
        d[row] -= factor
    pair = x[-1] * d[-1][::-1] + k[-1] * x[-1][::-1]
    x[-1][:] = pair / (d[-1][0] * d[-1][1] - k[-1][0] ** 2)
    for row in range(half - 2, -1, -1):
        k[row] *= x[row + 1]
        x[row] += k[row]
        x[row] /= d[row]
    found = np.empty((rows, spools))
    found[:half], found[half:] = ends[1, :, 0], ends[1, odd:, 1][::-1]
    return found.T.reshape(diagonal.shape)


def overlap_means(rings: Rings, values: Array, edges_m: Array) -> Array:
    """Means of a profile over other rings, which lie within these; what lies outside them is left out.

    Within a ring the profile is straight, its slope limited so that no new extreme appears; volume goes
    with the square of the radius.

    Args:
        rings: The rings of the profile.
        values: Means over them, shape (..., rings) or (..., rings, modes).
        edges_m: Of the other rings, shape (..., others + 1).

    Returns:
        Shape (..., others) or (..., others, modes).
    """
    has_modes = values.ndim > rings.sides_m2.ndim
    profile = values if has_modes else values[..., None]
    edge, other = rings.edges_m**2, edges_m**2
    low = np.maximum(other[..., :-1, None], edge[..., None, :-1])
    high = np.minimum(other[..., 1:, None], edge[..., None, 1:])
    share = np.maximum(high - low, 0.0) / (other[..., 1:] - other[..., :-1])[..., None]
    middle = 0.5 * (edge[..., 1:] + edge[..., :-1])
    lever = share * (0.5 * (high + low) - middle[..., None, :])
    means = share @ profile + lever @ _limited_slopes(middle, profile)
    return np.asarray(means if has_modes else means[..., 0])


def _limited_slopes(middle: Array, profile: Array) -> Array:
    """Slope within each ring: the lesser of its two neighbours' where both agree in sign, else level."""
    rise = np.diff(profile, axis=-2) / np.diff(middle, axis=-1)[..., None]
    inner, outer = rise[..., :-1, :], rise[..., 1:, :]
    lesser = np.where(np.abs(inner) < np.abs(outer), inner, outer)
    slopes = np.zeros_like(profile)
    slopes[..., 1:-1, :] = np.where(inner * outer > 0.0, lesser, 0.0)
    return slopes
