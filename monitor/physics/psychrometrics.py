"""Moist air: saturation, dew and frost point, vapour concentration and mixing ratio.

Every function takes a float and gives a float, by way of `math` (one reading on a small board), or takes
arrays and gives an array of their common shape (a fleet). Valid from -40 to 150 °C; relative humidity is
over liquid water at all temperatures, as sensors report it.
"""

import math
from typing import overload

import numpy as np

from monitor.physics.constants import (
    STANDARD_PRESSURE_PA,
    VAPOUR_J_KG_K,
    WATER_OVER_AIR,
    ZERO_C_K,
    Array,
)

LOWEST_C, HIGHEST_C = -40.0, 150.0
# A dew point may lie far below its air: this is where the formula over ice ends.
_LOWEST_DEW_C = -100.0

# Hyland & Wexler 1983, as in ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6:
# ln p = C[0]/T + C[1] + C[2] T + C[3] T^2 + C[4] T^3 + C[5] T^4 + C[6] ln T.
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
# Magnus form (Sonntag 1990, over water and over ice): only where Newton's method starts.
_MAGNUS_WATER, _MAGNUS_ICE = (math.log(611.2), 17.62, 243.12), (math.log(611.2), 22.46, 272.62)
_NEWTON_STEPS = 4


@overload
def saturation_pressure_pa(temperature_c: float) -> float: ...
@overload
def saturation_pressure_pa(temperature_c: Array) -> Array: ...
def saturation_pressure_pa(temperature_c: float | Array) -> float | Array:
    """Vapour pressure at saturation over liquid water, supercooled below 0 °C.

    Args:
        temperature_c: -40 to 150 [°C].

    Returns:
        [Pa]; within 0.03 % of IAPWS-95 above 0 °C, 0.8 % of Murphy & Koop 2005 at -40 °C.

    >>> round(saturation_pressure_pa(25.0))
    3169
    """
    _require("temperature_c", temperature_c, LOWEST_C, HIGHEST_C)
    return _exp(_log_pressure(_WATER, temperature_c + ZERO_C_K))


@overload
def saturation_pressure_over_ice_pa(temperature_c: float) -> float: ...
@overload
def saturation_pressure_over_ice_pa(temperature_c: Array) -> Array: ...
def saturation_pressure_over_ice_pa(temperature_c: float | Array) -> float | Array:
    """Vapour pressure at saturation over ice, -40 to 0.01 °C [Pa]; within 0.05 % of IAPWS R14-08."""
    _require("temperature_c", temperature_c, LOWEST_C, 0.01)
    return _exp(_log_pressure(_ICE, temperature_c + ZERO_C_K))


@overload
def vapour_pressure_pa(temperature_c: float, relative_humidity: float) -> float: ...
@overload
def vapour_pressure_pa(temperature_c: Array, relative_humidity: float | Array) -> Array: ...
@overload
def vapour_pressure_pa(temperature_c: float | Array, relative_humidity: Array) -> Array: ...
def vapour_pressure_pa(temperature_c: float | Array, relative_humidity: float | Array) -> float | Array:
    """Partial pressure of the vapour in air [Pa]; relative humidity 0 to 1."""
    _require("relative_humidity", relative_humidity, 0.0, 1.0)
    return relative_humidity * saturation_pressure_pa(temperature_c)


@overload
def relative_humidity(temperature_c: float, vapour_pressure_pa: float) -> float: ...
@overload
def relative_humidity(temperature_c: Array, vapour_pressure_pa: float | Array) -> Array: ...
@overload
def relative_humidity(temperature_c: float | Array, vapour_pressure_pa: Array) -> Array: ...
def relative_humidity(temperature_c: float | Array, vapour_pressure_pa: float | Array) -> float | Array:
    """Relative humidity that a vapour pressure means; above 1 when the air is oversaturated."""
    _require("vapour_pressure_pa", vapour_pressure_pa, 0.0, math.inf)
    return vapour_pressure_pa / saturation_pressure_pa(temperature_c)


@overload
def saturated_vapour_kg_m3(temperature_c: float) -> float: ...
@overload
def saturated_vapour_kg_m3(temperature_c: Array) -> Array: ...
def saturated_vapour_kg_m3(temperature_c: float | Array) -> float | Array:
    """Vapour concentration at saturation over liquid water, as of an ideal gas [kg/m3]."""
    return saturation_pressure_pa(temperature_c) / (VAPOUR_J_KG_K * (temperature_c + ZERO_C_K))


