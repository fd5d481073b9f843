"""A site's own figures: who and why are told, the curve goes through them, and heat safety stays above them."""

import math
from dataclasses import replace

import pytest

from monitor.errors import BadInputError, BadSettingsError, FieldError
from monitor.library import UNKNOWN, load_library, polymer_content
from monitor.library.own_figures import GUARD_C, check_own_figure, site_library, with_own_figures
from monitor.model.catalogue import FIGURES, Confidence, OwnFigure, figure_value
from monitor.settings import load_settings

LIBRARY = load_library()
NAMED = sorted(key for key in LIBRARY.materials if key != UNKNOWN)


def own(material, figure, value, *, who="Ana", why="the maker's sheet", at_s=1000.0):
    return OwnFigure(material=material, figure=figure, value=value, who=who, why=why, at_s=at_s)


def refusal(library, figure):
    with pytest.raises(BadInputError) as caught:
        check_own_figure(library, figure)
    return str(caught.value)


def test_a_figure_of_the_site_holds_and_says_who_and_why():
    """The maker's figure wins, and nobody has to wonder where it came from."""
    library = with_own_figures(LIBRARY, [own("petg", "dry_c", 55.0)])
    assert library.material("petg").dry_c == 55.0
    source = library.material("petg").sources["dry_c"]
    assert (source.text, source.confidence) == ("Set here by Ana: the maker's sheet", Confidence.HIGH)
    assert LIBRARY.material("petg").dry_c == 60.0
    assert library.material("abs") == LIBRARY.material("abs")


@pytest.mark.parametrize("key", sorted(LIBRARY.materials))
def test_every_figure_of_the_catalogue_lies_within_the_range_of_its_kind(key):
    """A range that shut out a real polymer would shut out a maker's figure too."""
    material = LIBRARY.material(key)
    for name, kind in FIGURES.items():
        value = figure_value(material, name)
        assert value is None or kind.lowest <= value <= kind.highest, name
        assert value is None or name in material.sources, name


@pytest.mark.parametrize("key", NAMED)
def test_the_catalogues_own_figures_pass_the_check(key):
    """Who writes down what the catalogue says already is not refused."""
    material = LIBRARY.material(key)
    for name in FIGURES:
        value = figure_value(material, name)
        if value is not None:
            check_own_figure(LIBRARY, own(key, name, value))


@pytest.mark.parametrize("key", NAMED)
@pytest.mark.parametrize("name", ["water_50_pct", "water_saturated_pct"])
def test_the_curve_goes_through_a_water_figure_set_here(key, name):
    """All three forms: straight and fitted curves are scaled, the others bent to pass through both."""
    value = 1.1 * figure_value(LIBRARY.material(key), name)
    material = with_own_figures(LIBRARY, [own(key, name, value)]).material(key)
    humidity = 0.5 if name == "water_50_pct" else 1.0
    assert 100 * polymer_content(material, humidity) == pytest.approx(value, rel=1e-9)
    assert polymer_content(material, 0.5) == pytest.approx(material.content_50, rel=0.02)
    assert polymer_content(material, 1.0) == pytest.approx(material.content_saturated, rel=0.02)
    contents = [polymer_content(material, step / 50) for step in range(51)]
    assert contents == sorted(contents)


@pytest.mark.parametrize("key", ["pp", "petg", "pa6", "pva"])
def test_with_both_water_figures_set_the_curve_goes_through_both(key):
    figures = [own(key, "water_50_pct", 1.7), own(key, "water_saturated_pct", 4.1)]
    material = with_own_figures(LIBRARY, figures).material(key)
    assert polymer_content(material, 0.5) == pytest.approx(0.017, rel=1e-9)
    assert polymer_content(material, 1.0) == pytest.approx(0.041, rel=1e-9)


