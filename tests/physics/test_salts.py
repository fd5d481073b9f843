"""Humidity over saturated salts, against the published values, and which salts fit a box."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import BadInputError
from monitor.library.salts import load_salts, salt_of
from monitor.physics.salt import fitting_salts, jar_uncertainty_pct, salt_humidity_pct

SALTS = load_salts()
# Coefficients of 1, t, t^2, t^3 [%RH, degC]: Greenspan 1977, J. Res. NBS 81A:89. The signs of LiCl's and
# CH3COOK's are those that give 11.30 and 22.52 at 25 degC; two public copies have them wrong.
POLYNOMIALS = {
    "lithium_chloride": (11.2323, 0.00824245, -2.14890e-4),
    "magnesium_chloride": (33.6686, -0.00797397, -1.08988e-3),
    "sodium_chloride": (75.5164, 0.0398321, -2.65459e-3, 2.848e-5),
    "potassium_carbonate": (43.1315, 0.00147523),
    "potassium_chloride": (88.6190, -0.193340, 8.99706e-4),
    "potassium_sulfate": (98.7792, -0.0590502),
    "magnesium_nitrate": (60.3514, -0.298153),
    "potassium_acetate": (22.4388, 0.156288, -6.12268e-3),
}
# A second table, rounded to 0.1 %RH (a conservation-physics site); its 75.7 for NaCl at 20 degC is a misprint
# and left out, and so is NaBr, where the two sources differ by more than they round.
SECOND_TABLE = {
    "lithium_chloride": {5: 11.3, 10: 11.3, 15: 11.3, 20: 11.3, 25: 11.3},
    "magnesium_chloride": {5: 33.6, 10: 33.5, 15: 33.3, 20: 33.1, 25: 32.8},
    "potassium_carbonate": {5: 43.1, 10: 43.1, 15: 43.1, 20: 43.2, 25: 43.2},
    "sodium_chloride": {5: 75.7, 10: 75.7, 15: 75.6, 25: 75.3},
    "potassium_chloride": {5: 87.7, 10: 86.8, 15: 85.9, 20: 85.1, 25: 84.3},
    "potassium_sulfate": {5: 98.5, 10: 98.2, 15: 97.9, 20: 97.6, 25: 97.3},
}


@pytest.mark.parametrize("key", POLYNOMIALS)
def test_humidity_over_a_salt_is_that_of_the_published_polynomial(key):
    """The straight line between points 5 K apart, rounded to 0.01, is within 0.05 %RH of the source."""
    low_c, high_c = SALTS[key].range_c
    for step in range(101):
        t_c = low_c + (high_c - low_c) * step / 100
        published = sum(factor * t_c**power for power, factor in enumerate(POLYNOMIALS[key]))
        assert salt_humidity_pct(SALTS[key], t_c) == pytest.approx(published, abs=0.05)


@pytest.mark.parametrize("key", SECOND_TABLE)
def test_a_second_table_agrees(key):
    """Two transcriptions of one paper that agree rule out a slip in either; rounding leaves 0.06 %RH."""
    for t_c, humidity_pct in SECOND_TABLE[key].items():
        assert salt_humidity_pct(SALTS[key], t_c) == pytest.approx(humidity_pct, abs=0.06)


@pytest.mark.parametrize(
    ("key", "at_25_pct", "uncertainty_pct"),
    [
        ("lithium_chloride", 11.30, 0.27),
        ("magnesium_chloride", 32.78, 0.16),
        ("sodium_chloride", 75.29, 0.12),
    ],
)
def test_uncertainties_at_25_degrees_are_those_of_the_table(key, at_25_pct, uncertainty_pct):
    """A check can be no better than its reference."""
    assert salt_humidity_pct(SALTS[key], 25.0) == pytest.approx(at_25_pct, abs=0.02)
    assert SALTS[key].uncertainty_pct == uncertainty_pct
    assert jar_uncertainty_pct(SALTS[key], 25.0) > uncertainty_pct


@pytest.mark.parametrize("key", SALTS)
def test_outside_the_published_range_a_salt_says_nothing(key):
    """An extrapolated humidity would be a guess with the look of a standard."""
    low_c, high_c = SALTS[key].range_c
    for t_c in (low_c - 0.01, high_c + 0.01, float("nan")):
        with pytest.raises(ValueError, match="published for"):
            salt_humidity_pct(SALTS[key], t_c)


@given(key=st.sampled_from(sorted(SALTS)), share=st.floats(0.0, 1.0))
def test_humidity_lies_between_the_points_about_it(key, share):
    """Straight between neighbours: never beyond the table's own values."""
    salt = SALTS[key]
    low_c, high_c = salt.range_c
    values = [humidity for _, humidity in salt.points]
    found = salt_humidity_pct(salt, low_c + share * (high_c - low_c))
    assert min(values) - 1e-9 <= found <= max(values) + 1e-9
    assert 0.3 < jar_uncertainty_pct(salt, low_c + share * (high_c - low_c)) < 4.0


def test_low_points_come_first_for_a_dry_box():
    """P17: for a box at 10 to 15 %RH the pair is LiCl and MgCl2, never table salt."""
    for works_at_pct in (8.0, 10.0, 12.0, 15.0):
        pair = [salt.key for salt in fitting_salts(SALTS.values(), works_at_pct, 22.0)[:2]]
        assert pair == ["lithium_chloride", "magnesium_chloride"]


@given(works_at_pct=st.floats(0.0, 100.0), t_c=st.floats(-10.0, 60.0))
def test_only_what_is_fit_for_a_workshop_and_known_there_is_offered(works_at_pct, t_c):
    """Lye blinds: that it would make a lower point does not make it a good idea."""
    found = fitting_salts(SALTS.values(), works_at_pct, t_c)
    assert not {"sodium_hydroxide", "potassium_hydroxide", "calcium_chloride"} & {s.key for s in found}
    assert len({salt.key for salt in found}) == len(found)
    for salt in found:
        assert salt.range_c[0] <= t_c <= salt.range_c[1]
        assert salt.handling


def test_an_unknown_salt_is_refused_with_those_there_are():
    """A slip in a key must not end in a trace."""
    with pytest.raises(BadInputError, match="lithium_chloride"):
        salt_of("sugar")
