"""The rows of a wound spool are solved alike, one by one or all at once."""

import numpy as np
import pytest

from monitor.physics.winding import _FEW, solve_rings


@pytest.mark.parametrize("spools", [1, 3, _FEW, _FEW + 1, 40])
@pytest.mark.parametrize("rings", [1, 2, 16, 33])
def test_what_is_solved_fulfils_its_rows(spools, rings):
    """Few spools go by the whole matrix, many row by row; both must keep every ring's balance, i.e. its water."""
    dice = np.random.default_rng(10 * spools + rings)
    link = 10.0 ** dice.uniform(-3.0, 3.0, (spools, rings - 1))
    diagonal = 10.0 ** dice.uniform(-6.0, 1.0, (spools, rings))
    diagonal[:, :-1] += link
    diagonal[:, 1:] += link
    known = dice.uniform(0.0, 1.0, (spools, rings))
    kept = diagonal.copy(), link.copy(), known.copy()
    found = solve_rings(diagonal, link, known)
    missing = known - diagonal * found
    missing[:, 1:] += link * found[:, :-1]
    missing[:, :-1] += link * found[:, 1:]
    assert np.abs(missing).max() < 1e-13 * np.abs(diagonal * found).max()
    for before, after in zip(kept, (diagonal, link, known), strict=True):
        assert (before == after).all()  # what was handed in stays as it was


def test_a_spool_gives_the_same_in_a_crowd_as_alone():
    """The two ways differ by rounding only."""
    dice = np.random.default_rng(3)
    link, known = dice.uniform(0.1, 2.0, (40, 15)), dice.uniform(0.0, 1.0, (40, 16))
    diagonal = dice.uniform(5.0, 9.0, (40, 16))
    crowd = solve_rings(diagonal, link, known)
    alone = [solve_rings(diagonal[n], link[n], known[n]) for n in range(40)]
    np.testing.assert_allclose(crowd, alone, rtol=1e-12)