def test_a_hyperbola_is_bent_and_a_fitted_curve_keeps_its_shape():
    """PETG: k a / (1 - b a) by hand through 0.3 and 0.55 %. PA6's GAB curve is scaled, its other figure with it."""
    petg = with_own_figures(LIBRARY, [own("petg", "water_50_pct", 0.3)]).material("petg")
    b = (1 - 2 * 0.3 / 0.55) / (1 - 0.3 / 0.55)
    k = 0.55 * (1 - b)
    assert 100 * polymer_content(petg, 0.2) == pytest.approx(k * 0.2 / (1 - b * 0.2), rel=1e-9)
    assert petg.content_saturated == LIBRARY.material("petg").content_saturated
    before, after = (
        LIBRARY.material("pa6"),
        with_own_figures(LIBRARY, [own("pa6", "water_saturated_pct", 7.6)]),
    )
    ratio = 0.076 / polymer_content(before, 1.0)
    pa6 = after.material("pa6")
    for humidity in (0.05, 0.3, 0.5, 0.9):
        assert polymer_content(pa6, humidity) == pytest.approx(ratio * polymer_content(before, humidity))
    assert pa6.sources["water_50_pct"].text == "Follows from what was set here for water_saturated_pct"


@pytest.mark.parametrize("key", NAMED)
def test_bands_move_with_their_figure(key):
    """The relative spread of the literature stays, so that no band leaves its own figure outside."""
    before = LIBRARY.material(key)
    figures = [
        own(key, "diffusivity_m2_s", 2 * before.diffusivity_m2_s),
        own(key, "water_50_pct", 90 * before.content_50),
    ]
    after = with_own_figures(LIBRARY, figures).material(key)
    assert after.diffusivity_band_m2_s.high == pytest.approx(2 * before.diffusivity_band_m2_s.high)
    assert after.content_50_band.low == pytest.approx(0.9 * before.content_50_band.low)
    for band, value in (
        (after.content_50_band, after.content_50),
        (after.content_saturated_band, after.content_saturated),
        (after.diffusivity_band_m2_s, after.diffusivity_m2_s),
    ):
        assert band.low <= value * (1 + 1e-12)
        assert value <= band.high * (1 + 1e-12)


@pytest.mark.parametrize("key", NAMED)
def test_no_figure_of_a_site_takes_the_guard_away(key):
    """dry_c + 5 <= max_safe_c <= softening_c - 5 at the very ends of what is allowed (P06: heat safety first)."""
    catalogue = LIBRARY.material(key)
    hottest = max(catalogue.max_safe_c, catalogue.softening_c - GUARD_C)
    figures = [own(key, "softening_c", 300.0), own(key, "max_safe_c", hottest)]
    for figure in figures:
        library = with_own_figures(LIBRARY, figures[: figures.index(figure)])
        check_own_figure(library, figure)
    library = with_own_figures(LIBRARY, figures)
    dry_c = min(hottest - GUARD_C, FIGURES["dry_c"].highest)
    check_own_figure(library, own(key, "dry_c", dry_c))
    assert "dry_c is" in refusal(library, own(key, "dry_c", dry_c + 0.1))
    # A softening point that the site raised itself earns no hotter oven.
    assert "max_safe_c is" in refusal(library, own(key, "max_safe_c", hottest + 0.1))


def test_a_highest_safe_temperature_may_be_lowered_freely_and_drying_goes_down_with_it():
    """A maker's lower figure is obeyed at once, with the reason in the sources."""
    figure = own("petg", "max_safe_c", 50.0)
    check_own_figure(LIBRARY, figure)
    petg = with_own_figures(LIBRARY, [figure]).material("petg")
    assert (petg.dry_c, petg.max_safe_c, petg.softening_c) == (45.0, 50.0, 72.0)
    assert petg.sources["dry_c"].text == "Taken down to stay 5 °C below the highest safe temperature set here"


def test_raising_it_ends_below_softening_and_the_refusal_says_so():
    check_own_figure(LIBRARY, own("petg", "max_safe_c", 67.0))
    assert refusal(LIBRARY, own("petg", "max_safe_c", 67.5)) == (
        "max_safe_c is 67.5; for PETG (glycol-modified PET) allowed are 30 to 67 °C, "
        "as 5 °C stay between it and softening: heat safety first"
    )


