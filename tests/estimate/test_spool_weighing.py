"""What a scale can tell about water, and what it cannot (D-20, D-21, D-22)."""

import numpy as np
import pytest
from support.spool_site import spool

from monitor.estimate.spool_belief import Body, first_belief, stack_states, stacked
from monitor.estimate.spool_course import Around, follow
from monitor.estimate.spool_track import means
from monitor.estimate.spool_weighing import scale_sd_g, weigh
from monitor.library import load_library
from monitor.model.spool_event import Weighed
from monitor.physics.spool import spool_water_kg

LIBRARY = load_library()


def body(material="pa6", reel="pc", **members):
    return Body(
        spool=spool(material=material, **members),
        material=LIBRARY.material(material),
        reel=LIBRARY.reel(reel),
    )


def week(of, belief, humidity):
    air = Around(place="crate", temperature_c=23.0, relative_humidity=humidity, relative_humidity_sd=0.0)
    (after,), _ = follow([of], [belief], [air], 7 * 86_400.0)
    return after


def water_g(of, belief):
    return 1000.0 * spool_water_kg(stacked([of], [belief]), stack_states([belief]))[0]


def width(triple):
    return triple[2] - triple[0]


def test_the_first_weighing_says_nothing_of_the_water():
    """The dry mass of filament and reel is known to ten grams at best."""
    of, belief = body(), first_belief(body())
    after, verdict = weigh(of, belief, Weighed(mass_g=1234.0, resolution_g=0.1))
    assert means(of, after) == means(of, belief)
    assert not verdict.can_tell
    assert "compared" in verdict.words


@pytest.mark.parametrize("truth_g", [4.0, 9.0, 14.0])
def test_a_second_weighing_moves_the_water_to_what_the_scale_saw(truth_g):
    """A gain of x g is a direct measurement where the scale is fine enough."""
    of = body(start=None, start_pct=0.3)
    start = first_belief(of)
    first, _ = weigh(of, start, Weighed(mass_g=1200.0, resolution_g=0.1))
    later = week(of, first, 0.5)
    gained_before = water_g(of, later) - water_g(of, start)
    after, _ = weigh(of, later, Weighed(mass_g=1200.0 + truth_g, resolution_g=0.1))
    gained = water_g(of, after) - water_g(of, start)
    assert abs(np.median(gained[1:]) - truth_g) < 0.25 * abs(np.median(gained_before[1:]) - truth_g) + 0.3
    assert width(means(of, after)) < 0.6 * width(means(of, later))


def test_the_update_is_the_kalman_update_of_the_mean():
    """Checked against the two-line formula, computed here by itself."""
    of = body("tpu_ether", start=None, start_pct=0.1)
    first, _ = weigh(of, first_belief(of), Weighed(mass_g=1200.0, resolution_g=0.5))
    later = week(of, first, 0.6)
    seen = Weighed(mass_g=1203.0, resolution_g=0.5)
    before = water_g(of, later)[1:]
    surprise = seen.mass_g - (later.offset_g[1:] + before)
    noise = scale_sd_g(seen, of) ** 2 + later.offset_var_g2
    expected = before.mean() + before.var(ddof=1) / (before.var(ddof=1) + noise) * surprise.mean()
    after, _ = weigh(of, later, seen)
    assert water_g(of, after)[1:].mean() == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("material", ["pla", "petg", "pc"])
def test_a_kitchen_scale_cannot_tell_about_a_filament_that_holds_two_grams(material):
    """D-20, D.3: 0.2 % of a kilogram is 2 g, and a scale that shows 1 g cannot decide; it says what would."""
    limit_pct = 100.0 * LIBRARY.material(material).limit_content
    of = body(material, start=None, start_pct=limit_pct)
    first, _ = weigh(of, first_belief(of), Weighed(mass_g=1200.0, resolution_g=1.0))
    _, verdict = weigh(of, first, Weighed(mass_g=1200.0, resolution_g=1.0))
    assert not verdict.can_tell
    assert "this scale cannot tell" in verdict.words
    assert "A scale that shows 0.0" in verdict.words


def test_a_kitchen_scale_can_tell_about_wet_nylon():
    """D.3: 20 g of water are clear on any scale."""
    of = body("pa6", start=None, start_pct=2.0)
    first, _ = weigh(of, first_belief(of), Weighed(mass_g=1220.0, resolution_g=1.0))
    _, verdict = weigh(of, week(of, first, 0.5), Weighed(mass_g=1221.0, resolution_g=1.0))
    assert verdict.can_tell
    assert "over the 2 g of its limit" in verdict.words


def test_cardboard_swings_more_than_the_filament():
    """D-21, P19: the body takes up more water than the filament, so the difference says little."""
    of = body("petg", reel="card", start=None, start_pct=0.03)
    assert scale_sd_g(Weighed(mass_g=1, resolution_g=0.01), of) >= 4.0
    first, _ = weigh(of, first_belief(of), Weighed(mass_g=1200.0, resolution_g=0.01))
    later = week(of, first, 0.09)
    after, verdict = weigh(of, later, Weighed(mass_g=1206.0, resolution_g=0.01))
    assert not verdict.can_tell
    assert "cardboard" in verdict.words
    assert width(means(of, after)) == pytest.approx(width(means(of, later)), rel=0.2)


def test_repeats_and_a_cold_spool_help_but_not_without_end():
    """D-20: several readings are better than one; a warm spool is worse."""
    one, many, endless, warm = (
        scale_sd_g(Weighed(mass_g=1, resolution_g=0.1, **how), body())
        for how in ({}, {"repeats": 4}, {"repeats": 20}, {"is_warm": True})
    )
    assert many == pytest.approx(one / 2)
    assert endless > one / 4
    assert warm > one


def test_weighings_teach_a_spool_its_own_figures():
    """P36, D-22: a spool that takes up more than its material's usual is expected to go on so."""
    of = body("pa6", start=None, start_pct=0.1)
    belief = first_belief(of)
    belief, _ = weigh(of, belief, Weighed(mass_g=1200.0, resolution_g=0.01))
    usual = week(of, belief, 0.5)
    gain_g = float(np.median((water_g(of, usual) - water_g(of, belief))[1:]))
    thirsty, _ = weigh(of, usual, Weighed(mass_g=1200.0 + 1.8 * gain_g, resolution_g=0.01))
    lazy, _ = weigh(of, usual, Weighed(mass_g=1200.0 + 0.5 * gain_g, resolution_g=0.01))
    assert thirsty.faster[1:].mean() + thirsty.thirstier[1:].mean() > 0.1
    assert lazy.faster[1:].mean() + lazy.thirstier[1:].mean() < -0.1
    # and no single weighing makes it another material
    assert np.abs(thirsty.thirstier).max() < 2.0


def test_no_weighing_makes_water_negative():
    """An absurd reading must not leave a state that is no state."""
    of = body("pla", start=None, start_pct=0.1)
    first, _ = weigh(of, first_belief(of), Weighed(mass_g=1200.0, resolution_g=0.01))
    after, _ = weigh(of, first, Weighed(mass_g=1100.0, resolution_g=0.01))
    assert (after.state.strand >= 0.0).all()
    assert np.isfinite(after.state.vapour_kg_m3).all()
    assert (water_g(of, after) > 0.0).all()
