"""Plans against an independent, fine solution of the spool's equations; the benchmark runs all thirty."""

import pytest
from support.plan_truth import compared


@pytest.mark.parametrize("seed", [0, 3, 5, 8, 11])
def test_time_to_the_target_and_floor_are_those_of_the_fine_solution(seed):
    """Time within 10 %, floor within 5 %, over materials, sizes, rooms and targets at random."""
    case = compared(seed)
    assert case.time_error() == pytest.approx(0.0, abs=0.10), case
    assert case.floor_error() == pytest.approx(0.0, abs=0.05), case
