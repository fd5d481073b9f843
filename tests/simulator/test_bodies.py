"""The truth's own numerics: wound spools and beds of desiccant against known numbers."""

import numpy as np
import pytest

from monitor.physics.psychrometrics import saturation_pressure_pa
from monitor.simulator.bodies import (
    KNOT_HUMIDITY,
    MODES,
    NODES,
    VAPOUR_J_KG_K,
    Bodies,
    Body,
    single_mode,
    strand_modes,
)
from monitor.simulator.stock import (
    Strand,
    Winding,
    bed_of_beads,
    humidity_at,
    tabulated,
    wound_body,
)

HUB_M, OUTER_M = 0.045, 0.100


def saturated_kg_m3(temperature_c: float) -> np.ndarray:
    return np.array(
        [float(saturation_pressure_pa(temperature_c)) / (VAPOUR_J_KG_K * (temperature_c + 273.15))]
    )


def polyamide(humidity: float) -> float:
    return 0.0275 * (humidity / 0.5) ** 1.35


def polylactide(humidity: float) -> float:
    return 0.004 * (humidity / 0.5)


POLYMERS = {
    "polyamide": (polyamide, 1130.0, 6e-13, 55e3),
    "polylactide": (polylactide, 1240.0, 4e-12, 40e3),
}


def spool(
    polymer: str, start: float, *, modes: str = "one", box: int = 0, flanges_open: bool = False
) -> Body:
    isotherm, density, diffusivity, activation = POLYMERS[polymer]
    content = tabulated(isotherm)
    one = single_mode(8.0 * diffusivity / 0.000875**2)
    weights, rates = one if modes == "one" else strand_modes(0.000875, diffusivity)
    return wound_body(
        Winding(
            hub_m=HUB_M, outer_m=OUTER_M, width_m=0.06, solid=0.8, diffusion=0.1, flanges_open=flanges_open
        ),
        Strand(
            density_kg_m3=density,
            weights=weights,
            rates_1_s=rates,
            activation_j_mol=activation,
            content=content,
        ),
        box=box,
        start_humidity=np.full(NODES, humidity_at(content, start)),
        film_m_s=5e-3,
    )


def in_open_air(
    body: Body, temperature_c: float, humidity: float, hours: float, dt_s: float = 300.0
) -> Bodies:
    """A box too large for its contents to change its air."""
    saturated = saturated_kg_m3(temperature_c)
    temperature_k = np.array([temperature_c + 273.15])
    air = humidity * saturated
    bodies = Bodies([body], np.array([1e9]), air, temperature_k, saturated)
    for _ in range(round(hours * 3600.0 / dt_s)):
        bodies.step(dt_s, temperature_k, saturated, np.zeros(1), air)
    return bodies


def outer_millimetre(bodies: Bodies) -> float:
    edges_m = OUTER_M - (OUTER_M - HUB_M) * np.linspace(1.0, 0.0, NODES + 1) ** 1.6
    inner_m = np.clip(edges_m[:-1], OUTER_M - 0.001, None)
    outer_m = np.clip(edges_m[1:], OUTER_M - 0.001, None)
    ring = outer_m**2 - inner_m**2
    return float((bodies.content()[:, 0] * ring).sum() / ring.sum())


# An independent solution of the same equations on 220 cells; mean, outer and inner moisture in per cent.
LANDING = [
    ("polyamide", 80.0, 0.02, 0.0275, 8.0, 1.167, 0.0753, 2.129),
    ("polyamide", 80.0, 0.02, 0.0275, 24.0, 0.303, 0.0446, 0.576),
    ("polylactide", 50.0, 0.10, 0.0040, 4.0, 0.259, 0.1214, 0.342),
    ("polylactide", 50.0, 0.10, 0.0040, 12.0, 0.156, 0.0841, 0.214),
    ("polylactide", 23.0, 0.50, 0.0004, 30.0, 0.252, 0.388, 0.155),
    ("polyamide", 23.0, 0.50, 0.0010, 120.0, 1.217, 2.473, 0.545),
]


@pytest.mark.parametrize(
    ("polymer", "temperature_c", "humidity", "start", "hours", "mean", "outer", "inner"), LANDING
)
def test_a_wound_spool_lands_on_the_reference(
    polymer, temperature_c, humidity, start, hours, mean, outer, inner
):
    """Within 0.5 %: the truth must be at least as good as what it is the truth for."""
    bodies = in_open_air(spool(polymer, start), temperature_c, humidity, hours)
    assert 100.0 * bodies.mean_content()[0] == pytest.approx(mean, rel=0.005)
    assert 100.0 * outer_millimetre(bodies) == pytest.approx(outer, rel=0.005)
    assert 100.0 * bodies.content()[0, 0] == pytest.approx(inner, rel=0.005)


