"""What becomes of a material after hours in some air, with the range that its figures leave open."""

import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.errors import BadInputError
from monitor.model.answers import Spread
from monitor.model.catalogue import Band, Material
from monitor.physics.constants import Array
from monitor.physics.diffusion import cylinder_modes, diffusivity_m2_s, mean_content, step_strand
from monitor.physics.isotherm import content_and_slope
from monitor.physics.spool import (
    SpoolParameters,
    SpoolState,
    even_spool,
    ring_content,
    spool_parameters,
    step_spool,
)
from monitor.physics.spool_reading import full_outer_m, mean_water_content, outer_water_content

# The first member is the catalogue's own figures; the others stand on a fixed lattice of the unknowns
# (diffusivity, isotherm, vapour's way through the pack), so that the same question has the same answer.
_MEMBERS = 12
_LATTICE = (1.0, 0.7548776662466927, 0.5698402909980532)  # a rank-1 lattice of the plastic number
# A band of the literature is taken as the middle nine tenths, but never wider than a factor of 3 either way:
# the far ends are single outliers.
_BAND_SDS, _WIDEST = 1.645, math.log(3.0) / 1.645
# No measurement inside a wound reel is known: tortuosity 1.6 to 3 around the usual.
_PACK_SD = 0.2
_CURVE_POINTS = 48
_STRAND_MODES = 10  # of one strand there is time for all that are tabulated


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked; outer bounds are checked by `answer_what_if`."""

    material: Material
    diameter_mm: float = 1.75
    net_g: float = 1000.0
    start_pct: float | None = None  # None: freshly dried, half of the printing limit
    humidity_pct: float
    temperature_c: float
    hours: float
    open_flanges: bool = False
    is_strand: bool = False  # loose filament instead of a wound spool


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    h: float
    mean_pct: float
    outer_pct: float
    inner_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The answer; member names are those of the contract."""

    moisture_pct: Spread
    outer_pct: Spread
    equilibrium_pct: float
    limit_pct: float
    over_limit_after_h: Spread
    curve: tuple[CurvePoint, ...]


def answer_what_if(question: Question) -> WhatIf:
    """Moisture after the hours, and when the limit is passed; BadInputError names the field."""
    _check(question)
    material = question.material
    members = _members(material)
    start = _start(question)
    # Uptake begins as the root of time: points close together at first.
    hours = question.hours * np.linspace(0.0, 1.0, _CURVE_POINTS + 1) ** 2
    course = _strand_course if question.is_strand else _spool_course
    mean, outer, inner = course(question, members, start, hours)  # each of shape (points, members)
    at_rest = _equilibrium(members, question.humidity_pct)
    return WhatIf(
        moisture_pct=_spread(mean[-1]),
        outer_pct=_spread(outer[-1]),
        equilibrium_pct=_rounded(float(at_rest[0])),
        limit_pct=_rounded(material.limit_content),
        over_limit_after_h=_crossing(hours, mean, material.limit_content),
        curve=tuple(
            CurvePoint(
                h=round(float(h), 3), mean_pct=_rounded(m), outer_pct=_rounded(o), inner_pct=_rounded(i)
            )
            for h, m, o, i in zip(hours, mean[:, 0], outer[:, 0], inner[:, 0], strict=True)
        ),
    )


def _check(question: Question) -> None:
    saturated_pct = 100.0 * question.material.content_saturated
    bounds = (
        ("diameter-mm", question.diameter_mm, 1.0, 4.0),
        ("net-g", question.net_g, 10.0, 50_000.0),
        ("rh", question.humidity_pct, 0.0, 100.0),
        ("temperature", question.temperature_c, 0.0, question.material.max_safe_c),
        ("hours", question.hours, 0.01, 20_000.0),
        ("start-pct", 0.0 if question.start_pct is None else question.start_pct, 0.0, saturated_pct),
    )
    for name, value, lowest, highest in bounds:
        if not lowest <= value <= highest:
            raise BadInputError(
                f"{name} is {value:g}; for {question.material.name} allowed are {lowest:g} to {highest:g}"
            )


def _start(question: Question) -> float:
    if question.start_pct is None:
        return 0.5 * question.material.limit_content
    return question.start_pct / 100.0


def _members(material: Material) -> list[Material]:
    """The catalogue's figures first, then figures spread as the literature spreads."""
    diffusivity_sd = _log_sd(material.diffusivity_band_m2_s)
    content_sd = _log_sd(material.content_50_band)
    members = [material]
    for number in range(_MEMBERS):
        faster = math.exp(diffusivity_sd * _normal(number, 0))
        thirstier = math.exp(content_sd * _normal(number, 1))
        members.append(
            replace(
                material,
                diffusivity_m2_s=material.diffusivity_m2_s * faster,
                isotherm=replace(material.isotherm, scale=material.isotherm.scale * thirstier),
            )
        )
    return members


def _log_sd(band: Band) -> float:
    return min(0.5 * math.log(band.high / band.low) / _BAND_SDS, _WIDEST)


