"""A wound spool: vapour finds its way between the windings, strands take it up, the pack warms.

Per ring the vapour in the voids is stepped implicitly and the strands' modes exactly, together: Newton's
method finds the vapour with which both agree, and because the strands are moved by the very straight line
that the last solve used, no water is made or lost at any step. Long parts of a step are extrapolated to the
second order. All of it broadcasts over leading axes: spools, members of an ensemble. The latent heat of the
water given off is left out: at the peak of drying a wet polyamide's surface is a few kelvin cooler than
computed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.model.catalogue import Material
from monitor.physics.constants import ZERO_C_K, Array
from monitor.physics.diffusion import StrandModes, approach, cylinder_modes, diffusivity_m2_s
from monitor.physics.isotherm import (
    Numbers,
    PolymerCurve,
    content_and_slope,
    curve_humidity,
    polymer_curve,
)
from monitor.physics.parts import parts_of
from monitor.physics.psychrometrics import saturated_vapour_kg_m3, vapour_kg_m3
from monitor.physics.winding import (
    USUAL_DIFFUSION,
    USUAL_HUB_M,
    USUAL_SOLID,
    USUAL_WIDTH_M,
    Rings,
    links,
    rings_of,
    solve_rings,
    to_air,
)

USUAL_RINGS = 16
STILL_AIR_M_S = 3e-3
FAN_M_S = 1e-2
# Vapour in free air [m2/s] at 25 °C, and how it rises with the temperature in kelvin.
_FREE_AIR_M2_S, _FREE_AIR_K, _FREE_AIR_POWER = 2.5e-5, 298.15, 1.75
# Lewis's analogy: heat over vapour transfer, rho cp Le^(2/3) of air [J/m3/K]; and radiation [W/m2/K].
_LEWIS_J_M3_K, _RADIATION_W_M2_K = 1080.0, 5.5
# A pack warms faster than it dries: heat takes its own, shorter steps.
_HEAT_STEPS = 4
# Relative humidity; Newton squares what is wrong, so the last step leaves far less than it went.
_CLOSE_ENOUGH = 1e-7
_ITERATIONS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolParameters:
    """What stays the same; every array has the spools' shape, or broadcasts to it."""

    hub_m: Array  # radius
    width_m: Array
    solid_share: Array
    diffusion_share: Array  # of vapour in the pack, over free air's
    open_share: Array  # of the flanges; 0 = closed
    density_kg_m3: Array
    strand_m: Array  # radius
    diffusivity_m2_s: Array  # at 23 °C
    activation_j_mol: Array
    curve: PolymerCurve
    modes: StrandModes
    conductivity_w_m_k: Array
    heat_capacity_j_kg_k: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolState:
    """What changes; rings from the hub outwards."""

    outer_m: Array  # radius of what is still wound, shape (...)
    vapour_kg_m3: Array  # in the voids, shape (..., rings)
    temperature_c: Array  # shape (..., rings)
    strand: Array  # modes of water content [kg/kg], shape (..., rings, modes)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ways:
    """How vapour and strands move while the pack is as warm as it is; shape (..., rings)."""

    saturated_kg_m3: Array
    strand_rate_1_s: Array  # D / radius^2, shape (..., rings or 1)
    link_m3_s: Array
    air_m3_s: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heat:
    """How heat moves, whatever the step's length; shape (..., rings)."""

    link_w_k: Array
    air_w_k: Array
    stored_j_k: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pack:
    """What stays the same over all parts of a step; shape (..., rings), or it broadcasts to it."""

    parameters: SpoolParameters
    curve: PolymerCurve
    rings: Rings
    void_m3: Array
    dry_kg: Array
    film_m_s: Array
    air_c: Array
    air_kg_m3: Array
    heat: _Heat | None  # none where it is as warm as the air
    settled: _Ways  # once it is


