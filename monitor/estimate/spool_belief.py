"""What is believed of one spool's water: an ensemble of wound spools, each with its own figures."""

import math
import zlib
from dataclasses import dataclass, replace

import numpy as np

from monitor.errors import StoreError
from monitor.estimate.ensemble import AIR, COUNT, DIFFUSIVITY, ISOTHERM, PACK, START, deviations, log_sd
from monitor.model.catalogue import Material, Reel
from monitor.model.inventory import Spool
from monitor.physics.constants import Array
from monitor.physics.diffusion import cylinder_modes
from monitor.physics.isotherm import PolymerCurve, content_and_slope, curve_humidity, polymer_curve
from monitor.physics.psychrometrics import saturated_vapour_kg_m3
from monitor.physics.spool import (
    USUAL_RINGS,
    SpoolParameters,
    SpoolState,
    settled_spool,
)
from monitor.physics.spool_reading import full_outer_m, use_filament, wound_kg
from monitor.physics.winding import OPEN_FLANGES, USUAL_DIFFUSION, USUAL_HUB_M, USUAL_SOLID, USUAL_WIDTH_M

ROOM_C = 23.0
PACK_SD = 0.2  # tortuosity 1.6 to 3 around the usual: no measurement inside a wound reel is known
# Relative humidity that a spool of each history has settled to: usual, and the standard deviation of its
# logarithm. A maker's seal does not mean dry (handbook practice; no statistics are known); what nobody knows
# is taken for worse.
STARTS: dict[str, tuple[float, float]] = {
    "sealed_dry": (0.12, 0.45),
    "sealed": (0.25, 0.40),
    "open": (0.42, 0.22),
    "unknown": (0.50, 0.35),
}
_STATED_SD = 0.05  # of a start that was stated as a figure
_WETTEST = 0.95
_MODES = len(cylinder_modes().weights)
_LEAST_KG = 1e-9
_ALL = 1.0 - 1e-9  # of what is left: a spool is never quite empty


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What stays the same of a spool."""

    spool: Spool
    material: Material
    reel: Reel


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """Members along the first axis, the nominal one first; a weighing moves their figures, too."""

    state: SpoolState
    faster: Array  # logarithm of the diffusivity over the catalogue's, shape (13,)
    thirstier: Array  # of the isotherm
    looser: Array  # of vapour's way through the pack
    air_bias: Array  # standard deviations by which each member thinks its sensor wrong
    # What the scale shows less the water: dry filament and reel, by member; None before the first weighing.
    offset_g: Array | None = None
    offset_var_g2: float = 0.0


def first_belief(body: Body) -> Belief:
    """At the moment that the inventory's `start` speaks of."""
    spool, material = body.spool, body.material
    blank = Belief(
        state=SpoolState(
            outer_m=np.zeros(COUNT),
            vapour_kg_m3=np.zeros((COUNT, USUAL_RINGS)),
            temperature_c=np.zeros((COUNT, USUAL_RINGS)),
            strand=np.zeros((COUNT, USUAL_RINGS, _MODES)),
        ),
        faster=log_sd(material.diffusivity_band_m2_s) * deviations(DIFFUSIVITY),
        thirstier=log_sd(material.content_50_band) * deviations(ISOTHERM),
        looser=PACK_SD * deviations(PACK),
        air_bias=deviations(AIR),
    )
    parameters = stacked([body], [blank])
    settled = np.repeat(_start_humidity(body, parameters)[..., None], USUAL_RINGS, axis=-1)
    outer_m = full_outer_m(parameters, spool.net_g / 1000.0)
    return replace(blank, state=_row(settled_spool(parameters, outer_m, ROOM_C, settled), 0))


def stacked(bodies: list[Body], beliefs: list[Belief]) -> SpoolParameters:
    """The parameters of many spools at once, shape (spools, 13)."""
    materials = [body.material for body in bodies]
    spools = [body.spool for body in bodies]

    def column(values: list[float]) -> Array:
        return np.array(values, dtype=np.float64)[:, None]

    def spread(logs: list[Array]) -> Array:
        return np.exp(np.stack(logs))

    curve = polymer_curve([material.isotherm for material in materials])
    ones = np.ones((len(bodies), 1))
    return SpoolParameters(
        hub_m=column([s.hub_mm / 2000.0 if s.hub_mm else USUAL_HUB_M for s in spools]),
        width_m=column([s.width_mm / 1000.0 if s.width_mm else USUAL_WIDTH_M for s in spools]),
        solid_share=column([_solid_share(body) for body in bodies]),
        diffusion_share=USUAL_DIFFUSION * spread([b.looser for b in beliefs]),
        open_share=column([OPEN_FLANGES if s.flanges == "open" else 0.0 for s in spools]),
        density_kg_m3=column([m.density_kg_m3 for m in materials]),
        strand_m=column([s.diameter_mm / 2000.0 for s in spools]),
        diffusivity_m2_s=column([m.diffusivity_m2_s for m in materials])
        * spread([b.faster for b in beliefs]),
        activation_j_mol=column([m.activation_j_mol for m in materials]),
        curve=PolymerCurve(
            scale=curve.scale[:, None] * spread([b.thirstier for b in beliefs]),
            exponent=curve.exponent[:, None],
            linear=curve.linear[:, None],
            quadratic=curve.quadratic[:, None],
            is_straight=curve.is_straight,
        ),
        modes=cylinder_modes(),
        conductivity_w_m_k=0.15 * ones,
        heat_capacity_j_kg_k=1500.0 * ones,
    )


def stack_states(beliefs: list[Belief]) -> SpoolState:
    """Their states as one, shape (spools, 13, ...)."""
    states = [belief.state for belief in beliefs]
    return SpoolState(
        outer_m=np.stack([s.outer_m for s in states]),
        vapour_kg_m3=np.stack([s.vapour_kg_m3 for s in states]),
        temperature_c=np.stack([s.temperature_c for s in states]),
        strand=np.stack([s.strand for s in states]),
    )


