"""What-if answers: against closed forms and a fine solution, within their range, refused in one sentence."""

import math
from dataclasses import astuple, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from physics import reference_solver as reference
from scipy.special import jn_zeros
from support.advice import LIBRARY, ask

from monitor.errors import BadInputError, FieldError
from monitor.estimate.what_if import answer_what_if
from monitor.library import polymer_content
from monitor.model.answers import plain
from monitor.model.what_if import Start
from monitor.physics.diffusion import cylinder_modes

PA6 = ask("pa6", hours=120.0, start_pct=0.1)
MATERIALS = sorted(LIBRARY.materials)


def cylinder_uptake(diffusivity_m2_s, radius_m, time_s):
    """Share of the way to equilibrium of a long cylinder: Crank, The Mathematics of Diffusion, eq. 5.23."""
    return 1.0 - sum(
        4.0 / alpha**2 * math.exp(-diffusivity_m2_s * alpha**2 * time_s / radius_m**2)
        for alpha in jn_zeros(0, 400)
    )


def usual_spool(key, net_kg, start_content, **air):
    """The reference's case of a spool whose reel nobody measured; its outer radius by hand."""
    material = LIBRARY.material(key)
    wound_m3 = net_kg / material.density_kg_m3 / 0.65
    modes = cylinder_modes()
    low, high = 0.0, 1.0
    for _ in range(60):  # the humidity that holds the start, by halving
        middle = 0.5 * (low + high)
        low, high = (middle, high) if polymer_content(material, middle) < start_content else (low, middle)
    curve = material.isotherm
    return reference.Case(
        outer_m=math.sqrt(0.045**2 + wound_m3 / (math.pi * 0.060)),
        solid=0.65,
        diffusion=0.21,
        film_m_s=3e-3,
        density=material.density_kg_m3,
        d23=material.diffusivity_m2_s,
        activation=material.activation_j_mol,
        isotherm=lambda a: curve.scale * a / (1.0 + a * (curve.linear + a * curve.quadratic)),
        pairs=tuple(zip(modes.weights, modes.rates, strict=True)),
        start_rh=low,
        **air,
    )


@pytest.mark.parametrize(
    ("key", "hours"), [("pla", 2), ("pla", 14), ("pla", 60), ("pc", 2), ("pc", 14), ("pa6", 30), ("pa6", 300)]
)
def test_a_loose_strand_follows_the_series_of_the_cylinder(key, hours):
    """The middle of the answer is the catalogue's own figures, within 1 % of the exact series."""
    answer = answer_what_if(ask(key, hours=hours, start_pct=0.0, is_strand=True))
    share = cylinder_uptake(LIBRARY.material(key).diffusivity_m2_s, 0.875e-3, 3600 * hours)
    assert answer.moisture_pct.p50 == pytest.approx(share * answer.equilibrium_pct, rel=0.012)


@pytest.mark.parametrize(("key", "start_pct", "hours"), [("pla", 0.04, 30.0), ("pa6", 0.1, 120.0)])
def test_a_spool_lands_on_a_fine_solution_of_the_same_equations(key, start_pct, hours):
    """Evenly spaced cells and LSODA, which share nothing with the product: within 1 % of each figure."""
    answer = answer_what_if(ask(key, hours=hours, start_pct=start_pct))
    case = usual_spool(key, 1.0, start_pct / 100.0, air_c=23.0, air_rh=0.5, start_c=23.0)
    (fine,) = reference.solve(case, [hours], cells=100)
    assert answer.moisture_pct.p50 == pytest.approx(100.0 * fine.mean, rel=0.01)
    assert answer.outer_pct.p50 == pytest.approx(100.0 * fine.outer, rel=0.01)


def test_thick_filament_takes_up_in_the_ratio_of_the_squares():
    """2.85 mm filament is 2.65 times slower than 1.75 mm."""
    thin = ask("pa6", hours=20.0, start_pct=0.0, is_strand=True)
    thick = ask("pa6", hours=20.0 * (2.85 / 1.75) ** 2, start_pct=0.0, is_strand=True, diameter_mm=2.85)
    one, other = answer_what_if(thin), answer_what_if(thick)
    assert one.moisture_pct.p50 == pytest.approx(other.moisture_pct.p50, rel=0.005)


