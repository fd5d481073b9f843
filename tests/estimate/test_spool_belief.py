"""The ensemble of one spool: its start, its members, its water."""

import numpy as np
import pytest
from support.spool_site import spool

from monitor.estimate.ensemble import AIR, COUNT, DIFFUSIVITY, ISOTHERM, PACK, START, deviations, percentiles
from monitor.estimate.spool_belief import (
    Body,
    first_belief,
    pack,
    print_off,
    scaled,
    stack_states,
    stacked,
    unpack,
)
from monitor.estimate.spool_course import Around, equilibrium, equivalent_humidity, follow
from monitor.estimate.spool_track import means, outers
from monitor.library import load_library
from monitor.physics.spool import spool_water_kg
from monitor.physics.spool_reading import mean_water_content, wound_kg

LIBRARY = load_library()
MATERIALS = ["pla", "petg", "pa6", "tpu_ether", "pva", "pp"]


def body(material="petg", **members):
    return Body(
        spool=spool(material=material, **members),
        material=LIBRARY.material(material),
        reel=LIBRARY.reel(members.get("reel", "unknown")),
    )


def around(humidity, *, temperature_c=23.0, sd=0.0, **members):
    return Around(
        place="crate",
        temperature_c=temperature_c,
        relative_humidity=humidity,
        relative_humidity_sd=sd,
        **members,
    )


def water_g(of, belief):
    return 1000.0 * spool_water_kg(stacked([of], [belief]), stack_states([belief]))[0]


def test_every_axis_is_filled_evenly_and_no_two_go_together():
    """A dozen members must not pretend a link between what is unknown for different reasons."""
    axes = np.array([deviations(axis)[1:] for axis in (DIFFUSIVITY, ISOTHERM, PACK, START, AIR)])
    assert np.allclose(axes.mean(axis=1), 0.0, atol=1e-12)
    assert np.allclose(axes.std(axis=1), 1.0)
    assert all(len(set(np.round(axis, 9))) == COUNT - 1 for axis in axes)
    assert np.abs(np.corrcoef(axes) - np.eye(5)).max() < 0.12


def test_percentiles_are_those_of_numpy():
    """Written by hand for speed, so held against the library."""
    values = np.concatenate([[0.0], deviations(START)[1:]])
    assert percentiles(values)[0] == pytest.approx(np.quantile(values[1:], 0.1, method="hazen"))
    assert percentiles(values)[2] == pytest.approx(np.quantile(values[1:], 0.9, method="hazen"))


@pytest.mark.parametrize("material", MATERIALS)
def test_a_start_that_was_stated_stands_and_others_widen_with_what_is_unknown(material):
    """D-03: unknown is taken for damp; a maker's seal is no proof of dryness (P01)."""
    drier_pct = 10.0 * LIBRARY.material(material).content_saturated  # a tenth of what it can hold
    stated = means(body(material), first_belief(body(material, start=None, start_pct=drier_pct)))
    assert stated[1] == pytest.approx(drier_pct / 100.0, rel=1e-3)
    assert stated[2] / stated[0] < 1.2
    spans = {}
    for start in ("sealed_dry", "sealed", "open", "unknown"):
        spans[start] = means(body(material), first_belief(body(material, start=start)))
    assert spans["sealed_dry"][1] < spans["sealed"][1] < spans["open"][1] < spans["unknown"][1]
    assert spans["unknown"][2] - spans["unknown"][0] > spans["open"][2] - spans["open"][0]


def test_a_start_wetter_than_the_isotherm_allows_is_saturated_at_most():
    """A member whose material holds less cannot hold what was stated."""
    saturated = first_belief(body("pla", start=None, start_pct=0.85))
    assert np.isfinite(saturated.state.strand).all()
    assert means(body("pla"), saturated)[1] == pytest.approx(0.0085, rel=0.01)


def test_packing_keeps_seven_digits_and_a_few_kilobytes():
    """State kept through restarts; the benchmark's table gives its size."""
    belief = first_belief(body("pa6"))
    content = pack(belief)
    again = unpack(content)
    assert len(content) < 16_000
    assert np.allclose(again.state.strand, belief.state.strand, rtol=1e-6)
    assert again.offset_g is None
    assert pack(again) == content  # so that a restart changes nothing


def test_printing_keeps_the_profile_of_what_is_left():
    """Outer windings go; the inner ones stay as they were, and water goes with the filament."""
    wet, _ = follow([body()], [first_belief(body(start=None, start_pct=0.02))], [around(0.6)], 40 * 3600.0)
    before = wet[0]
    after = print_off(body(), before, 400.0)
    kept = wound_kg(stacked([body()], [after]), stack_states([after]))[0]
    assert np.allclose(kept, 0.6, rtol=1e-6)
    assert (water_g(body(), after) < water_g(body(), before)).all()
    inner_before, inner_after = (b.state.strand[:, 0].mean(axis=-1) for b in (before, after))
    assert np.allclose(inner_after, inner_before, rtol=0.02)
    nothing = print_off(body(), before, 5_000.0)
    assert wound_kg(stacked([body()], [nothing]), stack_states([nothing]))[0].max() < 0.001


