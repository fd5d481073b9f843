"""Verdicts, outlook and figures of a spool, each against a second way to the same answer."""

from dataclasses import replace

import numpy as np
import pytest
from support.spool_site import spool

from monitor.estimate.spool_answer import outlooks, read
from monitor.estimate.spool_belief import Body, stack_states, stacked
from monitor.estimate.spool_course import Around, follow
from monitor.estimate.spool_track import begin, outers, take
from monitor.library import load_library
from monitor.model.spool_event import Sign, Signs, Spoiled, SpoolEvent
from monitor.physics.spool_reading import total_length_m

LIBRARY = load_library()


def track(material="petg", **members):
    of = Body(
        spool=spool(material=material, **members),
        material=LIBRARY.material(material),
        reel=LIBRARY.reel("unknown"),
    )
    return begin(of, 0.0)


def moved_on(of, humidity, hours, sd=0.0):
    (belief,), _ = follow([of.body], [of.belief], [around(humidity, sd)], hours * 3600.0)
    return replace(of, belief=belief)


def around(humidity, sd=0.0, **members):
    return Around(
        place="crate", temperature_c=23.0, relative_humidity=humidity, relative_humidity_sd=sd, **members
    )


@pytest.mark.parametrize("start_pct", [0.01, 0.02])
def test_a_spool_dry_through_and_through_is_ready(start_pct):
    """The verdict of the contract, with its reason."""
    reading = read([track(start=None, start_pct=start_pct)])[0]
    assert reading.verdict == "ready"
    assert "0.04 %" in reading.verdict_why
    assert reading.dry_length_m.p10 == reading.length_m


def test_a_wet_spool_is_to_be_dried_first():
    reading = read([track(start=None, start_pct=0.2)])[0]
    assert reading.verdict == "dry_first"
    assert reading.dry_length_m.p50 == 0.0


def test_a_spool_near_its_limit_is_not_sure_and_says_what_would_decide():
    """Never a verdict that is not known."""
    reading = read([track(start=None, start_pct=0.04)])[0]
    assert reading.verdict == "not_sure"
    assert "weigh it or dry it" in reading.verdict_why


def test_a_spool_with_a_dry_skin_over_a_wet_core_says_how_many_metres():
    """A spool dried for a few hours prints well for some metres and badly afterwards."""
    wet = track("abs", start=None, start_pct=0.25)
    hot = replace(around(0.03), temperature_c=80.0, is_heated=True)
    (belief,), _ = follow([wet.body], [wet.belief], [hot], 1.8 * 3600.0)
    reading = read([replace(wet, belief=belief)])[0]
    assert reading.outer_pct.p90 < 0.1 < reading.moisture_pct.p50
    assert reading.verdict == "dry_first"
    assert 0.0 < reading.dry_length_m.p10 < reading.dry_length_m.p90 < reading.length_m
    assert f"outer {reading.dry_length_m.p10:g} m" in reading.verdict_why


def test_a_spool_that_is_dry_outside_and_probably_within_is_not_called_wet():
    """Never a verdict that is not known: what most members call dry is not told to be wet below some metres."""
    dried = moved_on(track(start=None, start_pct=0.046), 0.02, 6.0)
    reading = read([dried])[0]
    assert reading.outer_pct.p90 <= 0.04
    assert 0.0 < reading.dry_length_m.p10 < 0.98 * reading.length_m
    assert reading.dry_length_m.p50 == reading.length_m
    assert reading.verdict == "not_sure"
    assert reading.verdict_why.startswith("Probably all of it is dry enough")
    assert f"outer {reading.dry_length_m.p10:g} m" in reading.verdict_why


def test_p03_a_spool_that_prints_well_but_is_too_wet_for_strength_says_so():
    """P03: two limits, looks and strength."""
    reading = read([track("pla", start=None, start_pct=0.06)])[0]
    assert reading.verdict == "dry_first"
    assert "look right" in reading.verdict_why
    assert "full strength" in reading.verdict_why
    assert "0.025 %" in reading.verdict_why


def test_a_spool_judged_beyond_saving_is_damaged_whatever_its_water():
    event = SpoolEvent(spool="grey", at_s=0.0, entered_s=0.0, who="mara", what=Spoiled(why="windings fused"))
    reading = read([take(track(start=None, start_pct=0.01), event)])[0]
    assert reading.verdict == "damaged"
    assert "windings fused" in reading.verdict_why