@pytest.mark.parametrize("key", MATERIALS)
def test_every_material_of_the_catalogue_has_an_answer_with_its_range(key):
    """P05: a number, how sure it is, and never outside of dry and settled."""
    answer = answer_what_if(ask(key, rh=60, hours=8, start_pct=0.0))
    for spread in (answer.moisture_pct, answer.outer_pct):
        assert 0 <= spread.p10 <= spread.p50 <= spread.p90
    assert answer.moisture_pct.p50 <= answer.outer_pct.p50 * 1.001 + 1e-9
    means = [point.mean_pct for point in answer.curve]
    assert means == sorted(means)
    assert means[-1] == answer.moisture_pct.p50
    assert answer.curve[-1].h == 8


@pytest.mark.parametrize("key", ["pa6", "pva", "tpu_ether"])
def test_p20_outer_windings_are_over_the_limit_within_hours_of_printing_in_a_room(key):
    """P20: nylon, water-soluble support and TPU re-wet while they are printed; the core is far behind."""
    answer = answer_what_if(ask(key, rh=55, hours=8))
    assert 0.0 < answer.outer_over_limit_after_h.p50 < 4.0
    last = answer.curve[-1]
    assert last.outer_pct > 1.4 * last.inner_pct
    before_all = answer.over_limit_after_h.p50
    assert before_all is None or answer.outer_over_limit_after_h.p50 < before_all


def test_p05_start_and_amount_change_how_long_a_spool_stays_good_and_takes_to_dry():
    """P05: a chart gives 4 to 6 h for anything; what is in it at first and how much is wound decide."""
    usual = answer_what_if(ask("petg", hours=24, start_pct=0.02, reel="pc"))
    wetter = answer_what_if(ask("petg", hours=24, start_pct=0.035, reel="pc"))
    little = answer_what_if(ask("petg", hours=24, start_pct=0.02, net_g=150, reel="pc"))
    assert wetter.over_limit_after_h.p50 < 0.6 * usual.over_limit_after_h.p50
    assert little.over_limit_after_h.p50 < 0.8 * usual.over_limit_after_h.p50
    assert little.drying.hours.p50 < 0.8 * usual.drying.hours.p50
    damp, soaked = (
        answer_what_if(ask("petg", hours=0.1, start_pct=pct, reel="pc")).drying for pct in (0.1, 0.4)
    )
    assert soaked.hours.p50 > 1.5 * damp.hours.p50


def test_a_spool_as_sold_is_wetter_and_less_known_than_a_dried_one_and_a_week_outside_is_wetter_yet():
    """P01: a factory seal does not mean dry."""
    dried, sold, week = (
        answer_what_if(ask("pa6", hours=1.0, start=start)).start_pct
        for start in (Start.DRIED, Start.SOLD, Start.WEEK)
    )
    assert dried.p90 <= 0.2 < sold.p10
    assert sold.p90 - sold.p10 > dried.p90 - dried.p10
    assert sold.p50 < week.p50


def test_open_flanges_let_water_in_faster():
    """A spoked reel breathes through its sides, too."""
    closed, opened = answer_what_if(PA6), answer_what_if(replace(PA6, open_flanges=True))
    assert opened.moisture_pct.p50 > 1.05 * closed.moisture_pct.p50


def test_the_time_to_the_limit_is_where_the_curve_crosses_it():
    """Read from the same course, so that the page cannot contradict itself."""
    answer = answer_what_if(PA6)
    for spread, member in (
        (answer.over_limit_after_h, "mean_pct"),
        (answer.outer_over_limit_after_h, "outer_pct"),
    ):
        before = [point.h for point in answer.curve if getattr(point, member) <= answer.limit_pct]
        after = [point.h for point in answer.curve if getattr(point, member) > answer.limit_pct]
        assert round(before[-1], 2) <= spread.p50 <= round(after[0], 1)
        assert spread.p10 <= spread.p50 <= spread.p90