def spool_parameters(
    materials: Material | Sequence[Material],
    *,
    diameter_m: Numbers,
    hub_m: Numbers = USUAL_HUB_M,
    width_m: Numbers = USUAL_WIDTH_M,
    solid_share: Numbers = USUAL_SOLID,
    diffusion_share: Numbers = USUAL_DIFFUSION,
    open_share: Numbers = 0.0,
    modes: StrandModes | None = None,
) -> SpoolParameters:
    """One spool of a material, or a batch of many; `hub_m` is a radius, `diameter_m` the strand's."""
    listed = [materials] if isinstance(materials, Material) else list(materials)

    def column(member: str) -> Array:
        values = np.array([getattr(material, member) for material in listed], dtype=np.float64)
        return np.asarray(values[0]) if isinstance(materials, Material) else values

    isotherms = [material.isotherm for material in listed]
    return SpoolParameters(
        hub_m=_array(hub_m),
        width_m=_array(width_m),
        solid_share=_array(solid_share),
        diffusion_share=_array(diffusion_share),
        open_share=_array(open_share),
        density_kg_m3=column("density_kg_m3"),
        strand_m=_array(diameter_m) / 2.0,
        diffusivity_m2_s=column("diffusivity_m2_s"),
        activation_j_mol=column("activation_j_mol"),
        curve=polymer_curve(isotherms[0] if isinstance(materials, Material) else isotherms),
        modes=cylinder_modes() if modes is None else modes,
        conductivity_w_m_k=_array(0.15),  # 0.12 to 0.2 across the lay, handbook
        heat_capacity_j_kg_k=_array(1500.0),  # 1200 to 1800, handbook
    )


def even_spool(
    parameters: SpoolParameters,
    outer_m: Numbers,
    temperature_c: Numbers,
    *,
    relative_humidity: Numbers | None = None,
    water_content: Numbers | None = None,
    rings: int = USUAL_RINGS,
) -> SpoolState:
    """A spool in equilibrium throughout, by the humidity it has settled to or by its water content."""
    if relative_humidity is None:
        if water_content is None:
            raise ValueError("either relative_humidity or water_content is needed")
        relative_humidity = curve_humidity(parameters.curve, water_content)
    return settled_spool(
        parameters, outer_m, temperature_c, np.asarray(relative_humidity)[..., None] + np.zeros(rings)
    )


def settled_spool(
    parameters: SpoolParameters, outer_m: Numbers, temperature_c: Numbers, humidity: Array
) -> SpoolState:
    """A spool whose rings have each settled to a humidity, shape (..., rings)."""
    content, _ = content_and_slope(_by_ring(parameters.curve), humidity)
    shape = np.broadcast_shapes(
        content.shape, _array(outer_m).shape + (1,), _array(temperature_c).shape + (1,)
    )
    warmth = np.broadcast_to(_array(temperature_c)[..., None], shape).copy()
    modes = len(parameters.modes.weights)
    return SpoolState(
        outer_m=np.broadcast_to(_array(outer_m), shape[:-1]).copy(),
        vapour_kg_m3=np.broadcast_to(humidity, shape) * saturated_vapour_kg_m3(warmth),
        temperature_c=warmth,
        strand=np.repeat(np.broadcast_to(content, shape)[..., None], modes, axis=-1),
    )


def step_spool(
    parameters: SpoolParameters,
    state: SpoolState,
    dt_s: float,
    air_temperature_c: Numbers,
    air_relative_humidity: Numbers,
    film_m_s: Numbers = STILL_AIR_M_S,
    *,
    settled_s: float = 0.0,
) -> tuple[SpoolState, Array]:
    """The spools after a time in constant air, and the water that came in by their surface [kg].

    Any length is stable and keeps its water; a long one is cut into parts, shorter ones first. Who goes on
    in the air of the step before says by `settled_s` for how long it has been so, which saves short parts.

    Refuses (ValueError) a step that is not above 0 [s] and air that cannot be: temperature [°C], relative
    humidity 0 to 1; the film is the transfer of vapour from the surface to the air [m/s].
    """
    if not dt_s > 0.0:
        raise ValueError(f"dt_s must be above 0, not {dt_s}")
    pack = _pack(parameters, state, air_temperature_c, air_relative_humidity, film_m_s)
    gained_kg = np.zeros(state.outer_m.shape)
    hottest_c = max(float(pack.air_c.max()), float(state.temperature_c.max()))
    for part_s, is_long in parts_of(dt_s, hottest_c, settled_s):
        state, part_kg = (_second_order if is_long else _first_order)(pack, state, part_s)
        gained_kg = gained_kg + part_kg
    return state, gained_kg


def spool_rings(parameters: SpoolParameters, state: SpoolState) -> Rings:
    """The grid that a state lives on."""
    return rings_of(parameters.hub_m, state.outer_m, parameters.width_m, state.vapour_kg_m3.shape[-1])


def ring_content(parameters: SpoolParameters, state: SpoolState) -> Array:
    """Water content of every ring [kg/kg], shape (..., rings)."""
    return np.asarray(state.strand @ parameters.modes.weights)


