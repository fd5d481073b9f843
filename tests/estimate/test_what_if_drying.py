"""What drying takes: floors by hand, times on a fine solution, and what a humid room forbids."""

import math

import pytest
from estimate.test_what_if import usual_spool
from hypothesis import given, settings
from hypothesis import strategies as st
from physics import reference_solver as reference
from support.advice import LIBRARY, ask

from monitor.estimate.what_if import answer_what_if


def drying(key, **more):
    return answer_what_if(ask(key, **more)).drying


def magnus_pa(celsius):
    """Another formula than the product's: WMO's Magnus form over water, within 0.5 % up to 80 degC."""
    return 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))


def test_d12_the_floor_is_the_isotherm_at_the_heated_airs_humidity_by_hand():
    """D-12: 23 degC and 50 %RH heated to 45 degC: PLA's curve is 0.72 a / (1 - 0.2 a) per cent."""
    answer = drying("pla", rh=50, temperature=23)
    a = 0.5 * magnus_pa(23.0) / magnus_pa(45.0)
    assert answer.temperature_c == 45.0
    assert answer.humidity_pct == pytest.approx(100.0 * a, rel=0.01)
    assert answer.floor_pct == pytest.approx(0.72 * a / (1.0 - 0.2 * a), rel=0.01)


def test_d12_pla_dried_in_plain_room_air_stays_near_0_1_per_cent_and_is_told_what_would_help():
    """physics: room air merely warmed to 45 to 50 degC leaves PLA near 0.1 %, above its 0.025 %."""
    answer = drying("pla", rh=50, temperature=23, hours=62)
    assert answer.floor_pct == pytest.approx(0.1, abs=0.015)
    assert not answer.reaches_limit
    assert answer.hours.p50 is None
    assert "however long it takes; its limit is 0.025 %" in answer.why
    assert any("desiccant in the chamber" in text for text in answer.remedies)
    assert any("below 12 %RH" in text for text in answer.remedies)


def test_p35_a_dryer_in_a_humid_room_makes_a_dry_spool_wetter():
    """P35: at 75 %RH support material at 45 degC settles far above what a printable spool holds."""
    answer = drying("pva", rh=75, temperature=25, hours=0.1, start_pct=0.8)
    assert answer.makes_wetter
    assert answer.floor_pct > 0.8
    assert "it would take up water" in answer.why or "in there it would take up water" in answer.why
    assert answer.hours.p50 is None
    dry_room = drying("pva", rh=20, temperature=23, hours=0.1, start_pct=1.5)
    assert dry_room.reaches_limit
    assert not dry_room.makes_wetter


def test_the_remedy_is_one_a_day_as_dry_as_it_names_does_reach_the_limit():
    """The advice is followed: a hair drier than it says, and the floor is under the limit."""
    answer = drying("petg", rh=60, temperature=22)
    (day,) = (text for text in answer.remedies if "A day on which" in text)
    named = float(day.split("below ")[1].split(" ")[0])
    assert not drying("petg", rh=named + 3.0, temperature=22).reaches_limit
    assert drying("petg", rh=named - 2.0, temperature=22).reaches_limit


def test_where_only_the_looser_limit_can_be_had_that_is_the_target():
    """PETG at 50 degC in an ordinary room: not the moulder's figure, but prints that look right."""
    answer = drying("petg", rh=55, temperature=22, hours=62)
    assert not answer.reaches_limit
    assert answer.target_pct == pytest.approx(0.1)
    assert answer.hours.p10 <= answer.hours.p50 <= answer.hours.p90


def test_an_unknown_reel_caps_the_heat_and_a_known_one_does_not():
    """Nylon's own 80 degC on a reel that may soften at 60: never; the answer says what a better reel gives."""
    unknown, known = drying("pa6", rh=50), drying("pa6", rh=50, reel="pc")
    assert unknown.temperature_c == LIBRARY.reel("unknown").max_safe_c == 50.0
    assert "reel is not known" in unknown.limited_by
    assert any("A reel that stands 80 °C" in text for text in unknown.remedies)
    assert known.temperature_c == LIBRARY.material("pa6").dry_c == 80.0
    assert known.reaches_limit
    loose = drying("pa6", rh=50, is_strand=True)
    assert loose.temperature_c == 80.0  # there is no reel


def test_the_hours_to_dry_are_where_a_fine_solution_is_under_the_limit():
    """A spool evenly at 1 %, nylon at 80 degC: at that hour the reference's mean is the limit, within 3 %."""
    answer = drying("pa6", rh=50, temperature=23, hours=0.01, start_pct=1.0, reel="pc")
    a = 0.5 * magnus_pa(23.0) / magnus_pa(80.0)
    case = usual_spool("pa6", 1.0, 0.01, air_c=80.0, air_rh=a, start_c=23.0)
    (fine,) = reference.solve(case, [answer.hours.p50], cells=100)
    assert 100.0 * fine.mean == pytest.approx(0.2, rel=0.03)


def test_in_quite_dry_air_every_figure_of_the_literature_gets_there():
    """Outside dries first: the course must go on until the whole of every member is down."""
    answer = drying("abs", rh=4, temperature=20, hours=0.01, start_pct=0.25, reel="pc")
    assert answer.why is None
    assert 0.0 < answer.hours.p10 < answer.hours.p50 < answer.hours.p90 < 120.0


def test_what_is_under_its_limit_needs_no_drying():
    """Polypropylene: no heat, no advice."""
    answer = drying("pp", hours=100)
    assert (answer.hours.p10, answer.hours.p50, answer.hours.p90) == (0.0, 0.0, 0.0)
    assert answer.remedies == ()


def test_a_spool_wet_only_outside_is_not_called_dry_by_its_mean():
    """An hour on the bench: the mean is under the limit, what is printed first is not."""
    answer = answer_what_if(ask("pva", rh=60, hours=4, start_pct=0.4))
    assert answer.moisture_pct.p50 < answer.limit_pct < answer.outer_pct.p50
    in_dry_air = answer_what_if(ask("pa6", rh=50, hours=2, start_pct=0.1, reel="pc"))
    assert in_dry_air.moisture_pct.p50 < 0.2 < in_dry_air.outer_pct.p50
    assert in_dry_air.drying.hours.p50 > 0.0


def test_the_longest_drying_is_told_as_such():
    """Soaked nylon at 50 degC towards a floor just under its looser limit: no promise beyond 120 h."""
    answer = drying("pa6", rh=50, temperature=21, hours=1500)
    assert answer.target_pct == 0.5
    assert answer.hours.p50 is None
    assert "longer than 120 h" in answer.hours.why


@settings(max_examples=20, deadline=None)
@given(
    key=st.sampled_from(sorted(LIBRARY.materials)),
    reel=st.sampled_from(sorted(LIBRARY.reels)),
    rh=st.floats(0.0, 100.0),
    temperature=st.floats(5.0, 35.0),
)
def test_heat_never_passes_what_material_and_reel_stand_and_the_floor_agrees_with_the_verdict(
    key, reel, rh, temperature
):
    """The least of all limits holds, and "reaches" means floor under limit."""
    answer = drying(key, rh=rh, temperature=temperature, hours=5, reel=reel)
    material = LIBRARY.material(key)
    assert answer.temperature_c <= min(material.max_safe_c, LIBRARY.reel(reel).max_safe_c)
    assert answer.temperature_c <= material.dry_c
    assert answer.reaches_limit == (answer.why is None)
    if answer.target_pct is not None:
        assert answer.floor_pct <= answer.target_pct * 1.005
    else:
        assert answer.hours.p50 is None
