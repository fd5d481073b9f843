"""The equations of a wound spool solved anew: evenly spaced cells, LSODA, nothing shared with the product.

Slow and fine where the product is fast and coarse. Vapour, warmth and every strand mode of every cell are
the unknowns of one stiff system of ordinary differential equations.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

GAS = 8.314462618


@dataclass(frozen=True, kw_only=True)
class Case:
    """One spool in constant air, from an even start."""

    hub_m: float = 0.045
    outer_m: float = 0.100
    width_m: float = 0.060
    solid: float = 0.8
    diffusion: float = 0.1  # (1 - solid) / tortuosity
    open_share: float = 0.0
    film_m_s: float = 5e-3
    density: float
    strand_m: float = 0.000875
    d23: float
    activation: float
    isotherm: Callable[[np.ndarray], np.ndarray]
    pairs: tuple[tuple[float, float], ...] = ((1.0, 8.0),)
    conductivity: float = 0.15
    heat_capacity: float = 1500.0
    air_c: float
    air_rh: float
    start_c: float
    start_rh: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    mean: float
    outer: float  # outermost millimetre
    inner: float  # at the hub
    warmth_c: float  # mean
    profile: np.ndarray
    radii_m: np.ndarray


def saturation_pa(celsius):
    """Hyland & Wexler over water."""
    t = celsius + 273.15
    return np.exp(
        -5.8002206e3 / t + 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t**2 - 1.4452093e-8 * t**3
        + 6.5459673 * np.log(t)
    )  # fmt: skip


def solve(case: Case, hours: list[float], cells: int = 160) -> list[Answer]:
    """The spool after each of these times."""
    edges = np.linspace(case.hub_m, case.outer_m, cells + 1)
    middles = 0.5 * (edges[1:] + edges[:-1])
    dr = edges[1] - edges[0]
    volumes = np.pi * (edges[1:] ** 2 - edges[:-1] ** 2) * case.width_m
    sides = 2.0 * np.pi * (edges[1:] ** 2 - edges[:-1] ** 2)  # both of them
    faces = 2.0 * np.pi * edges[1:-1] * case.width_m
    rim = 2.0 * np.pi * case.outer_m * case.width_m
    weights = np.array([weight for weight, _ in case.pairs])
    rates = np.array([rate for _, rate in case.pairs])
    modes = len(weights)
    density = case.solid * case.density
    void = 1.0 - case.solid
    heat_film = 1080.0 * case.film_m_s + 5.5
    air = case.air_rh * saturation_pa(case.air_c) / (461.523 * (case.air_c + 273.15))

    def exchange(values, conductivity, outside, film):
        """Flow into every cell by its faces, the rim and, where open, its sides."""
        middle = 0.5 * (conductivity[1:] + conductivity[:-1])
        flow = faces * middle * np.diff(values) / dr
        into = np.zeros(cells)
        into[:-1] += flow
        into[1:] -= flow
        into[-1] += rim * (outside - values[-1]) / (1.0 / film + dr / (2.0 * conductivity[-1]))
        sideways = 1.0 / film + case.width_m / 2.0 / (3.0 * conductivity)
        return into + case.open_share * sides * (outside - values) / sideways

    def rise(_time, flat):
        cell = flat.reshape(cells, modes + 2)
        vapour, warmth, strand = cell[:, 0], cell[:, 1], cell[:, 2:]
        kelvin = warmth + 273.15
        g = 2.5e-5 * (kelvin / 298.15) ** 1.75 * case.diffusion
        d = case.d23 * np.exp(-case.activation / GAS * (1.0 / kelvin - 1.0 / 296.15))
        humidity = vapour * 461.523 * kelvin / saturation_pa(warmth)
        pull = case.isotherm(humidity)[:, None] - strand
        strand_rise = (d / case.strand_m**2)[:, None] * rates * pull
        out = np.empty_like(cell)
        out[:, 0] = (
            exchange(vapour, g, air, case.film_m_s) / volumes - density * strand_rise @ weights
        ) / void
        conductivity = np.full(cells, case.conductivity)
        out[:, 1] = exchange(warmth, conductivity, case.air_c, heat_film) / (
            volumes * density * case.heat_capacity
        )
        out[:, 2:] = strand_rise
        return out.ravel()

    start = np.empty((cells, modes + 2))
    start[:, 0] = case.start_rh * saturation_pa(case.start_c) / (461.523 * (case.start_c + 273.15))
    start[:, 1] = case.start_c
    start[:, 2:] = case.isotherm(np.array([case.start_rh]))[0]
    band = 2 * (modes + 2)
    found = solve_ivp(
        rise,
        (0.0, max(hours) * 3600.0),
        start.ravel(),
        method="LSODA",
        t_eval=[hour * 3600.0 for hour in hours],
        rtol=1e-6,
        atol=np.tile([1e-10, 1e-6] + [1e-9] * modes, cells),
        lband=band,
        uband=band,
    )
    assert found.success, found.message
    return [_answer(flat.reshape(cells, modes + 2), weights, edges, middles) for flat in found.y.T]


def _answer(cell, weights, edges, middles) -> Answer:
    content = cell[:, 2:] @ weights
    rings = edges[1:] ** 2 - edges[:-1] ** 2
    cut = edges[-1] - 0.001
    rim = np.clip(edges[1:], cut, None) ** 2 - np.clip(edges[:-1], cut, None) ** 2
    return Answer(
        mean=float(content @ rings / rings.sum()),
        outer=float(content @ rim / rim.sum()),
        inner=float(content[0]),
        warmth_c=float(cell[:, 1] @ rings / rings.sum()),
        profile=content,
        radii_m=middles,
    )
