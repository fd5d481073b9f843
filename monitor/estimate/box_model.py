"""What is known of a box beforehand: size, charge of desiccant and spools, each with its doubt."""

import math
from dataclasses import dataclass, field

import numpy as np

from monitor.model.catalogue import (
    DesiccantKind,
    HydrateIsotherm,
    Material,
    PotentialIsotherm,
    RationalIsotherm,
)
from monitor.physics.constants import NORMAL_K, ZERO_C_K, Array
from monitor.physics.desiccant import USUAL_DEPTH_M, bed_settling_s
from monitor.physics.isotherm import Numbers, content_and_slope, desiccant_loading, polymer_curve
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

# The knots lie densest where a desiccant rises most steeply.
_KNOTS = 400
_KNOT_HUMIDITY = (np.arange(_KNOTS + 1) / _KNOTS) ** 2
# A wound pack of 0.65 solid lets vapour through at 0.21 of its rate in free air.
_PACK_M2_S = 0.21 * 2.5e-5
_PACK_SOLID = 0.65
_HUB_M, _WIDTH_M = 0.045, 0.060
# Beads of one bed do not all change to the next hydrate at once, and where they stand between two no reading
# tells how far: with such a doubt of it the water let in is counted, and the humidity hardly read.
_STEP_WIDTH, _PLATEAU_SD, _BRINE_HUMIDITY = 0.10, 1.0, 0.6
_CATALOGUE_C = 23.0
_FIRST_J0_ZERO = 2.404826
# Most of a wound annulus lies near its outside: its slowest mode is faster than a slab's of the same depth.
_ANNULUS = 0.7
# A slab's slowest mode of diffusion carries 8/pi^2 of its water; the rest follows some eight times faster.
LUMP_SHARES, LUMP_SPEEDS = (0.8, 0.2), (1.0, 8.0)
# Still air over a bag of beads carries vapour to it at some 2 mm/s, its first layer takes a part of that.
_BAG_M_S = 1.5e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Sorber:
    """A spool, or cardboard, as one body that gives off and takes up water slowly."""

    dry_kg: float
    isotherm: RationalIsotherm
    settling_s: float  # of its slow part, at 23 °C
    content: float  # when it was put in [kg/kg]
    content_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxModel:
    """What the estimator is given about one box."""

    volume_m3: float
    kind: DesiccantKind
    dry_kg: float
    limit_humidity: float  # of the most demanding material inside, 0 to 1
    loading: float  # of the charge when filled [kg/kg]
    loading_sd: float  # of the one it begins with
    loading_now: float | None = None  # that following begins with; None = that of the filling [kg/kg]
    filled_s: float  # Unix seconds UTC
    sorbers: tuple[Sorber, ...] = ()
    capacity_sd: float = 0.12  # relative: batch of desiccant and mass as entered, together
    offset_sd: float = 0.010  # of the humidity sensor, 0 to 1
    tables: "Tables" = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if min(self.volume_m3, self.dry_kg, self.loading_sd) <= 0.0 or not 0.0 < self.limit_humidity <= 1.0:
            raise ValueError("volume_m3, dry_kg, loading_sd and limit_humidity must be above 0")
        object.__setattr__(self, "tables", Tables(self))