@overload
def vapour_kg_m3(temperature_c: float, relative_humidity: float) -> float: ...
@overload
def vapour_kg_m3(temperature_c: Array, relative_humidity: float | Array) -> Array: ...
@overload
def vapour_kg_m3(temperature_c: float | Array, relative_humidity: Array) -> Array: ...
def vapour_kg_m3(temperature_c: float | Array, relative_humidity: float | Array) -> float | Array:
    """Vapour concentration of air, as of an ideal gas [kg of water per m3].

    >>> round(1000 * vapour_kg_m3(23.0, 0.5), 2)
    10.28
    """
    pressure_pa = vapour_pressure_pa(temperature_c, relative_humidity)
    return pressure_pa / (VAPOUR_J_KG_K * (temperature_c + ZERO_C_K))


@overload
def mixing_ratio(vapour_pressure_pa: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float: ...
@overload
def mixing_ratio(vapour_pressure_pa: Array, pressure_pa: float = STANDARD_PRESSURE_PA) -> Array: ...
def mixing_ratio(
    vapour_pressure_pa: float | Array, pressure_pa: float = STANDARD_PRESSURE_PA
) -> float | Array:
    """Kilograms of water per kilogram of dry air; the vapour pressure is below the air's."""
    _require("vapour_pressure_pa", vapour_pressure_pa, 0.0, pressure_pa * (1.0 - 1e-9))
    return WATER_OVER_AIR * vapour_pressure_pa / (pressure_pa - vapour_pressure_pa)


@overload
def dew_point_c(vapour_pressure_pa: float) -> float: ...
@overload
def dew_point_c(vapour_pressure_pa: Array) -> Array: ...
def dew_point_c(vapour_pressure_pa: float | Array) -> float | Array:
    """Temperature at which liquid dew forms, supercooled below 0 °C [°C].

    Args:
        vapour_pressure_pa: Above 0 and up to saturation at 150 °C [Pa].

    Returns:
        [°C]; within 0.05 K from -30 °C up, an extrapolation below -40 °C, refused below -100 °C.

    >>> round(dew_point_c(vapour_pressure_pa(23.0, 0.5)), 1)
    12.0
    """
    _require("vapour_pressure_pa", vapour_pressure_pa, _DRIEST_PA, _WETTEST_PA)
    return _temperature_c(_WATER, _MAGNUS_WATER, vapour_pressure_pa)


@overload
def frost_point_c(vapour_pressure_pa: float) -> float: ...
@overload
def frost_point_c(vapour_pressure_pa: Array) -> Array: ...
def frost_point_c(vapour_pressure_pa: float | Array) -> float | Array:
    """Temperature at which frost forms, -100 to 0.01 °C [°C]; refused for air too moist to have one."""
    _require("vapour_pressure_pa", vapour_pressure_pa, _DRIEST_PA, _TRIPLE_PA)
    return _temperature_c(_ICE, _MAGNUS_ICE, vapour_pressure_pa)


def _log_pressure(formula: tuple[float, ...], kelvin: float | Array) -> float | Array:
    a, b, c, d, e, f, g = formula
    return a / kelvin + b + kelvin * (c + kelvin * (d + kelvin * (e + kelvin * f))) + g * _log(kelvin)


def _slope_1_k(formula: tuple[float, ...], kelvin: float | Array) -> float | Array:
    """Rise of the logarithm of the pressure per kelvin."""
    a, _, c, d, e, f, g = formula
    return (
        -a / (kelvin * kelvin) + c + kelvin * (2.0 * d + kelvin * (3.0 * e + kelvin * 4.0 * f)) + g / kelvin
    )


def _temperature_c(
    formula: tuple[float, ...], magnus: tuple[float, float, float], pressure_pa: float | Array
) -> float | Array:
    """Newton's method on ln p, from the Magnus form's answer; four steps leave less than 1e-9 K."""
    wanted = _log(pressure_pa)
    excess = wanted - magnus[0]
    kelvin = magnus[2] * excess / (magnus[1] - excess) + ZERO_C_K
    for _ in range(_NEWTON_STEPS):
        kelvin = kelvin - (_log_pressure(formula, kelvin) - wanted) / _slope_1_k(formula, kelvin)
    return kelvin - ZERO_C_K


def _exp(value: float | Array) -> float | Array:
    return math.exp(value) if isinstance(value, float) else np.exp(value)


def _log(value: float | Array) -> float | Array:
    return math.log(value) if isinstance(value, float | int) else np.log(value)


def _require(name: str, value: float | Array, lowest: float, highest: float) -> None:
    """Refuses what lies outside the formula's range, and what is not a number."""
    if isinstance(value, float | int):
        inside = lowest <= value <= highest
    else:
        inside = bool(((value >= lowest) & (value <= highest)).all())
    if not inside:
        raise ValueError(f"{name} must lie within {lowest:g} to {highest:g}, not {value}")


_DRIEST_PA = math.exp(_log_pressure(_ICE, _LOWEST_DEW_C + ZERO_C_K))
_TRIPLE_PA = math.exp(_log_pressure(_ICE, 0.01 + ZERO_C_K))
_WETTEST_PA = saturation_pressure_pa(HIGHEST_C)