def unstack(beliefs: list[Belief], state: SpoolState) -> list[Belief]:
    """The beliefs with their part of a stacked state."""
    return [replace(belief, state=_row(state, number)) for number, belief in enumerate(beliefs)]


def print_off(body: Body, belief: Belief, grams: float) -> Belief:
    """Filament used from the outside; at most what is left."""
    parameters, state = stacked([body], [belief]), stack_states([belief])
    left_kg = wound_kg(parameters, state)
    share = np.clip(grams / 1000.0 / np.maximum(left_kg, _LEAST_KG), 0.0, _ALL)
    section_m2 = np.pi * parameters.strand_m**2 * parameters.density_kg_m3
    used = use_filament(parameters, state, share * left_kg / section_m2)
    offset = None if belief.offset_g is None else belief.offset_g - grams
    # Grams of filament are told to some five per cent: so much is not held against the water later.
    variance = belief.offset_var_g2 + (0.05 * grams) ** 2
    return replace(belief, state=_row(used, 0), offset_g=offset, offset_var_g2=variance)


def scaled(body: Body, belief: Belief, factor: Array, thirstier: Array, faster: Array) -> Belief:
    """Every member's water times a factor, shape (13,), in vapour equilibrium, with new figures."""
    fresh = replace(belief, thirstier=thirstier, faster=faster)
    parameters = stacked([body], [fresh])
    strand = belief.state.strand * factor[:, None, None]
    mean = strand @ parameters.modes.weights
    curve = replace(
        parameters.curve,
        scale=parameters.curve.scale[0][:, None],
        exponent=parameters.curve.exponent[0][:, None],
        linear=parameters.curve.linear[0][:, None],
        quadratic=parameters.curve.quadratic[0][:, None],
    )
    # The air between the windings holds a thousandth of the strands' water: its settling costs nothing.
    vapour = curve_humidity(curve, mean) * saturated_vapour_kg_m3(belief.state.temperature_c)
    return replace(fresh, state=replace(belief.state, strand=strand, vapour_kg_m3=vapour))


def pack(belief: Belief) -> bytes:
    """As stored: about 7 kB. What is unpacked again is rounded to seven digits."""
    state = belief.state
    parts = [
        state.outer_m,
        state.vapour_kg_m3,
        state.temperature_c,
        state.strand,
        belief.faster,
        belief.thirstier,
        belief.looser,
        belief.air_bias,
        np.array([math.nan if belief.offset_g is None else 1.0, belief.offset_var_g2]),
        np.zeros(COUNT) if belief.offset_g is None else belief.offset_g,
    ]
    flat = np.concatenate([np.ravel(part) for part in parts]).astype("<f4")
    return zlib.compress(flat.tobytes(), 6)


def unpack(content: bytes) -> Belief:
    """The belief that was packed; StoreError where it is of another make."""
    shapes = [(COUNT,), (COUNT, USUAL_RINGS), (COUNT, USUAL_RINGS), (COUNT, USUAL_RINGS, _MODES)]
    shapes += [(COUNT,)] * 4 + [(2,), (COUNT,)]
    flat = np.frombuffer(zlib.decompress(content), dtype="<f4").astype(np.float64)
    if len(flat) != sum(math.prod(shape) for shape in shapes):
        raise StoreError("a stored spool state is of another version")
    parts, at = [], 0
    for shape in shapes:
        size = math.prod(shape)
        parts.append(flat[at : at + size].reshape(shape))
        at += size
    outer_m, vapour, warmth, strand, faster, thirstier, looser, air_bias, scale, offset = parts
    return Belief(
        state=SpoolState(outer_m=outer_m, vapour_kg_m3=vapour, temperature_c=warmth, strand=strand),
        faster=faster,
        thirstier=thirstier,
        looser=looser,
        air_bias=air_bias,
        offset_g=None if math.isnan(scale[0]) else offset,
        offset_var_g2=float(scale[1]),
    )


def _start_humidity(body: Body, parameters: SpoolParameters) -> Array:
    """Relative humidity each member has settled to at the start, shape (1, 13)."""
    spool, drawn = body.spool, deviations(START)
    if spool.start_pct is None:
        usual, sd = STARTS[spool.start or "unknown"]
        return np.asarray(np.minimum(usual * np.exp(sd * drawn), _WETTEST))[None, :]
    stated = spool.start_pct / 100.0 * np.exp(_STATED_SD * drawn)
    saturated, _ = content_and_slope(parameters.curve, 1.0)
    return np.asarray(curve_humidity(parameters.curve, np.minimum(stated[None, :], saturated)))


def _solid_share(body: Body) -> float:
    """How closely it is wound: from its outer diameter where that is known, else the usual."""
    spool = body.spool
    if spool.outer_mm is None:
        return USUAL_SOLID
    hub_m = spool.hub_mm / 2000.0 if spool.hub_mm else USUAL_HUB_M
    width_m = spool.width_mm / 1000.0 if spool.width_mm else USUAL_WIDTH_M
    wound_m3 = math.pi * ((spool.outer_mm / 2000.0) ** 2 - hub_m**2) * width_m
    if wound_m3 <= 0.0:
        return USUAL_SOLID
    return min(max(spool.net_g / 1000.0 / body.material.density_kg_m3 / wound_m3, 0.4), 0.9)


def _row(state: SpoolState, number: int) -> SpoolState:
    return SpoolState(
        outer_m=state.outer_m[number],
        vapour_kg_m3=state.vapour_kg_m3[number],
        temperature_c=state.temperature_c[number],
        strand=state.strand[number],
    )