def test_the_band_holds_the_curve_and_ends_where_the_answer_does():
    """What is drawn is what is told."""
    answer = answer_what_if(PA6)
    for point, band in zip(answer.curve, answer.band, strict=True):
        assert point.h == band.h
        assert band.mean_p10_pct <= point.mean_pct <= band.mean_p90_pct
        assert band.outer_p10_pct <= point.outer_pct <= band.outer_p90_pct
    end = answer.band[-1]
    assert (end.mean_p10_pct, end.mean_p90_pct) == (answer.moisture_pct.p10, answer.moisture_pct.p90)
    assert (end.outer_p10_pct, end.outer_p90_pct) == (answer.outer_pct.p10, answer.outer_pct.p90)


def test_what_never_passes_its_limit_says_so():
    """P11: polypropylene in any air of a room stays printable, whatever the humidity reads."""
    answer = answer_what_if(ask("pp", rh=60, hours=500, start_pct=0.0))
    for spread in (answer.over_limit_after_h, answer.outer_over_limit_after_h):
        assert spread.p50 is None
        assert "under its limit" in spread.why


def test_a_night_outside_is_what_a_dried_spool_gains_in_twelve_hours():
    """Against a question of its own: the same hours, asked directly."""
    asked = ask("pa6", rh=60, temperature=21, hours=62, net_g=750)
    night = answer_what_if(asked).night_outside
    direct = answer_what_if(ask("pa6", rh=60, temperature=21, hours=12, net_g=750))
    gain = direct.moisture_pct.p50 - direct.start_pct.p50
    assert night.hours == 12
    assert night.gain_pct.p50 == pytest.approx(gain, rel=0.01)
    assert night.gain_g.p50 == pytest.approx(7.5 * night.gain_pct.p50, rel=0.01)
    length_m = 0.75 / LIBRARY.material("pa6").density_kg_m3 / (math.pi * 0.000875**2)
    assert night.length_m == pytest.approx(length_m, rel=0.005)


def test_metres_lost_are_those_that_lie_outside_the_depth_where_the_limit_is():
    """Support material after a night: wet outside, printable within; the profile of a fine solution tells."""
    night = answer_what_if(ask("pva", rh=60, temperature=22)).night_outside
    case = usual_spool("pva", 1.0, 0.005, air_c=22.0, air_rh=0.6, start_c=22.0)
    (fine,) = reference.solve(case, [12.0], cells=100)
    wet = fine.profile > 0.01
    share = (fine.radii_m * wet).sum() / fine.radii_m.sum()  # even cells: their area goes with the radius
    assert 0.2 < share < 0.7
    assert night.lost_m.p50 == pytest.approx(share * night.length_m, rel=0.05)
    assert night.lost_m.p10 <= night.lost_m.p50 <= night.lost_m.p90 <= night.length_m


def test_the_same_question_has_the_same_answer():
    """A range that flickered from one look to the next would be believed by nobody."""
    assert answer_what_if(PA6) == answer_what_if(PA6)


@pytest.mark.parametrize(
    ("change", "field", "said"),
    [
        ({"rh": 101}, "rh", "rh is 101; for PA6 allowed are 0 to 100 %RH"),
        ({"rh": math.nan}, "rh", "rh is nan"),
        ({"temperature": 95}, "temperature", "temperature is 95; for PA6 allowed are 0 to 85 °C"),
        ({"temperature": -5}, "temperature", "temperature is -5"),
        ({"hours": 0}, "hours", "hours is 0"),
        ({"hours": math.inf}, "hours", "hours is inf"),
        ({"net_g": -1}, "net-g", "net-g is -1; for PA6 allowed are 10 to 50000 g"),
        ({"diameter_mm": 17.5}, "diameter-mm", "diameter-mm is 17.5"),
        ({"start_pct": 12}, "start-pct", "start-pct is 12"),
        ({"start_pct": math.nan}, "start-pct", "start-pct is nan"),
        ({"start_pct": -0.1}, "start-pct", "start-pct is -0.1"),
    ],
)
def test_what_lies_outside_the_model_is_refused_with_field_and_range(change, field, said):
    """One sentence naming the field and what is allowed; nothing is clamped in silence."""
    with pytest.raises(FieldError) as caught:
        answer_what_if(ask("pa6", **change))
    assert isinstance(caught.value, BadInputError)
    assert caught.value.field == field
    assert said in str(caught.value)
    assert "allowed are" in str(caught.value)


