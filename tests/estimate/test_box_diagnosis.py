"""Each fault put into a plain box is found first, and a sound box is left in peace."""

from dataclasses import replace

import pytest
from support.box_small import PLAIN, followed, with_fault

from monitor.estimate.box_diagnosis import Cause, diagnose
from monitor.library import load_library

EXPECTED = {
    "leak": Cause.LEAK,
    "wet": Cause.WET_CONTENTS,
    "sensor": Cause.SENSOR_OFFSET,
    "charge": Cause.CHARGE_TOO_SMALL,
    "lid": Cause.LID_OPEN,
}


@pytest.mark.parametrize("fault", EXPECTED)
def test_an_injected_fault_is_found_first(fault):
    """Ten days after it happened, in a box with room to spare."""
    box = with_fault(fault, 14.0, limit_humidity=0.35)
    model, belief, _ = followed(box, 24.0, seed=2)
    found = diagnose(model, belief)
    assert found
    assert found[0].cause is EXPECTED[fault]
    assert found[0].probability > 0.5


def test_every_finding_says_what_was_seen_and_what_to_do():
    """One sentence of evidence, one of act."""
    model, belief, _ = followed(with_fault("leak", 14.0, limit_humidity=0.35), 24.0, seed=2)
    for finding in diagnose(model, belief):
        assert finding.evidence.endswith(".")
        assert finding.act.endswith(".")
        assert 0.0 < finding.probability < 1.0


def test_a_sound_box_is_left_in_peace():
    """A box within its means has no cause that is likelier than not."""
    model, belief, _ = followed(replace(PLAIN, limit_humidity=0.35), 24.0, seed=2)
    assert diagnose(model, belief) == ()


@pytest.mark.parametrize("kind", ["silica_gel_blue_cobalt", "calcium_oxide", "silica_gel_a"])
def test_nothing_is_sent_to_an_oven_that_must_not_go_there(kind):
    """H33: cobalt salts and quicklime are replaced, never heated."""
    desiccant = load_library().desiccant(kind)
    model, belief, _ = followed(PLAIN, 24.0, seed=2)
    found = diagnose(replace(model, kind=desiccant, limit_humidity=0.02), belief, least=0.0)
    act = next(item.act for item in found if item.cause is Cause.SATURATED)
    assert ("dry it in the oven" in act) == (desiccant.oven_refusal is None and bool(desiccant.regenerate_c))


def test_a_full_desiccant_is_told_where_nothing_else_explains_it():
    model, belief, _ = followed(PLAIN, 24.0, seed=2)
    found = diagnose(replace(model, limit_humidity=0.03), belief)
    assert Cause.SATURATED in [finding.cause for finding in found if finding.probability > 0.5]