@pytest.mark.parametrize("material", MATERIALS)
def test_water_that_came_in_is_water_that_is_there(material):
    """Conservation over steps of any length, member by member."""
    of, belief = body(material), first_belief(body(material))
    start = water_g(of, belief)[0]
    gained = 0.0
    for humidity, hours in ((0.6, 0.5), (0.1, 6.0), (0.9, 30.0), (0.3, 200.0)):
        (belief,), (passage,) = follow([of], [belief], [around(humidity)], hours * 3600.0)
        gained += 1000.0 * passage.gained_kg
    assert water_g(of, belief)[0] == pytest.approx(start + gained, rel=1e-9)


def test_many_spools_at_once_are_each_as_alone():
    """One sweep must not let a neighbour's figures in."""
    bodies = [body(material) for material in MATERIALS]
    beliefs = [first_belief(each) for each in bodies]
    air = [around(0.1 * number + 0.05, sd=0.01) for number in range(len(bodies))]
    together, _ = follow(bodies, beliefs, air, 1800.0)
    for number, each in enumerate(bodies):
        (alone,), _ = follow([each], [beliefs[number]], [air[number]], 1800.0)
        assert np.allclose(alone.state.strand, together[number].state.strand, rtol=1e-6)


def test_a_sealed_bag_lets_nothing_through():
    """D-01: sealed."""
    of, belief = body("pa6"), first_belief(body("pa6"))
    (after,), (passage,) = follow([of], [belief], [around(0.9, is_sealed=True)], 30 * 86_400.0)
    assert water_g(of, after) == pytest.approx(water_g(of, belief), rel=1e-4)
    assert passage.heading_for == pytest.approx(passage.mean_content)


def test_in_a_gap_members_stand_between_the_best_and_the_worst_air():
    """A-36: worst case in the middle, the last measured air as the best case."""
    of, belief = (
        body("tpu_ether", start=None, start_pct=0.02),
        first_belief(body("tpu_ether", start=None, start_pct=0.02)),
    )
    ends = {}
    for name, air in {
        "best": around(0.1),
        "gap": around(0.6, driest=0.1, is_measured=False),
        "worst": around(0.6),
    }.items():
        (after,), _ = follow([of], [belief], [air], 48 * 3600.0)
        ends[name] = means(of, after)
    assert ends["gap"][1] == pytest.approx(ends["worst"][1], rel=1e-6)
    assert ends["best"][0] < ends["gap"][0] < ends["worst"][0]


@pytest.mark.parametrize("humidity", [0.08, 0.31, 0.55, 0.8])
def test_a_constant_air_is_its_own_equivalent(humidity):
    """A-41: constant conditions give that very humidity."""
    of, start = (
        body("petg", start=None, start_pct=0.05),
        first_belief(body("petg", start=None, start_pct=0.05)),
    )
    belief = start
    for _ in range(96):
        (belief,), _ = follow([of], [belief], [around(humidity)], 1800.0)
    found = equivalent_humidity(of, start, 96 * 1800.0, 23.0, means(of, belief)[1])
    assert found == pytest.approx(humidity, abs=0.005)


def test_an_equivalent_humidity_lies_within_what_was_there_and_rises_with_it():
    """A-41: at most the dampest, and monotone."""
    of, start = body("pla", start=None, start_pct=0.05), first_belief(body("pla", start=None, start_pct=0.05))

    def equivalent(damp):
        belief = start
        for hour in range(72):
            (belief,), _ = follow([of], [belief], [around(damp if hour % 24 < 8 else 0.1)], 3600.0)
        return equivalent_humidity(of, start, 72 * 3600.0, 23.0, means(of, belief)[1])

    mild, harsh = equivalent(0.4), equivalent(0.7)
    assert 0.1 < mild < harsh < 0.7


def test_scaling_moves_water_by_the_factor_and_keeps_vapour_with_it():
    """Updates act on water; the air between the windings must agree with it or it would flow at once."""
    of, belief = body("pa6", start=None, start_pct=1.0), first_belief(body("pa6", start=None, start_pct=1.0))
    half = scaled(of, belief, np.full(COUNT, 0.5), belief.thirstier, belief.faster)
    parameters = stacked([of], [half])
    assert mean_water_content(parameters, stack_states([half]))[0] == pytest.approx(
        0.005 * np.ones(COUNT), rel=0.2
    )
    (after,), _ = follow([of], [half], [around(0.5, is_sealed=True)], 3600.0)
    assert outers(of, after)[1] == pytest.approx(outers(of, half)[1], rel=1e-3)


def test_the_equilibrium_of_the_nominal_member_is_the_catalogues_isotherm():
    """At 50 %RH the catalogue's own figure comes out."""
    for material in ("petg", "pa6", "abs"):
        of = body(material)
        at_half = equilibrium(of, first_belief(of), around(0.5))
        assert at_half[0] == pytest.approx(of.material.content_50, rel=0.01)
