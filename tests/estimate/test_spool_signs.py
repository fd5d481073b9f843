"""Signs at the printer as evidence, and what drying will not cure (P02, P03, P22, P23)."""

import itertools

import numpy as np
import pytest
from support.spool_site import spool

from monitor.estimate.spool_belief import Body, first_belief
from monitor.estimate.spool_signs import MEANINGS, says_nothing_of_water, take_signs
from monitor.estimate.spool_track import outers
from monitor.library import load_library
from monitor.model.spool_event import Sign

LIBRARY = load_library()


def body(material="petg", **members):
    return Body(
        spool=spool(material=material, **members),
        material=LIBRARY.material(material),
        reel=LIBRARY.reel("unknown"),
    )


def test_p02_pops_and_steam_raise_the_estimate_and_a_clean_print_lowers_it():
    """P02: signs update the estimate."""
    of = body(start="sealed")
    before = outers(of, first_belief(of))[1]
    wetter = outers(of, take_signs(of, first_belief(of), [Sign.POPPING, Sign.BUBBLES]))[1]
    drier = outers(of, take_signs(of, first_belief(of), [Sign.CLEAN]))[1]
    assert drier < before < wetter


def test_p02_a_weak_sign_moves_less_than_a_sure_one():
    """Strings have many causes; steam has few."""
    of = body(start="sealed_dry")
    strings = outers(of, take_signs(of, first_belief(of), [Sign.STRINGS]))[1]
    steam = outers(of, take_signs(of, first_belief(of), [Sign.POPPING]))[1]
    assert steam > strings > outers(of, first_belief(of))[1]


def test_signs_leave_a_well_known_spool_nearly_as_it_was():
    """A spool that was dried and weighed is not made wet by a few strings."""
    of = body(start=None, start_pct=0.02)
    before, after = first_belief(of), take_signs(of, first_belief(of), [Sign.STRINGS])
    assert outers(of, after)[1] == pytest.approx(outers(of, before)[1], rel=0.05)


def test_p03_a_clean_print_is_no_proof_of_strength():
    """P03: invisible wetness; the check list says so itself."""
    assert "no proof of strength" in MEANINGS[Sign.CLEAN].look_alikes


def test_p22_snapping_is_no_sign_of_water_and_drying_repairs_it_not():
    """P22: ageing and cut chains are told apart from water."""
    of = body("pla")
    belief = first_belief(of)
    after = take_signs(of, belief, [Sign.SNAPS])
    assert np.array_equal(after.state.strand, belief.state.strand)
    assert "drying repairs neither" in says_nothing_of_water([Sign.SNAPS], outer_over_limit_p90=5.0)


def test_p23_strings_on_a_dry_spool_are_not_moisture():
    """P23: if little is left, look elsewhere; if much is left, water may be it."""
    words = says_nothing_of_water([Sign.STRINGS], outer_over_limit_p90=0.6)
    assert "dry enough" in words
    assert "retraction" in words
    assert says_nothing_of_water([Sign.STRINGS], outer_over_limit_p90=2.0) is None
    assert says_nothing_of_water([Sign.CLEAN], outer_over_limit_p90=0.6) is None


@pytest.mark.parametrize("material", ["pla", "pa6", "pva"])
def test_no_set_of_signs_makes_a_state_that_is_no_state(material):
    """Contradicting signs, all at once, repeatedly."""
    of = body(material)
    belief = first_belief(of)
    for seen in itertools.combinations(Sign, 3):
        belief = take_signs(of, belief, seen)
    assert np.isfinite(belief.state.strand).all()
    assert (belief.state.strand >= 0.0).all()
    assert np.isfinite(belief.state.vapour_kg_m3).all()
