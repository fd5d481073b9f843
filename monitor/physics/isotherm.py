"""How much water air of a humidity leaves in a polymer or a desiccant, and back.

Contents and loadings are kg of water per kg dry. Everything broadcasts; numbers give numpy's numbers.
Below 0 and above 1 relative humidity is clipped for desiccants; a polymer's curve goes on straight above 1,
where the cold core of a wet spool may be for a while, so that no water is cut off.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.model.catalogue import (
    DesiccantIsotherm,
    DesiccantKind,
    HydrateIsotherm,
    Material,
    PotentialIsotherm,
    RationalIsotherm,
)
from monitor.physics.constants import GAS_J_MOL_K, NORMAL_C, ZERO_C_K, Array

Numbers = float | Array

_DRIEST = 1e-12  # stands for no vapour at all, whose potential is infinite
_CRITICAL_K = 647.096  # of water; the equation of solutions counts temperature in it
_MOST_DILUTE = 0.98  # highest humidity at which a solution has a definite water content


@dataclass(frozen=True, slots=True, kw_only=True)
class PolymerCurve:
    """The isotherms of many polymers at once; the members of RationalIsotherm as arrays that broadcast."""

    scale: Array
    exponent: Array
    linear: Array
    quadratic: Array
    is_straight: bool  # every exponent is 1, so that no power is taken


def polymer_curve(isotherms: RationalIsotherm | Sequence[RationalIsotherm]) -> PolymerCurve:
    """One isotherm as scalars, or many as arrays of shape (count,)."""
    one = isinstance(isotherms, RationalIsotherm)
    listed = [isotherms] if isinstance(isotherms, RationalIsotherm) else list(isotherms)

    def column(member: str) -> Array:
        values = np.array([getattr(isotherm, member) for isotherm in listed], dtype=np.float64)
        return np.asarray(values[0]) if one else values

    exponent = column("exponent")
    return PolymerCurve(
        scale=column("scale"),
        exponent=exponent,
        linear=column("linear"),
        quadratic=column("quadratic"),
        is_straight=bool((exponent == 1.0).all()),
    )


def content_and_slope(curve: PolymerCurve, relative_humidity: Numbers) -> tuple[Array, Array]:
    """Equilibrium water content [kg/kg] and its rise with humidity [kg/kg per 1]."""
    a = np.clip(relative_humidity, 0.0, 1.0)
    beyond = np.asarray(relative_humidity) - a
    below_1 = 1.0 / (1.0 + a * (curve.linear + a * curve.quadratic))
    if curve.is_straight:
        content = curve.scale * a * below_1
        slope = curve.scale * (1.0 - curve.quadratic * a * a) * below_1 * below_1
    else:
        bend = a ** (curve.exponent - 1.0)
        content = curve.scale * a * bend * below_1
        slope = curve.scale * (curve.exponent - curve.quadratic * a * a) * bend * below_1 * below_1
        # A slope of exactly 0, or without end, at perfectly dry air would stall or upset a solver.
        slope = np.clip(slope, 1e-9 * curve.scale, 1e9 * curve.scale)
    return content + slope * beyond, slope


def polymer_content(material: Material, relative_humidity: Numbers) -> Array:
    """Equilibrium water content of one material [kg/kg]."""
    return content_and_slope(polymer_curve(material.isotherm), relative_humidity)[0]


def curve_humidity(curve: PolymerCurve, content: Numbers) -> Array:
    """The humidity at which a curve holds a water content; straight above its end at 1, 0 below 0."""
    end, end_slope = content_and_slope(curve, 1.0)
    within = np.clip(content, 0.0, end)
    # The smaller root of quadratic m a^2 + (linear m - scale) a + m = 0, in the form that never cancels.
    b = curve.scale - curve.linear * within
    straight = 2.0 * within / (b + np.sqrt(b * b - 4.0 * curve.quadratic * within * within))
    if not curve.is_straight:
        straight = np.where(curve.exponent == 1.0, straight, (within / curve.scale) ** (1.0 / curve.exponent))
    return np.asarray(straight + np.maximum(content - end, 0.0) / end_slope)


def desiccant_loading(
    kind: DesiccantKind, relative_humidity: Numbers, temperature_c: Numbers = NORMAL_C
) -> Array:
    """Loading in equilibrium with air [kg/kg]; fitted between 0.2 and 95 %RH."""
    return loading_and_slope(kind.isotherm, relative_humidity, temperature_c)[0]


def loading_and_slope(
    isotherm: DesiccantIsotherm, relative_humidity: Numbers, temperature_c: Numbers
) -> tuple[Array, Array]:
    """Loading [kg/kg] and its rise with humidity [kg/kg per 1]; 0 on the steps of a hydrate."""
    humidity = np.clip(relative_humidity, _DRIEST, 1.0)
    kelvin = np.asarray(temperature_c) + ZERO_C_K
    if isinstance(isotherm, RationalIsotherm):
        loading, slope = content_and_slope(polymer_curve(isotherm), humidity)
        return loading + 0.0 * kelvin, slope + 0.0 * kelvin
    if isinstance(isotherm, PotentialIsotherm):
        return _potential_loading(isotherm, humidity, kelvin)
    return _hydrate_loading(isotherm, humidity, kelvin)


def desiccant_humidity(kind: DesiccantKind, loading: Numbers, temperature_c: Numbers = NORMAL_C) -> Array:
    """Least relative humidity at which the equilibrium reaches a loading; 1 where it never does."""
    kelvin = np.asarray(temperature_c) + ZERO_C_K
    wanted = np.asarray(loading, dtype=np.float64)
    isotherm = kind.isotherm
    if isinstance(isotherm, RationalIsotherm):
        humidity = np.clip(curve_humidity(polymer_curve(isotherm), wanted), 0.0, 1.0) + 0.0 * kelvin
    elif isinstance(isotherm, PotentialIsotherm):
        humidity = np.exp(-_potential_j_mol(isotherm, wanted) / (GAS_J_MOL_K * kelvin))
    else:
        humidity = _hydrate_humidity(isotherm, wanted, kelvin)
    return np.asarray(humidity)


def _potential_loading(isotherm: PotentialIsotherm, humidity: Array, kelvin: Array) -> tuple[Array, Array]:
    thermal_j_mol = GAS_J_MOL_K * kelvin
    potential = -thermal_j_mol * np.log(humidity)
    loading, slope = np.zeros_like(potential), np.zeros_like(potential)
    for term in isotherm.terms:
        ratio = potential / term.energy_j_mol
        # At saturation the ratio is 0 and an exponent below 1 has no slope: a hair off it has.
        bent = np.maximum(ratio, 1e-12) ** (term.exponent - 1.0)
        part = term.loading * np.exp(-ratio * bent)
        loading = loading + part
        slope = slope + part * term.exponent * bent / term.energy_j_mol * thermal_j_mol / humidity
    return np.asarray(loading), np.asarray(slope)


def _potential_j_mol(isotherm: PotentialIsotherm, loading: Array) -> Array:
    """The adsorption potential of a loading: closed for one term, else halved down and finished by Newton."""
    full = sum(term.loading for term in isotherm.terms)
    wanted = np.clip(loading, 1e-300, full)
    highest = np.zeros_like(wanted)
    for term in isotherm.terms:
        # Where every term is down to its share of the wanted loading, the sum is below it.
        share = np.maximum(np.log(len(isotherm.terms) * term.loading / wanted), 0.0)
        highest = np.maximum(highest, term.energy_j_mol * share ** (1.0 / term.exponent))
    if len(isotherm.terms) == 1:
        return np.asarray(highest)
    lowest = np.zeros_like(wanted)
    middle = highest
    for _ in range(48):
        middle = 0.5 * (lowest + highest)
        above = _sum_of_terms(isotherm, middle) > wanted
        lowest, highest = np.where(above, middle, lowest), np.where(above, highest, middle)
    return np.asarray(middle)


def _sum_of_terms(isotherm: PotentialIsotherm, potential: Array) -> Array:
    total = np.zeros_like(potential)
    for term in isotherm.terms:
        total = total + term.loading * np.exp(-((potential / term.energy_j_mol) ** term.exponent))
    return total


def _hydrate_loading(isotherm: HydrateIsotherm, humidity: Array, kelvin: Array) -> tuple[Array, Array]:
    starts = np.array([start for start, _ in isotherm.hydrates])
    loadings = np.array([loading for _, loading in isotherm.hydrates])
    loading = loadings[np.searchsorted(starts, humidity, side="right") - 1] + 0.0 * kelvin
    slope = np.zeros_like(loading)
    if isotherm.brine_from is None:
        return loading, slope
    wet = np.clip(humidity, isotherm.brine_from, _MOST_DILUTE) + 0.0 * kelvin
    salt = _salt_fraction(isotherm.brine, wet, kelvin)
    hair = 1e-6
    over, under = (_activity(isotherm.brine, salt + shift, kelvin) for shift in (hair, -hair))
    steepness = (over - under) / (2.0 * hair)
    is_brine = humidity >= isotherm.brine_from
    return (
        np.where(is_brine, np.maximum((1.0 - salt) / salt, loading), loading),
        np.where(is_brine, -1.0 / (salt * salt * steepness), slope),
    )


def _hydrate_humidity(isotherm: HydrateIsotherm, loading: Array, kelvin: Array) -> Array:
    humidity = np.ones_like(loading + kelvin)
    if isotherm.brine_from is not None:
        dissolved = _activity(isotherm.brine, 1.0 / (1.0 + np.maximum(loading, 0.0)), kelvin)
        humidity = np.clip(dissolved, isotherm.brine_from, 1.0) + 0.0 * humidity
    for start, held in reversed(isotherm.hydrates):
        humidity = np.where(loading <= held * (1.0 + 1e-12), start, humidity)
    return humidity


def _activity(k: Sequence[float], salt: Array, kelvin: Array) -> Array:
    """Water activity over a solution by its mass fraction of salt (Conde 2004, Int J Therm Sci 43 367)."""
    theta = kelvin / _CRITICAL_K
    a = 2.0 - (1.0 + (salt / k[0]) ** k[1]) ** k[2]
    b = (1.0 + (salt / k[3]) ** k[4]) ** k[5] - 1.0
    at_25_c = 1.0 - (1.0 + (salt / k[6]) ** k[7]) ** k[8] - k[9] * np.exp(-((salt - 0.1) ** 2) / 0.005)
    return np.asarray((a + b * theta) * at_25_c)


def _salt_fraction(k: Sequence[float], activity: Array, kelvin: Array) -> Array:
    """The mass fraction at which the solution is in equilibrium with a humidity, by halving."""
    lowest, highest = np.full_like(activity, 1e-4), np.full_like(activity, 0.75)
    for _ in range(math.ceil(math.log2(0.75 / 1e-13))):
        middle = 0.5 * (lowest + highest)
        too_dilute = _activity(k, middle, kelvin) > activity
        lowest, highest = np.where(too_dilute, middle, lowest), np.where(too_dilute, highest, middle)
    return np.asarray(0.5 * (lowest + highest))