QUESTIONS = st.builds(
    ask,
    st.sampled_from(MATERIALS),
    rh=st.floats(0.0, 100.0),
    temperature=st.floats(0.0, 40.0),
    hours=st.floats(0.01, 2_000.0),
    reel=st.sampled_from(sorted(LIBRARY.reels)),
    diameter_mm=st.floats(1.0, 4.0),
    net_g=st.floats(10.0, 3_000.0),
    start=st.sampled_from(Start),
    open_flanges=st.booleans(),
    is_strand=st.booleans(),
)


def numbers_of(value):
    if isinstance(value, dict):
        yield from (number for item in value.values() for number in numbers_of(item))
    elif isinstance(value, list):
        yield from (number for item in value for number in numbers_of(item))
    elif isinstance(value, float):
        yield value


def spreads_of(value):
    if isinstance(value, dict) and "p50" in value:
        yield value
    elif isinstance(value, dict):
        yield from (spread for item in value.values() for spread in spreads_of(item))


@settings(max_examples=30, deadline=None)
@given(question=QUESTIONS)
def test_no_question_within_the_ranges_makes_a_number_that_is_none_or_a_range_upside_down(question):
    """What a page shows and a program reads must be numbers, in order, and never negative water."""
    answer = plain(answer_what_if(question))
    assert all(math.isfinite(number) for number in numbers_of(answer))
    for spread in spreads_of(answer):
        known = [spread[name] for name in ("p10", "p50", "p90") if spread[name] is not None]
        assert known == sorted(known)
        assert len(known) == 3 or spread["why"]
    for point in answer["curve"]:
        assert min(point["mean_pct"], point["outer_pct"], point["inner_pct"]) >= 0.0
    assert answer["drying"]["floor_pct"] >= 0.0
    assert answer["drying"]["temperature_c"] <= question.material.max_safe_c


@settings(max_examples=12, deadline=None)
@given(
    key=st.sampled_from(MATERIALS),
    drier=st.floats(0.0, 95.0),
    moister=st.floats(1.0, 50.0),
    hours=st.floats(0.1, 300.0),
    is_strand=st.booleans(),
)
def test_wetter_air_never_leaves_it_drier(key, drier, moister, hours, is_strand):
    """In every member and everywhere: mean, outside, range and what a night costs."""
    wet = min(drier + moister, 100.0)
    one, other = (answer_what_if(ask(key, rh=rh, hours=hours, is_strand=is_strand)) for rh in (drier, wet))
    for name in ("moisture_pct", "outer_pct"):
        low, high = getattr(one, name), getattr(other, name)
        assert low.p10 <= high.p10 * 1.005 + 1e-6
        assert low.p50 <= high.p50 * 1.005 + 1e-6
        assert low.p90 <= high.p90 * 1.005 + 1e-6
    assert one.night_outside.gain_g.p50 <= other.night_outside.gain_g.p50 + 1e-6


@settings(max_examples=12, deadline=None)
@given(key=st.sampled_from(MATERIALS), hours=st.floats(0.1, 300.0), longer=st.floats(1.05, 5.0))
def test_a_longer_time_in_moist_air_never_leaves_a_dry_spool_drier(key, hours, longer):
    """From quite dry it only rises; another length of the curve's pieces must not turn that round."""
    one, other = (answer_what_if(ask(key, rh=60, hours=h, start_pct=0.0)) for h in (hours, longer * hours))
    assert one.moisture_pct.p50 <= other.moisture_pct.p50 * 1.005
    assert one.outer_pct.p50 <= other.outer_pct.p50 * 1.005
    assert all(value is not None for value in astuple(other.moisture_pct)[:3])
