"""Porous bodies that share the air of boxes: wound spools and beds of desiccant, in one batch.

This is the truth of the demonstration and stands apart from the monitor's own model: a grid graded
towards the surface, more strand modes, desiccant beds in layers, and boxes coupled implicitly with all
that is inside them. Rows run from the innermost node to the surface; columns are bodies.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NODES = 24
MODES = 10
GAS_J_MOL_K = 8.314462
VAPOUR_J_KG_K = 461.52
_REFERENCE_K = 296.15
_NORMAL_K = 298.15
_KNOTS = 800
# Knots at (k / _KNOTS)^3: a molecular sieve holds most of its water below 1 %RH.
KNOT_HUMIDITY: Array = (np.arange(_KNOTS + 1) / _KNOTS) ** 3
# First zeros of the Bessel function J0 (Abramowitz & Stegun, table 9.5).
_J0_ZEROS = np.array(
    [
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
    ]
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One spool or bed; arrays run from the innermost node to the surface."""

    box: int  # column of the box that it lies in
    void_m3: Array  # shape (NODES,)
    dry_kg: Array  # shape (NODES,)
    link_m: Array  # conductance between neighbours over the diffusivity of free air, shape (NODES - 1,)
    air_m: Array  # the same from each node to the surface next to the box's air; 0 = none, shape (NODES,)
    air_film_m3_s: Array  # film conductance behind that surface, shape (NODES,)
    weights: Array  # of the sorption modes, shape (MODES,), sum 1
    rates_1_s: Array  # at 23 °C, shape (MODES,)
    activation_j_mol: float
    content: Array  # equilibrium water at KNOT_HUMIDITY [kg/kg], shape (_KNOTS + 1,)
    warms_as_potential: bool  # desiccants: humidity counts as h^(T/298.15)
    start_humidity: Array  # shape (NODES,)


def strand_modes(radius_m: float, diffusivity_23c_m2_s: float) -> tuple[Array, Array]:
    """Weights and rates of a long cylinder's sorption modes; the last carries the weight of the rest."""
    weights = 4.0 / _J0_ZEROS**2
    weights[-1] += 1.0 - weights.sum()
    return weights, diffusivity_23c_m2_s * _J0_ZEROS**2 / radius_m**2


def single_mode(rate_1_s: float) -> tuple[Array, Array]:
    """One rate for all of the water, as of a desiccant's bead."""
    weights, rates = np.zeros(MODES), np.full(MODES, rate_1_s)
    weights[0] = 1.0
    return weights, rates


def air_diffusivity_m2_s(temperature_k: Array) -> Array:
    return np.asarray(2.5e-5 * (temperature_k / _NORMAL_K) ** 1.75)