def test_p21_pva_that_has_grown_together_is_beyond_saving():
    """P21: too wet is lost; merely wet is to be dried."""
    assert read([track("pva", start=None, start_pct=5.0)])[0].verdict == "dry_first"
    lost = read([track("pva", start=None, start_pct=18.0)])[0]
    assert lost.verdict == "damaged"
    assert "drying does not undo" in lost.verdict_why


def test_use_before_is_when_the_quickest_tenth_of_members_passes_the_limit():
    """Checked by stepping the same members every quarter of an hour."""
    dry = track("tpu_ether", start=None, start_pct=0.015)
    air = around(0.5, sd=0.015)
    found = outlooks([dry], [air])[0].over_after_s
    belief, times = dry.belief, np.full(13, np.inf)
    for quarter in range(1, 200):
        (belief,), _ = follow([dry.body], [belief], [air], 900.0)
        parameters, state = stacked([dry.body], [belief]), stack_states([belief])
        from monitor.physics.spool_reading import outer_water_content

        over = outer_water_content(parameters, state)[0] > dry.body.material.limit_content
        times[over & np.isinf(times)] = 900.0 * quarter
    second = sorted(times[1:])[1]
    assert found == pytest.approx(min(second, times[0]), rel=0.15, abs=900.0)


def test_one_forecast_of_many_steps_is_many_of_one():
    """Forecasts of more than one step equal repeated single steps."""
    one = track("petg", start=None, start_pct=0.02)
    for _ in range(3):
        one = moved_on(one, 0.4, 24)
    other = one
    for _ in range(48):
        other = moved_on(other, 0.4, 0.5)
    assert outers(moved_on(one, 0.4, 24).body, moved_on(one, 0.4, 24).belief)[1] == pytest.approx(
        outers(other.body, other.belief)[1], rel=0.005
    )


def test_dry_air_has_no_use_before_and_damp_air_a_sooner_one():
    """The clock stands in a dry box and runs faster in a damp room (D-02)."""
    dry = track(start=None, start_pct=0.01)
    rest, slow, fast = (outlooks([dry], [around(h)])[0] for h in (0.05, 0.3, 0.7))
    assert (rest.over_after_s, rest.trend) == (None, "pause")
    assert slow.trend == fast.trend == "run"
    assert fast.over_after_s < slow.over_after_s


def test_recovering_in_a_dry_box_is_another_verb_than_resetting():
    """D-02: putting a spool into a dry box never resets."""
    wet = track("pa6", start=None, start_pct=1.5)
    outlook = outlooks([wet], [around(0.02)])[0]
    assert outlook.trend == "recover"
    assert outlook.under_after_s > 14 * 86_400.0
    assert read([moved_on(wet, 0.02, 24 * 14)])[0].moisture_pct.p50 > 0.2
    assert read([moved_on(wet, 0.02, outlook.under_after_s / 3600.0)])[0].moisture_pct.p50 == pytest.approx(
        0.2, rel=0.15
    )


def test_figures_of_many_spools_are_those_of_each():
    """Arrays over spools must not mix them up."""
    tracks = [track(m, start="open") for m in ("pla", "pa6", "pva", "pp")]
    assert read(tracks) == [read([each])[0] for each in tracks]


def test_length_is_that_of_the_filament():
    """A kilogram of 1.75 mm at 1270 kg/m3 is 327 m, by the cylinder's volume."""
    of = track(start=None, start_pct=0.01)
    exact = 1.0 / 1270.0 / (np.pi * 0.000875**2)
    assert total_length_m(stacked([of.body], [of.belief]), stack_states([of.belief]))[0, 0] == pytest.approx(
        exact
    )
    assert read([of])[0].length_m == pytest.approx(exact, rel=0.005)


def test_p23_strings_on_a_dry_spool_name_the_look_alikes():
    """P23: low water left means: not moisture."""
    event = SpoolEvent(spool="grey", at_s=0.0, entered_s=0.0, who="mara", what=Signs(seen=(Sign.STRINGS,)))
    after = take(track("tpu_ether", start=None, start_pct=0.01), event)
    assert "retraction" in after.diary.last_signs
    wet = take(track("tpu_ether", start=None, start_pct=0.3), event)
    assert wet.diary.last_signs is None
