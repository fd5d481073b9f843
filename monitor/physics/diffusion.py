"""Water moving in one round strand: modes of the cylinder, stepped exactly."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.physics.constants import CATALOGUE_K, GAS_J_MOL_K, ZERO_C_K, Array
from monitor.physics.isotherm import Numbers

# First zeros of the Bessel function J0 (Abramowitz & Stegun, table 9.5).
_J0_ZEROS = (
    2.404825557695773,
    5.520078110286311,
    8.653727912911013,
    11.791534439014281,
    14.930917708487787,
    18.071063967910924,
    21.211636629879258,
    24.352471530749302,
    27.493479132040254,
    30.634606468431976,
)
USUAL_MODES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandModes:
    """Mean moisture = sum of weight * mode; a mode follows its surface at rate * D / radius^2."""

    weights: Array  # shape (modes,), sum 1
    rates: Array  # shape (modes,)


def cylinder_modes(count: int = USUAL_MODES) -> StrandModes:
    """Modes of a long cylinder, 4 / alpha^2 and alpha^2; the last one carries the weight of the rest."""
    if not 1 <= count <= len(_J0_ZEROS):
        raise ValueError(f"count must lie within 1 to {len(_J0_ZEROS)}, not {count}")
    rates = np.array(_J0_ZEROS[:count]) ** 2
    weights = 4.0 / rates
    weights[-1] += 1.0 - weights.sum()
    return StrandModes(weights=weights, rates=rates)


def modes_of(pairs: Sequence[tuple[float, float]]) -> StrandModes:
    """Modes as (weight, rate) pairs; their weights add up to 1, so that equilibrium is exact."""
    weights = np.array([weight for weight, _ in pairs])
    rates = np.array([rate for _, rate in pairs])
    if (
        not np.isclose(weights.sum(), 1.0, rtol=0.0, atol=1e-12)
        or (weights < 0.0).any()
        or (rates <= 0.0).any()
    ):
        raise ValueError("weights must be 0 or above and add up to 1, rates above 0")
    return StrandModes(weights=weights, rates=rates)


def diffusivity_m2_s(at_23_c_m2_s: Numbers, activation_j_mol: Numbers, temperature_c: Numbers) -> Array:
    """Diffusivity by Arrhenius [m2/s]; trust it from 15 °C to the material's safe temperature."""
    kelvin = np.asarray(temperature_c) + ZERO_C_K
    return np.asarray(
        at_23_c_m2_s * np.exp(activation_j_mol / GAS_J_MOL_K * (1.0 / CATALOGUE_K - 1.0 / kelvin))
    )


def approach(modes: StrandModes, rate_1_s: Array, dt_s: Numbers) -> Array:
    """Share of the way to the surface's value that each mode goes in a step, shape (..., modes).

    Args:
        modes: Of the strand.
        rate_1_s: D / radius^2, shape (...) [1/s].
        dt_s: [s]; a number, or an array like `rate_1_s`.
    """
    return np.asarray(-np.expm1(np.asarray(-dt_s * rate_1_s)[..., None] * modes.rates))


def step_strand(modes: StrandModes, strand: Array, rate_1_s: Array, dt_s: float, surface: Numbers) -> Array:
    """The modes after a step at a constant surface content [kg/kg]; exact at any length.

    `strand` has shape (..., modes); `rate_1_s` is D / radius^2 and, like `surface`, has shape (...).
    """
    return np.asarray(strand + approach(modes, rate_1_s, dt_s) * (np.asarray(surface)[..., None] - strand))


def mean_content(modes: StrandModes, strand: Array) -> Array:
    """Mean moisture of the strand [kg/kg], shape (...)."""
    return np.asarray(strand @ modes.weights)
