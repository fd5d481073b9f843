"""What a person tells of a charge: weighed for what it is worth."""

import math

import pytest
from support.box_small import PLAIN, followed

from monitor.estimate.box_belief import square
from monitor.estimate.box_filter import mean_loading
from monitor.estimate.box_told import weighed, with_colour
from monitor.model.box_event import Colour


@pytest.fixture(scope="module")
def known():
    model, belief, _ = followed(PLAIN, 10.0)
    return model, belief


def loading(belief):
    return float(mean_loading([belief.state[0], belief.state[1]]))


def test_p15_a_weighing_pulls_towards_what_the_scale_shows(known):
    """P15: weigh-back confirms; a fine scale says more than a kitchen scale."""
    model, belief = known
    shown_kg = model.dry_kg * (1.0 + 2.0 * loading(belief))
    fine = weighed(model, belief, shown_kg, 0.1e-3)
    coarse = weighed(model, belief, shown_kg, 0.02)
    assert loading(belief) < loading(coarse) < loading(fine)
    assert loading(fine) < 2.2 * loading(belief)


def test_a_weighing_never_makes_the_loading_less_certain(known):
    """An honest measurement narrows."""
    model, belief = known
    after = weighed(model, belief, model.dry_kg * 1.05, 1e-3)
    size = len(belief.state)
    before_sd, after_sd = (math.sqrt(square(each.covariance, size)[1, 1]) for each in (belief, after))
    assert after_sd < before_sd
    assert min(square(after.covariance, size).diagonal()) > 0.0


def test_p14_a_colour_is_weak_evidence_that_fades():
    """P14: it moves the odds by little, and after weeks not at all."""
    assert 0.5 < with_colour(0.5, Colour.TURNING, 0.0) < with_colour(0.5, Colour.TURNED, 0.0) < 0.8
    assert 0.35 < with_colour(0.5, Colour.DRY, 0.0) < 0.5
    assert with_colour(0.5, Colour.TURNED, 90.0 * 86_400.0) == pytest.approx(0.5, abs=0.01)
    assert with_colour(0.02, Colour.TURNED, 0.0) < 0.1  # a box at 10 %RH does not become spent by its dye
