"""What-if answers: against a closed form, within their own range, and refused in one sentence."""

import math
from dataclasses import replace

import pytest
from scipy.special import jn_zeros

from monitor.errors import BadInputError
from monitor.estimate.what_if import Question, answer_what_if
from monitor.library import load_library

LIBRARY = load_library()
PA6 = Question(material=LIBRARY.material("pa6"), humidity_pct=50, temperature_c=23, hours=120, start_pct=0.1)


def cylinder_uptake(diffusivity_m2_s, radius_m, time_s):
    """Share of the way to equilibrium of a long cylinder: Crank, The Mathematics of Diffusion, eq. 5.23."""
    return 1.0 - sum(
        4.0 / alpha**2 * math.exp(-diffusivity_m2_s * alpha**2 * time_s / radius_m**2)
        for alpha in jn_zeros(0, 400)
    )


@pytest.mark.parametrize(
    ("key", "hours"), [("pla", 2), ("pla", 14), ("pla", 60), ("pc", 2), ("pc", 14), ("pa6", 30), ("pa6", 300)]
)
def test_a_loose_strand_follows_the_series_of_the_cylinder(key, hours):
    """The middle of the answer is the catalogue's own figures, within 1 % of the exact series."""
    material = LIBRARY.material(key)
    answer = answer_what_if(
        Question(
            material=material, humidity_pct=50, temperature_c=23, hours=hours, start_pct=0.0, is_strand=True
        )
    )
    share = cylinder_uptake(material.diffusivity_m2_s, 0.875e-3, 3600 * hours)
    assert answer.moisture_pct.p50 == pytest.approx(share * answer.equilibrium_pct, rel=0.012)


def test_thick_filament_takes_up_in_the_ratio_of_the_squares():
    """2.85 mm filament is 2.65 times slower than 1.75 mm."""
    thin = replace(PA6, is_strand=True, start_pct=0.0, hours=20.0)
    thick = replace(thin, diameter_mm=2.85, hours=20.0 * (2.85 / 1.75) ** 2)
    one, other = answer_what_if(thin), answer_what_if(thick)
    assert one.moisture_pct.p50 == pytest.approx(other.moisture_pct.p50, rel=0.005)


@pytest.mark.parametrize("key", sorted(LIBRARY.materials))
def test_every_material_of_the_catalogue_has_an_answer_with_its_range(key):
    """P05: a number, how sure it is, and never outside of dry and settled."""
    material = LIBRARY.material(key)
    answer = answer_what_if(
        Question(material=material, humidity_pct=60, temperature_c=23, hours=8, start_pct=0.0)
    )
    for spread in (answer.moisture_pct, answer.outer_pct):
        assert 0 <= spread.p10 <= spread.p50 <= spread.p90
    assert answer.moisture_pct.p50 <= answer.outer_pct.p50 * 1.001 + 1e-9
    means = [point.mean_pct for point in answer.curve]
    assert means == sorted(means)
    assert means[-1] == answer.moisture_pct.p50
    assert answer.curve[-1].h == 8


def test_a_night_outside_counts_more_for_the_outer_windings_than_for_the_core():
    """P03 and P20: what is printed first is wettest first; the hub is days behind."""
    last = answer_what_if(replace(PA6, hours=24.0)).curve[-1]
    assert last.outer_pct > 2 * last.inner_pct


def test_open_flanges_let_water_in_faster():
    """A spoked reel breathes through its sides, too."""
    closed, opened = answer_what_if(PA6), answer_what_if(replace(PA6, open_flanges=True))
    assert opened.moisture_pct.p50 > 1.05 * closed.moisture_pct.p50


def test_the_time_to_the_limit_is_where_the_curve_crosses_it():
    """Read from the same course, so that the page cannot contradict itself."""
    answer = answer_what_if(PA6)
    before = [point for point in answer.curve if point.mean_pct <= answer.limit_pct]
    after = [point for point in answer.curve if point.mean_pct > answer.limit_pct]
    assert before[-1].h <= answer.over_limit_after_h.p50 <= after[0].h
    assert answer.over_limit_after_h.p10 <= answer.over_limit_after_h.p50 <= answer.over_limit_after_h.p90


def test_what_never_passes_its_limit_says_so():
    """P11: polypropylene in any air of a room stays printable, whatever the humidity reads."""
    answer = answer_what_if(
        Question(material=LIBRARY.material("pp"), humidity_pct=60, temperature_c=23, hours=500, start_pct=0.0)
    )
    assert answer.over_limit_after_h.p50 is None
    assert "stays under its limit" in answer.over_limit_after_h.why


def test_the_same_question_has_the_same_answer():
    """A range that flickered from one look to the next would be believed by nobody."""
    assert answer_what_if(PA6) == answer_what_if(PA6)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"humidity_pct": 101}, "rh is 101"),
        ({"humidity_pct": float("nan")}, "rh is nan"),
        ({"temperature_c": 95}, "temperature is 95"),
        ({"temperature_c": -5}, "temperature is -5"),
        ({"hours": 0}, "hours is 0"),
        ({"net_g": -1}, "net-g is -1"),
        ({"diameter_mm": 17.5}, "diameter-mm is 17.5"),
        ({"start_pct": 12}, "start-pct is 12"),
    ],
)
def test_what_lies_outside_the_model_is_refused_with_field_and_range(change, said):
    """One sentence naming the field and what is allowed; nothing is clamped in silence."""
    with pytest.raises(BadInputError) as caught:
        answer_what_if(replace(PA6, **change))
    assert said in str(caught.value)
    assert "allowed are" in str(caught.value)
