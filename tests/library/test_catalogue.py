"""The catalogue's files: complete, consistent, sourced, cautious where nothing is known."""

import subprocess
import sys
from dataclasses import fields

import pytest

from monitor.errors import BadInputError
from monitor.library import UNKNOWN, limit_relative_humidity, load_library, polymer_content, polymer_humidity

LIBRARY = load_library()
MATERIALS = [LIBRARY.material(key) for key in sorted(LIBRARY.materials)]
# Members that the files' figures have a source for, under the name they have there.
SOURCED = [
    "density_kg_m3",
    "isotherm",
    "water_50_pct",
    "water_saturated_pct",
    "diffusivity_m2_s",
    "activation_kj_mol",
    "glass_c",
    "softening_c",
    "dry_c",
    "max_safe_c",
    "dry_h",
    "limit_pct",
]


def test_all_rows_are_there():
    """Keys of an inventory name them: 27 materials and the unknown one, 17 desiccants, 9 reels."""
    assert len(LIBRARY.materials) == 28
    assert len(LIBRARY.desiccants) == 17
    assert len(LIBRARY.reels) == 9
    assert UNKNOWN in LIBRARY.materials
    assert UNKNOWN in LIBRARY.reels


@pytest.mark.parametrize("material", MATERIALS, ids=lambda material: material.key)
def test_each_figure_has_its_source_and_its_band(material):
    for figure in SOURCED:
        assert material.sources[figure].text
    assert ("looser_limit_pct" in material.sources) == (material.looser_limit_content is not None)
    for band, figure in (
        (material.content_50_band, material.content_50),
        (material.content_saturated_band, material.content_saturated),
        (material.diffusivity_band_m2_s, material.diffusivity_m2_s),
    ):
        assert band.low <= figure <= band.high


@pytest.mark.parametrize("material", MATERIALS, ids=lambda material: material.key)
def test_isotherms_pass_through_the_two_water_figures(material):
    """Within 2 %: the closure is exact, the fitted forms nearly so."""
    assert polymer_content(material, 0.5) == pytest.approx(material.content_50, rel=0.02)
    assert polymer_content(material, 1.0) == pytest.approx(material.content_saturated, rel=0.02)


@pytest.mark.parametrize("material", MATERIALS, ids=lambda material: material.key)
def test_a_drying_temperature_leaves_a_guard_below_the_safe_one(material):
    """An oven overshoots by some degrees; no material's usual drying temperature may sit at its limit."""
    assert material.dry_c <= material.max_safe_c - 5.0
    assert material.max_safe_c < material.softening_c


def test_pet_is_dried_below_its_limit_with_its_own_reason():
    """The literature names 60 °C for both: five degrees are taken off."""
    pet = LIBRARY.material("pet")
    assert (pet.dry_c, pet.max_safe_c) == (55.0, 60.0)
    assert "less 5 °C" in pet.sources["dry_c"].text


def test_an_unknown_material_is_the_most_cautious():
    """No cycle planned for it can harm another, and few ask for drier air."""
    unknown = LIBRARY.material(UNKNOWN)
    assert unknown.max_safe_c == min(material.max_safe_c for material in MATERIALS)
    assert unknown.dry_c == min(material.dry_c for material in MATERIALS)
    assert unknown.softening_c == min(material.softening_c for material in MATERIALS)
    assert unknown.is_excess_permanent
    stricter = {
        material.key
        for material in MATERIALS
        if limit_relative_humidity(material) < limit_relative_humidity(unknown) * 0.999
    }
    assert stricter == {"pla", "pla_cryst", "pet", "pei"}
    assert LIBRARY.reel(UNKNOWN).max_safe_c == min(reel.max_safe_c for reel in LIBRARY.reels.values())


@pytest.mark.parametrize("material", MATERIALS, ids=lambda material: material.key)
def test_at_the_limit_humidity_the_material_settles_at_its_limit(material):
    """Or it never reaches it: PP and HIPS take up too little."""
    limit = limit_relative_humidity(material)
    if limit < 1.0:
        assert polymer_content(material, limit) == pytest.approx(material.limit_content, rel=1e-9)
    else:
        assert polymer_content(material, 1.0) <= material.limit_content


def test_a_misspelt_key_is_answered_with_near_ones():
    with pytest.raises(BadInputError, match=r"^material 'plaa' is not in the catalogue; near it: pla"):
        LIBRARY.material("plaa")
    with pytest.raises(BadInputError, match="silica_gel_a"):
        LIBRARY.desiccant("silica_gel")
    with pytest.raises(BadInputError, match="card100"):
        LIBRARY.reel("cardboard100")


def test_contents_and_humidities_outside_their_range_are_refused():
    material = LIBRARY.material("pla")
    for wrong in (-0.1, 1.1, float("nan")):
        with pytest.raises(ValueError):
            polymer_content(material, wrong)
    for wrong in (-0.1, float("nan"), float("inf")):
        with pytest.raises(ValueError):
            polymer_humidity(material, wrong)


def test_what_may_not_go_into_an_oven_says_why():
    """Cobalt, brines and quicklime are refused; a sieve below 175 °C is in vain."""
    refused = {key for key, kind in LIBRARY.desiccants.items() if kind.oven_refusal}
    assert refused == {"silica_gel_blue_cobalt", "calcium_chloride", "lithium_chloride", "calcium_oxide"}
    for key, kind in LIBRARY.desiccants.items():
        if key in refused:
            assert kind.regenerate_c is None
            continue
        assert kind.regenerate_least_c <= kind.regenerate_c < kind.max_safe_c
        if key.startswith("mol_sieve"):
            assert kind.regenerate_least_c >= 175.0
    assert LIBRARY.desiccant("silica_gel_orange").max_safe_c == 120.0


def test_reading_the_catalogue_needs_no_numpy():
    """A command that only looks something up starts quickly on a small board."""
    code = "import sys, monitor.library as m; m.load_library(); sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_nouns_are_frozen():
    assert {field.name for field in fields(LIBRARY.material("pla"))} > {"limit_content", "sources"}
    with pytest.raises(AttributeError):
        LIBRARY.material("pla").limit_content = 1.0