def _normal(number: int, axis: int) -> float:
    """A standard normal value: member `number` of a lattice that fills each axis evenly."""
    share = ((number + 0.5) / _MEMBERS) if axis == 0 else math.fmod(0.5 + (number + 1) * _LATTICE[axis], 1.0)
    return _normal_quantile(share)


def _normal_quantile(share: float) -> float:
    """Inverse of the normal distribution by bisection; exact enough for a dozen members."""
    low, high = -6.0, 6.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if 0.5 * math.erfc(-middle / math.sqrt(2.0)) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _spool(question: Question, members: list[Material]) -> SpoolParameters:
    usual = spool_parameters(question.material, diameter_m=question.diameter_mm / 1000.0)
    ways = [1.0] + [math.exp(_PACK_SD * _normal(number, 2)) for number in range(_MEMBERS)]
    return spool_parameters(
        members,
        diameter_m=question.diameter_mm / 1000.0,
        diffusion_share=float(usual.diffusion_share) * np.array(ways),
        open_share=0.5 if question.open_flanges else 0.0,
    )


def _spool_course(
    question: Question, members: list[Material], start: float, hours: Array
) -> tuple[Array, Array, Array]:
    parameters = _spool(question, members)
    outer_m = full_outer_m(parameters, question.net_g / 1000.0)
    begin = np.minimum(start, 0.999 * _equilibrium(members, 100.0))
    state = even_spool(parameters, outer_m, question.temperature_c, water_content=begin)
    rows = [_rows(parameters, state)]
    for dt_s in 3600.0 * np.diff(hours):
        state, _ = step_spool(
            parameters, state, float(dt_s), question.temperature_c, question.humidity_pct / 100.0
        )
        rows.append(_rows(parameters, state))
    mean, outer, inner = (np.array(column) for column in zip(*rows, strict=True))
    return mean, outer, inner


def _rows(parameters: SpoolParameters, state: SpoolState) -> tuple[Array, Array, Array]:
    return (
        mean_water_content(parameters, state),
        outer_water_content(parameters, state),
        ring_content(parameters, state)[..., 0],
    )


def _strand_course(
    question: Question, members: list[Material], start: float, hours: Array
) -> tuple[Array, Array, Array]:
    """Loose filament: thinner than the millimetre that "outer" means, so that outer is its mean."""
    modes = cylinder_modes(_STRAND_MODES)
    surface = _equilibrium(members, question.humidity_pct)
    radius_m = question.diameter_mm / 2000.0
    rate = np.array(
        [
            float(diffusivity_m2_s(m.diffusivity_m2_s, m.activation_j_mol, question.temperature_c))
            for m in members
        ]
    ) / (radius_m * radius_m)
    strand = np.full((len(members), len(modes.weights)), start)
    means = [mean_content(modes, strand)]
    for dt_s in 3600.0 * np.diff(hours):
        strand = step_strand(modes, strand, rate, float(dt_s), surface)
        means.append(mean_content(modes, strand))
    mean = np.array(means)
    return mean, mean, mean


def _equilibrium(members: list[Material], humidity_pct: float) -> Array:
    curve = spool_parameters(members, diameter_m=1.75e-3).curve
    content, _ = content_and_slope(curve, np.full(len(members), humidity_pct / 100.0))
    return np.asarray(content)


def _crossing(hours: Array, mean: Array, limit: float) -> Spread:
    """When the mean passes the limit upwards; members that stay below have no such time."""
    times = np.array([_first_over(hours, mean[:, member], limit) for member in range(mean.shape[1])])
    if math.isinf(times[0]):
        return Spread(p10=None, p50=None, p90=None, why=f"it stays under its limit for {hours[-1]:g} h")
    low, high = np.quantile(times[1:], [0.1, 0.9], method="inverted_cdf")
    return Spread(
        p10=_hours(min(low, times[0])),
        p50=_hours(times[0]),
        p90=_hours(max(high, times[0])),
        why="null: it may stay under its limit for all of the time" if math.isinf(high) else None,
    )


def _first_over(hours: Array, values: Array, limit: float) -> float:
    over = np.nonzero(values > limit)[0]
    if len(over) == 0:
        return math.inf
    at = int(over[0])
    if at == 0:
        return 0.0
    share = (limit - values[at - 1]) / (values[at] - values[at - 1])
    root = math.sqrt(hours[at - 1]) + share * (math.sqrt(hours[at]) - math.sqrt(hours[at - 1]))
    return float(root * root)


def _hours(value: float) -> float | None:
    return None if math.isinf(value) else round(float(value), 1 if value >= 1 else 2)


def _spread(values: Array) -> Spread:
    low, high = np.quantile(values[1:], [0.1, 0.9])
    middle = float(values[0])
    return Spread(p10=_rounded(min(low, middle)), p50=_rounded(middle), p90=_rounded(max(high, middle)))


def _rounded(content: float) -> float:
    """Content as percent with three significant digits: more is not known."""
    percent = 100.0 * float(content)
    return float(f"{percent:.3g}")