@pytest.mark.parametrize(
    ("figure", "said"),
    [
        (own("plaa", "dry_c", 40.0), "material 'plaa' is not in the catalogue"),
        (own(UNKNOWN, "max_safe_c", 80.0), "material unknown stands for what nobody named"),
        (own("pla", "colour", 1.0), "figure 'colour' is unknown; one of: water_50_pct"),
        (own("pla", "dry_c", math.nan), "dry_c is nan; for PLA (amorphous, as extruded filament) allowed are 25 to 45 °C"),
        (own("pla", "density_kg_m3", math.inf), "density_kg_m3 is inf; for PLA"),
        (own("pla", "dry_h", -1.0), "dry_h is -1; for PLA (amorphous, as extruded filament) allowed are 0.5 to 100 h"),
        (own("pla", "dry_c", 46.0), "allowed are 25 to 45 °C, as 5 °C stay between it and max_safe_c"),
        (own("pla", "softening_c", 54.0), "allowed are 55 to 300 °C"),
        (own("pla", "water_50_pct", 0.9), "allowed are 0.001 to 0.891 %, as it stays below water_saturated_pct"),
        (own("pla", "water_saturated_pct", 0.4), "allowed are 0.404 to 60 %, as it stays above water_50_pct"),
        (own("pla", "limit_pct", 0.2), "allowed are 0.001 to 0.1 %, as it is not above looser_limit_pct"),
        (own("pc", "limit_pct", 0.35), "allowed are 0.001 to 0.3465 %, as it stays below water_saturated_pct"),
        (own("pla", "looser_limit_pct", 0.02), "allowed are 0.025 to 30 %, as it is not below limit_pct"),
        (own("pom", "water_50_pct", 0.0005), "water_50_pct is 0.0005"),
        (own("pla", "dry_c", 40.0, who=" "), "who must be 1 to 200 characters"),
        (own("pla", "dry_c", 40.0, why="x" * 201), "why must be 1 to 200 characters"),
        (own("pla", "dry_c", 40.0, why="a\nb"), "why must be 1 to 200 characters in one line"),
    ],
)  # fmt: skip
def test_what_may_not_hold_is_refused_in_one_sentence(figure, said):
    """It names the field and what is allowed; nothing else changes."""
    sentence = refusal(LIBRARY, figure)
    assert said in sentence
    assert "\n" not in sentence
    assert ". " not in sentence.removesuffix(".")


def test_a_refusal_names_the_field_for_the_form():
    with pytest.raises(FieldError) as caught:
        check_own_figure(LIBRARY, own("pla", "dry_c", 40.0, who=""))
    assert caught.value.field == "who"


@pytest.mark.parametrize("key", ["pp", "hips"])
def test_what_never_reaches_its_limit_may_have_another_such_limit(key):
    """Their catalogue limit already lies above saturation; that rule is not asked of them."""
    check_own_figure(LIBRARY, own(key, "limit_pct", 0.2))


def test_a_water_figure_may_not_put_the_limit_out_of_reach():
    """PA6's scaled curve: saturated at 0.19 % it could never be too wet."""
    said = refusal(LIBRARY, own("pa6", "water_50_pct", 0.05))
    assert said.startswith(
        "water_50_pct of PA6 (nylon 6), unfilled cannot be set so: limit_pct would not lie below"
    )


def test_the_last_one_holds_and_a_withdrawn_one_uncovers_the_settings():
    """A page's figure lies over the settings' one; withdrawing takes the page's away, not the settings'."""
    in_settings = own("abs", "limit_pct", 0.08, at_s=None)
    stored = [own("abs", "limit_pct", 0.05), own("abs", "limit_pct", 0.06, at_s=2000.0)]
    library = site_library([in_settings], stored)
    assert library.material("abs").limit_content == pytest.approx(0.0006)
    withdrawn = own("abs", "limit_pct", None, at_s=3000.0)
    assert site_library([in_settings], [*stored, withdrawn]).material("abs").limit_content == pytest.approx(
        0.0008
    )
    assert site_library([], [*stored, withdrawn]).material("abs") == LIBRARY.material("abs")


def test_a_withdrawal_that_would_leave_a_contradiction_is_refused():
    """The site's lower water when saturated rests on its lower water at 50 %RH."""
    library = site_library([], [own("petg", "water_50_pct", 0.1), own("petg", "water_saturated_pct", 0.2)])
    said = refusal(library, own("petg", "water_50_pct", None))
    assert said.startswith("water_50_pct of PETG (glycol-modified PET) cannot be withdrawn")


def test_a_stored_figure_that_the_settings_now_contradict_is_left_out_with_its_reason():
    """An upgrade or new settings must not keep the service from starting."""
    in_settings = own("petg", "max_safe_c", 55.0, at_s=None)
    library = site_library([in_settings], [own("petg", "dry_c", 58.0)])
    assert library.material("petg").dry_c == 50.0
    (figure, why), = library.left_out  # fmt: skip
    assert figure.value == 58.0
    assert "allowed are 25 to 50 °C" in why


