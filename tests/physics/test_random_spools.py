"""The product's spool against the reference solver on spools at random."""

import numpy as np
import pytest
from physics.random_cases import HOURS, product_answers, random_case
from physics.reference_solver import Case, saturation_pa, solve

from monitor.physics.psychrometrics import saturation_pressure_pa

CASES = range(50)


@pytest.fixture(scope="module")
def references():
    return {seed: solve(random_case(seed)[1], list(HOURS)) for seed in CASES}


@pytest.mark.parametrize(
    ("seeds", "step_s"),
    [(CASES, 36 * 3600.0), (CASES[::5], 300.0), (CASES[::5], 3600.0)],
    ids=["at-once", "five-minutes", "an-hour"],
)
def test_fifty_spools_at_random_stay_within_one_per_cent(references, seeds, step_s):
    """Rooms and ovens, all sorts of materials, both strands, closed and spoked flanges, from a cold start."""
    for seed in seeds:
        key, case = random_case(seed)
        for hour, found, wanted in zip(
            HOURS, product_answers(key, case, step_s), references[seed], strict=True
        ):
            where = f"case {seed}, {key} after {hour:g} h"
            assert found.mean == pytest.approx(wanted.mean, rel=0.01), where
            assert found.outer == pytest.approx(wanted.outer, rel=0.01), where
            assert found.inner == pytest.approx(wanted.inner, rel=0.01), where
            assert found.warmth_c == pytest.approx(wanted.warmth_c, abs=0.25), where


def test_the_reference_is_itself_fine_enough():
    """Twice the cells move the reference by less than a tenth of what it judges by."""
    for seed in (1, 6, 47):
        case = random_case(seed)[1]
        for coarse, fine in zip(solve(case, [4.0], 160), solve(case, [4.0], 320), strict=True):
            assert coarse.mean == pytest.approx(fine.mean, rel=1e-3)
            assert coarse.outer == pytest.approx(fine.outer, rel=1e-3)


def test_the_reference_lands_on_the_220_cells():
    """One row of the landing table, by the other solver."""
    case = Case(
        density=1240.0,
        d23=4e-12,
        activation=40e3,
        isotherm=lambda a: 0.008 * np.maximum(a, 0.0),
        air_c=50.0,
        air_rh=0.10,
        start_c=50.0,
        start_rh=0.5,
    )
    found = solve(case, [12.0], 220)[0]
    assert 100.0 * found.mean == pytest.approx(0.156, rel=0.003)
    assert 100.0 * found.outer == pytest.approx(0.0841, rel=0.003)
    assert saturation_pa(50.0) == pytest.approx(saturation_pressure_pa(50.0), rel=1e-9)