def spool_water_kg(parameters: SpoolParameters, state: SpoolState) -> Array:
    """All water in each spool, vapour in its voids included [kg], shape (...)."""
    volume_m3, solid = _volumes_m3(spool_rings(parameters, state)), parameters.solid_share[..., None]
    dry_kg_m3 = solid * parameters.density_kg_m3[..., None]
    held = dry_kg_m3 * ring_content(parameters, state) + (1.0 - solid) * state.vapour_kg_m3
    return np.asarray((volume_m3 * held).sum(axis=-1))


def _pack(
    parameters: SpoolParameters, state: SpoolState, air_c: Numbers, humidity: Numbers, film_m_s: Numbers
) -> _Pack:
    rings, solid = spool_rings(parameters, state), parameters.solid_share[..., None]
    warmth, film = _array(air_c)[..., None], _array(film_m_s)[..., None]
    air_kg_m3 = vapour_kg_m3(warmth, _array(humidity)[..., None])
    shape = np.broadcast_shapes(state.vapour_kg_m3.shape, air_kg_m3.shape, film.shape)
    return _Pack(
        parameters=parameters,
        curve=_by_ring(parameters.curve),
        rings=rings,
        void_m3=(1.0 - solid) * _volumes_m3(rings),
        dry_kg=solid * parameters.density_kg_m3[..., None] * _volumes_m3(rings),
        film_m_s=film,
        air_c=warmth,
        air_kg_m3=air_kg_m3,
        heat=None if _is_as_warm(state, warmth) else _heat(parameters, rings, film),
        settled=_ways(parameters, rings, warmth, shape, film),
    )


def _is_as_warm(state: SpoolState, air_c: Array) -> bool:
    return bool((np.abs(state.temperature_c - air_c) < 1e-9).all())


def _second_order(pack: _Pack, state: SpoolState, dt_s: float) -> tuple[SpoolState, Array]:
    """One part by local extrapolation: two halves are wrong by half as much as the whole: it is taken off.

    After Richardson; Hairer & Wanner, Solving Ordinary Differential Equations II, IV.9. A spool of which
    less than no water would be left somewhere keeps its two halves; either way none is made or lost.
    """
    lengths_s = dt_s * np.array([1.0, 0.5]).reshape(2, *[1] * pack.settled.air_m3_s.ndim)
    both, both_kg = _first_order(pack, state, lengths_s)  # the whole and the first half, in one go
    warmth = np.broadcast_to(both.temperature_c, both.vapour_kg_m3.shape)
    whole, half = (
        replace(state, vapour_kg_m3=vapour, temperature_c=warm, strand=strand)
        for vapour, warm, strand in zip(both.vapour_kg_m3, warmth, both.strand, strict=True)
    )
    fine, second_kg = _first_order(pack, half, dt_s / 2.0, whole.vapour_kg_m3)
    fine_kg, is_wet = both_kg[1] + second_kg, 2.0 * fine.strand >= whole.strand
    is_sound = np.asarray((2.0 * fine.vapour_kg_m3 >= whole.vapour_kg_m3) & is_wet.all(axis=-1)).all(axis=-1)
    share = np.asarray(is_sound, dtype=np.float64)
    better = replace(
        fine,
        vapour_kg_m3=fine.vapour_kg_m3 + share[..., None] * (fine.vapour_kg_m3 - whole.vapour_kg_m3),
        temperature_c=2.0 * fine.temperature_c - whole.temperature_c,
        strand=fine.strand + share[..., None, None] * (fine.strand - whole.strand),
    )
    return better, fine_kg + share * (fine_kg - both_kg[0])


def _first_order(
    pack: _Pack, state: SpoolState, dt_s: Numbers, near_kg_m3: Array | None = None
) -> tuple[SpoolState, Array]:
    """One implicit part: warmth, then moisture as it moves by then; several lengths are a leading axis."""
    ways = pack.settled
    if pack.heat is not None and not _is_as_warm(state, pack.air_c):
        state = _warmed(pack.heat, state, dt_s, pack.air_c)
        # Where a spool is evenly warm one ring's rates stand for all.
        warmth = state.temperature_c
        is_even = bool((np.ptp(warmth, axis=-1) < 1e-9).all())
        ways = _ways(
            pack.parameters, pack.rings, warmth[..., :1] if is_even else warmth, warmth.shape, pack.film_m_s
        )
    return _moistened(pack, ways, state, dt_s, near_kg_m3)