def test_an_unknown_material_stays_the_most_cautious():
    """Whatever a site sets, no cycle planned for an unnamed spool harms one that stands less."""
    library = with_own_figures(LIBRARY, [own("pla", "max_safe_c", 40.0), own("pet", "softening_c", 65.0)])
    for name in ("softening_c", "max_safe_c", "dry_c"):
        least = min(figure_value(material, name) for material in library.materials.values())
        assert figure_value(library.material(UNKNOWN), name) == least
    assert (library.material(UNKNOWN).dry_c, library.material(UNKNOWN).max_safe_c) == (35.0, 40.0)


@pytest.mark.parametrize("key", sorted(LIBRARY.materials))
def test_where_drying_was_taken_down_for_the_guard_its_source_says_so(key):
    """PET alone: its literature names one temperature for both. The reason stands in the sources, readable."""
    material = LIBRARY.material(key)
    assert material.dry_c <= material.max_safe_c - GUARD_C
    is_taken_down = "less 5 °C" in material.sources["dry_c"].text
    assert is_taken_down == (key == "pet")
    if is_taken_down:
        assert "would leave nothing for overshoot" in material.sources["dry_c"].text


SETTINGS = """
[[figure]]
material = "pla"
figure = "water_50_pct"
value = 1.0
who = "Workshop lead"
why = "weighed"
[[figure]]
material = "pla"
figure = "water_saturated_pct"
value = 2.0
who = "Workshop lead"
why = "weighed"
"""


def written(tmp_path, text):
    path = tmp_path / "settings.toml"
    path.write_text(text)
    return load_settings(path)


def test_figures_in_the_settings_hold_whatever_their_order(tmp_path):
    """The first alone would be refused: 1.0 % at 50 %RH is above the catalogue's 0.9 % when saturated."""
    figures = written(tmp_path, SETTINGS).own_figures()
    pla = site_library(figures, ()).material("pla")
    assert polymer_content(pla, 0.5) == pytest.approx(0.01)
    assert pla.sources["water_50_pct"].text == "Set here by Workshop lead: weighed"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        (SETTINGS.replace("value = 2.0", "value = nan"), "settings [[figure]] pla water_saturated_pct: "),
        (SETTINGS.replace("value = 1.0", "value = 3.0"), "settings [[figure]] pla water_50_pct: "),
        (SETTINGS.replace('"pla"', '"plaster"'), "settings [[figure]] plaster water_50_pct: "),
        (SETTINGS.replace("water_saturated_pct", "water_50_pct"), "it stands there twice"),
        (SETTINGS.replace("weighed", ""), "why must be"),
    ],
)
def test_a_wrong_figure_in_the_settings_is_refused_by_name(tmp_path, text, named):
    with pytest.raises(BadSettingsError) as caught:
        site_library(written(tmp_path, text).own_figures(), ())
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("line", ['whose = "x"', 'value = "warm"', ""])
def test_a_table_of_the_settings_is_strict(tmp_path, line):
    """A misspelt name, a word for a number, a table without its figure."""
    with pytest.raises(BadSettingsError):
        written(tmp_path, f'[[figure]]\nmaterial = "pla"\nwho = "a"\nwhy = "b"\n{line}\n')


def test_the_sample_settings_show_a_figure_that_would_be_taken(tmp_path):
    """Its commented lines, uncommented."""
    from test_settings import SAMPLE

    text = SAMPLE.read_text()
    table = "\n".join(line.removeprefix("# ") for line in text[text.index("# [[figure]]") :].splitlines())
    petg = site_library(written(tmp_path, table).own_figures(), ()).material("petg")
    assert petg.dry_c == 55.0
    named = text[: text.index("# [[figure]]")]
    assert all(name in named for name in FIGURES)


def test_nothing_else_of_a_material_changes():
    """All but what was set and what follows from it is the catalogue's."""
    after = with_own_figures(LIBRARY, [own("asa", "dry_h", 4.0)]).material("asa")
    before = LIBRARY.material("asa")
    assert replace(after, dry_s=before.dry_s, sources=before.sources) == before