def test_five_minute_steps_are_fine_enough():
    """Halving the step changes the mean by less than 0.1 %."""
    coarse = in_open_air(spool("polylactide", 0.004), 23.0, 0.1, 12.0, dt_s=300.0).mean_content()[0]
    fine = in_open_air(spool("polylactide", 0.004), 23.0, 0.1, 12.0, dt_s=150.0).mean_content()[0]
    assert coarse == pytest.approx(fine, rel=1e-3)


def test_the_strands_modes_weigh_one():
    weights, rates = strand_modes(0.000875, 5e-12)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert len(weights) == MODES
    assert np.all(np.diff(rates) > 0.0)


def test_open_flanges_dry_faster():
    shut = in_open_air(spool("polylactide", 0.004), 50.0, 0.05, 4.0).mean_content()[0]
    spoked = in_open_air(spool("polylactide", 0.004, flanges_open=True), 50.0, 0.05, 4.0).mean_content()[0]
    assert spoked < shut


def silica(humidity: float) -> float:
    return 0.7 * humidity / (1.0 + 2.0 * humidity)


def sieve(humidity: float) -> float:
    return 0.2 * humidity / (humidity + 0.002)


def bed(isotherm, humidity: float, box: int = 0) -> Body:
    return bed_of_beads(
        box=box,
        dry_kg=0.3,
        bulk_density_kg_m3=700.0,
        depth_m=0.01,
        bead_m=0.0025,
        content=tabulated(isotherm),
        humidity=humidity,
    )


def sealed_box(bodies: list[Body], humidity: float) -> Bodies:
    saturated = saturated_kg_m3(23.0)
    return Bodies(bodies, np.array([0.03]), humidity * saturated, np.array([296.15]), saturated)


@pytest.mark.parametrize("isotherm", [silica, sieve])
def test_no_water_is_made_or_lost_while_temperature_and_leak_change(isotherm):
    """Water is conserved to 1e-9 over any sequence of steps."""
    box = sealed_box([spool("polyamide", 0.02, modes="strand"), bed(isotherm, 0.05)], 0.3)
    dice = np.random.default_rng(5)
    before_kg, came_in_kg = box.box_water_kg()[0], 0.0
    for _ in range(2000):
        temperature_c = float(dice.uniform(10.0, 35.0))
        came_in_kg += box.step(
            float(dice.uniform(5.0, 900.0)),
            np.array([temperature_c + 273.15]),
            saturated_kg_m3(temperature_c),
            dice.uniform(0.0, 1e-4, 1),
            dice.uniform(0.0, 0.02, 1),
        )[0]
    assert box.box_water_kg()[0] == pytest.approx(before_kg + came_in_kg, rel=1e-9)


def test_a_sealed_box_settles_to_one_humidity():
    """In equilibrium spool, bed and air agree, and the maximum principle held on the way."""
    box = sealed_box([spool("polylactide", 0.003, modes="strand"), bed(silica, 0.05)], 0.2)
    highest = max(box.humidity.max(), 0.2)
    for _ in range(24 * 90):
        box.step(3600.0, np.array([296.15]), saturated_kg_m3(23.0), np.zeros(1), np.zeros(1))
        assert box.humidity.min() > 0.0
        assert box.humidity.max() <= highest + 1e-6
    air = box.box_vapour_kg_m3[0] / saturated_kg_m3(23.0)[0]
    assert np.ptp(np.append(box.humidity.ravel(), air)) < 1e-4


def test_a_buffered_box_follows_warmth_as_the_isotherm_says():
    """At constant load humidity rises by about ln(1/rh)/T of itself per kelvin (Clausius-Clapeyron)."""
    box = sealed_box([bed(silica, 0.10)], 0.10)
    for _ in range(200):
        box.step(600.0, np.array([306.15]), saturated_kg_m3(33.0), np.zeros(1), np.zeros(1))
    expected = 0.10 * (1.0 + np.log(10.0) / 301.0 * 10.0)
    assert box.humidity[-1, 0] == pytest.approx(expected, rel=0.03)


def test_an_isotherm_table_is_exact_to_a_thousandth():
    table = tabulated(sieve)
    for humidity in (0.0005, 0.003, 0.02, 0.1, 0.4, 0.9):
        assert np.interp(humidity, KNOT_HUMIDITY, table) == pytest.approx(sieve(humidity), rel=1e-3)