class Tables:
    """What follows from a model once and for all: the isotherm both ways, and every lump of the spools."""

    def __init__(self, model: BoxModel) -> None:
        self.loading = np.maximum.accumulate(np.asarray(desiccant_loading(model.kind, _KNOT_HUMIDITY)))
        self.loading[0] = 0.0
        # Steps and plateaus have no inverse: a hair of slope leads through them.
        self._rising = self.loading + 1e-9 * np.arange(_KNOTS + 1)
        self._over = _KNOT_HUMIDITY
        self._warms = isinstance(model.kind.isotherm, PotentialIsotherm)
        self.limit_loading = float(desiccant_loading(model.kind, model.limit_humidity))
        self.plateau_sd = 0.0  # of the humidity over a bed that stands between two hydrates
        if isinstance(model.kind.isotherm, HydrateIsotherm):
            self._rising, self._over = _without_steps(self.loading, self._rising, self.limit_loading)
            self.plateau_sd = _PLATEAU_SD
        self.core_rate_1_s = 1.0 / float(bed_settling_s(model.kind, USUAL_DEPTH_M, 0.10))
        self.air_m3_s = _BAG_M_S * model.dry_kg / (model.kind.bulk_density_kg_m3 * USUAL_DEPTH_M)
        sorbers = model.sorbers
        self.spools = len(sorbers)
        shares = np.array(LUMP_SHARES)
        self.lump_kg = np.outer([sorber.dry_kg for sorber in sorbers], shares).reshape(-1, 1)
        slowness = 1.0 / np.array(LUMP_SPEEDS)
        self.lump_s = np.outer([sorber.settling_s for sorber in sorbers], slowness).reshape(-1, 1)
        curve = polymer_curve([sorber.isotherm for sorber in sorbers for _ in shares])
        self._scale, self._exponent = curve.scale.reshape(-1, 1), curve.exponent.reshape(-1, 1)
        self._linear, self._quadratic = curve.linear.reshape(-1, 1), curve.quadratic.reshape(-1, 1)
        self._straight = curve.is_straight

    def humidity(self, loading: Array, temperature_c: Numbers) -> Array:
        """Air's humidity over beads of a loading."""
        at_25_c = np.interp(loading, self._rising, self._over)
        return np.asarray(at_25_c ** (NORMAL_K / (temperature_c + ZERO_C_K))) if self._warms else at_25_c

    def loading_at(self, relative_humidity: Array) -> Array:
        """Loading in equilibrium with air at 25 °C."""
        return np.asarray(np.interp(relative_humidity, _KNOT_HUMIDITY, self.loading))

    def contents(self, relative_humidity: Array) -> Array:
        """Equilibrium water content of every lump [kg/kg], shape (lumps, columns)."""
        powered = relative_humidity if self._straight else relative_humidity**self._exponent
        below = 1.0 + relative_humidity * (self._linear + relative_humidity * self._quadratic)
        return np.asarray(self._scale * powered / below)


def _without_steps(loading: Array, rising: Array, limit_loading: float) -> tuple[Array, Array]:
    """Humidity over loading with every step led through a slope: a filter can follow that."""
    top = float(np.interp(_BRINE_HUMIDITY, _KNOT_HUMIDITY, loading))
    even = np.linspace(0.0, 1.2 * max(top, limit_loading), 8 * _KNOTS)
    stepped = np.interp(even, rising, _KNOT_HUMIDITY)
    reach = max(1, round(_STEP_WIDTH * limit_loading / even[1]))
    padded = np.concatenate([np.zeros(reach), stepped, np.full(reach, stepped[-1])])
    summed = np.cumsum(np.insert(padded, 0, 0.0))
    width = 2 * reach + 1
    return even, np.asarray((summed[width:] - summed[:-width]) / width)


def spool_sorber(
    material: Material, net_kg: float, diameter_m: float, content: float, content_sd: float
) -> Sorber:
    """A wound spool with closed flanges: vapour seeps through the pack, then soaks into the strand.

    Args:
        material: Of the filament.
        net_kg: Still wound, above 0 [kg].
        diameter_m: Of the strand [m].
        content: Water when put in [kg/kg].
        content_sd: Its standard deviation [kg/kg].
    """
    depth_m = (
        math.sqrt(_HUB_M**2 + net_kg / material.density_kg_m3 / _PACK_SOLID / (math.pi * _WIDTH_M)) - _HUB_M
    )
    curve = polymer_curve(material.isotherm)
    slope = float(content_and_slope(curve, 0.15)[0]) / 0.15
    saturated = saturated_vapour_kg_m3(_CATALOGUE_C)
    stored = _PACK_SOLID * material.density_kg_m3 * slope / saturated
    pack_s = _ANNULUS * 4.0 * depth_m**2 * stored / (math.pi**2 * _PACK_M2_S)
    strand_s = (diameter_m / 2.0) ** 2 / (_FIRST_J0_ZERO**2 * material.diffusivity_m2_s)
    return Sorber(
        dry_kg=net_kg,
        isotherm=material.isotherm,
        settling_s=pack_s + strand_s,
        content=content,
        content_sd=content_sd,
    )