def _heat(parameters: SpoolParameters, rings: Rings, film: Array) -> _Heat:
    conductivity = np.broadcast_to(parameters.conductivity_w_m_k[..., None], rings.sides_m2.shape)
    heat_j_m3_k = parameters.solid_share * parameters.density_kg_m3 * parameters.heat_capacity_j_kg_k
    return _Heat(
        link_w_k=links(rings, conductivity),
        air_w_k=to_air(
            rings, conductivity, _LEWIS_J_M3_K * film + _RADIATION_W_M2_K, parameters.open_share[..., None]
        ),
        stored_j_k=np.asarray(heat_j_m3_k)[..., None] * _volumes_m3(rings),
    )


def _warmed(heat: _Heat, state: SpoolState, dt_s: Numbers, air_c: Array) -> SpoolState:
    """Conducts heat, implicitly; the vapour stays where it is."""
    stored = heat.stored_j_k * _HEAT_STEPS / dt_s
    diagonal = _diagonal(stored + heat.air_w_k, heat.link_w_k)
    warmth, from_air = state.temperature_c, heat.air_w_k * air_c
    for _ in range(_HEAT_STEPS):
        warmth = solve_rings(diagonal, heat.link_w_k, stored * warmth + from_air)
    return replace(state, temperature_c=warmth)


def _ways(
    parameters: SpoolParameters, rings: Rings, warmth: Array, shape: tuple[int, ...], film: Array
) -> _Ways:
    free_m2_s = _FREE_AIR_M2_S * ((warmth + ZERO_C_K) / _FREE_AIR_K) ** _FREE_AIR_POWER
    through = np.broadcast_to(parameters.diffusion_share[..., None] * free_m2_s, shape)
    inner_m2_s = diffusivity_m2_s(
        parameters.diffusivity_m2_s[..., None], parameters.activation_j_mol[..., None], warmth
    )
    return _Ways(
        saturated_kg_m3=np.broadcast_to(saturated_vapour_kg_m3(warmth), shape),
        strand_rate_1_s=inner_m2_s / parameters.strand_m[..., None] ** 2,
        link_m3_s=links(rings, through),
        air_m3_s=to_air(rings, through, film, parameters.open_share[..., None]),
    )


def _moistened(
    pack: _Pack, ways: _Ways, state: SpoolState, dt_s: Numbers, near_kg_m3: Array | None
) -> tuple[SpoolState, Array]:
    """Vapour and strands after one implicit part, and the water that came in [kg]."""
    modes, saturated = pack.parameters.modes, ways.saturated_kg_m3
    void_m3_s, dry_kg_s = pack.void_m3 / dt_s, pack.dry_kg / dt_s
    went = approach(modes, ways.strand_rate_1_s, dt_s)
    weighted = went * modes.weights
    answering_kg_s = dry_kg_s * weighted.sum(axis=-1)
    coming = (
        void_m3_s * state.vapour_kg_m3
        + dry_kg_s * np.einsum("...m,...m->...", weighted, state.strand)
        + ways.air_m3_s * pack.air_kg_m3
    )
    passing = _diagonal(void_m3_s + ways.air_m3_s, ways.link_m3_s)
    # Where nothing better is known the air that was between the windings is soonest right.
    humidity = np.clip((state.vapour_kg_m3 if near_kg_m3 is None else near_kg_m3) / saturated, 0.0, 1.2)
    for _ in range(_ITERATIONS):
        content, slope = content_and_slope(pack.curve, humidity)
        vapour = solve_rings(
            passing + answering_kg_s * slope / saturated,
            ways.link_m3_s,
            coming - answering_kg_s * (content - slope * humidity),
        )
        fresh = vapour / saturated
        surface = content + slope * (fresh - humidity)
        is_close = np.abs(fresh - humidity).max() < _CLOSE_ENOUGH
        humidity = np.maximum(fresh, 0.0)
        if is_close:
            break
    strand = state.strand + went * (surface[..., None] - state.strand)
    gained_kg = (dt_s * ways.air_m3_s * (pack.air_kg_m3 - vapour)).sum(axis=-1)
    return replace(state, vapour_kg_m3=vapour, strand=strand), gained_kg


def _diagonal(own: Array, link: Array) -> Array:
    diagonal = own.copy()
    diagonal[..., :-1] += link
    diagonal[..., 1:] += link
    return diagonal


def _volumes_m3(rings: Rings) -> Array:
    return np.asarray(rings.sides_m2 * rings.width_m)


def _by_ring(curve: PolymerCurve) -> PolymerCurve:
    return PolymerCurve(
        scale=curve.scale[..., None],
        exponent=curve.exponent[..., None],
        linear=curve.linear[..., None],
        quadratic=curve.quadratic[..., None],
        is_straight=curve.is_straight,
    )


def _array(value: Numbers) -> Array:
    return np.asarray(value, dtype=np.float64)