class Bodies:
    """All bodies of a site and the air of their boxes, stepped together; no water is made or lost."""

    def __init__(
        self,
        bodies: list[Body],
        volume_m3: Array,
        box_vapour_kg_m3: Array,
        temperature_k: Array,
        saturated_kg_m3: Array,
    ) -> None:
        self._box = np.array([body.box for body in bodies])
        self._volume_m3 = volume_m3
        self._void = _columns([body.void_m3 for body in bodies])
        self._dry = _columns([body.dry_kg for body in bodies])
        self._link = _columns([body.link_m for body in bodies])
        self._air = _columns([body.air_m for body in bodies])
        self._film = _columns([body.air_film_m3_s for body in bodies])
        self._touches = self._air > 0.0
        self._weights = _columns([body.weights for body in bodies])
        self._rates = _columns([body.rates_1_s for body in bodies])
        self._activation_k = np.array([body.activation_j_mol for body in bodies]) / GAS_J_MOL_K
        self._potential = np.array([body.warms_as_potential for body in bodies])
        self._table = np.stack([body.content for body in bodies]).ravel()
        self._table_row = np.arange(len(bodies)) * (_KNOTS + 1)
        self._slope = np.diff(np.stack([body.content for body in bodies]), axis=1)
        self._slope = (self._slope / np.diff(KNOT_HUMIDITY)).ravel()
        self._slope_row = np.arange(len(bodies)) * _KNOTS
        self.humidity = _columns([body.start_humidity for body in bodies])
        self.box_vapour_kg_m3 = box_vapour_kg_m3.copy()
        self._saturated_kg_m3 = saturated_kg_m3[self._box]
        content, _ = self._equilibrium(self.humidity, temperature_k[self._box])
        self.water: Array = np.repeat(content[None, :, :], MODES, axis=0)  # (MODES, NODES, bodies)

    def step(
        self, dt_s: float, temperature_k: Array, saturated_kg_m3: Array, leak_m3_s: Array, room_kg_m3: Array
    ) -> Array:
        """One implicit step; returns the water that came in from the rooms, per box [kg].

        Args:
            dt_s: Duration [s].
            temperature_k: Of each box and all in it, at the end of the step [K].
            saturated_kg_m3: Saturated vapour at that temperature [kg/m3].
            leak_m3_s: Exchange with the room [m3/s].
            room_kg_m3: Vapour in each box's room [kg/m3].
        """
        body_k, saturated = temperature_k[self._box], saturated_kg_m3[self._box]
        before = self._saturated_kg_m3
        share = 1.0 - np.exp(
            -dt_s * self._rates * np.exp(self._activation_k * (1.0 / _REFERENCE_K - 1.0 / body_k))
        )
        weighted = self._weights * share  # (MODES, bodies)
        answering = weighted.sum(axis=0)
        held = np.einsum("mb,mnb->nb", weighted, self.water)
        content, slope = self._equilibrium(self.humidity, body_k)
        free = air_diffusivity_m2_s(body_k)
        link = self._link * free * saturated
        touch = self._touch_m3_s(free)
        # Rows of a tridiagonal system in the new humidity, for a box vapour of 0 and of 1.
        diagonal = (self._void * saturated + self._dry * answering * slope) / dt_s + touch * saturated
        diagonal[:-1] += link
        diagonal[1:] += link
        known = self._dry * (held - answering * (content - slope * self.humidity))
        known = (self._void * before * self.humidity + known) / dt_s
        lone, driven = _solved(diagonal, link, known, touch)
        leak_kg = self._step_air(dt_s, leak_m3_s, room_kg_m3, touch, saturated, lone, driven)
        fresh = lone + driven * self.box_vapour_kg_m3[self._box]
        target = content + slope * (fresh - self.humidity)
        self.water += share[:, None, :] * (target - self.water)
        self.humidity = fresh
        self._saturated_kg_m3 = saturated
        return leak_kg

    def water_kg(self) -> Array:
        """Water in each body, vapour in its voids included [kg], shape (bodies,)."""
        vapour = self._void * self._saturated_kg_m3 * self.humidity
        return np.asarray((vapour + self._dry * self.content()).sum(axis=0))

    def box_water_kg(self) -> Array:
        """Water in each box: its air and all bodies in it [kg]."""
        total = self._volume_m3 * self.box_vapour_kg_m3
        np.add.at(total, self._box, self.water_kg())
        return total

    def content(self) -> Array:
        """Water content of every node [kg/kg], shape (NODES, bodies)."""
        return np.asarray(np.einsum("mb,mnb->nb", self._weights, self.water))

    def mean_content(self) -> Array:
        """Water content of each body [kg/kg]."""
        return np.asarray((self.content() * self._dry).sum(axis=0) / self._dry.sum(axis=0))

    def _touch_m3_s(self, free: Array) -> Array:
        inner = np.where(self._touches, self._air, 1.0) * free
        film = np.where(self._touches, self._film, 1.0)
        return np.where(self._touches, inner * film / (inner + film), 0.0)

    def _step_air(
        self,
        dt_s: float,
        leak_m3_s: Array,
        room_kg_m3: Array,
        touch: Array,
        saturated: Array,
        lone: Array,
        driven: Array,
    ) -> Array:
        takes = (touch * (1.0 - saturated * driven)).sum(axis=0)
        gives = (touch * saturated * lone).sum(axis=0)
        boxes = len(self._volume_m3)
        own = self._volume_m3 / dt_s
        taken = np.bincount(self._box, weights=takes, minlength=boxes)
        given = np.bincount(self._box, weights=gives, minlength=boxes)
        self.box_vapour_kg_m3 = (own * self.box_vapour_kg_m3 + leak_m3_s * room_kg_m3 + given) / (
            own + leak_m3_s + taken
        )
        return np.asarray(dt_s * leak_m3_s * (room_kg_m3 - self.box_vapour_kg_m3))

    def _equilibrium(self, humidity: Array, body_k: Array) -> tuple[Array, Array]:
        """Equilibrium content and its slope; straight lines beyond 0 and 1, so that nothing is cut off."""
        steepness: Array | float = 1.0
        counted = humidity
        if self._potential.any():
            power = np.where(self._potential, body_k / _NORMAL_K, 1.0)
            safe = np.maximum(humidity, 1e-6)
            factor = safe ** (power - 1.0)
            counted = humidity * factor
            steepness = np.where(humidity > 1e-6, power, 1.0) * factor
        knot = (np.cbrt(np.clip(counted, 0.0, 1.0)) * _KNOTS).astype(np.intp)
        np.minimum(knot, _KNOTS - 1, out=knot)
        slope = self._slope[self._slope_row + knot]
        content = self._table[self._table_row + knot] + slope * (counted - KNOT_HUMIDITY[knot])
        return content, slope * steepness


def _solved(diagonal: Array, link: Array, known: Array, touch: Array) -> tuple[Array, Array]:
    """The humidity for dry box air, and its rise per unit of box vapour; shapes (NODES, bodies)."""
    lone, driven = known.copy(), touch.copy()
    for row in range(1, len(diagonal)):
        factor = link[row - 1] / diagonal[row - 1]
        diagonal[row] -= factor * link[row - 1]
        lone[row] += factor * lone[row - 1]
        driven[row] += factor * driven[row - 1]
    lone[-1] /= diagonal[-1]
    driven[-1] /= diagonal[-1]
    for row in range(len(diagonal) - 2, -1, -1):
        lone[row] = (lone[row] + link[row] * lone[row + 1]) / diagonal[row]
        driven[row] = (driven[row] + link[row] * driven[row + 1]) / diagonal[row]
    return lone, driven


def _columns(rows: list[Array]) -> Array:
    return np.ascontiguousarray(np.stack(rows, axis=1))
