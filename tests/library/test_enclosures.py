"""The file of bags and boxes: its figures follow from what was published, and a faulty one is refused."""

import math
import re
from importlib.resources import files

import msgspec
import pytest

from monitor.library.enclosures import load_enclosures, parse_enclosures

ENCLOSURES = load_enclosures()
FILM = """
[films.x]
name = "x"
confidence = "low"
g_m2_day_38c90 = [2.0, 3.0]
g_m2_day_23c50 = [0.2, 0.3]
activation_kj_mol = 34
source = "s"
[boxes.y]
name = "y"
confidence = "low"
changes_per_day = [1.0]
source = "s"
"""


@pytest.mark.parametrize("film", ENCLOSURES.films.values(), ids=lambda film: film.key)
def test_a_films_figures_are_the_published_ones_by_the_stated_conversion(film):
    """1405 over 5969 Pa, times exp(-E/R (1/296.15 - 1/311.15)); both figures are rounded to two digits."""
    factor = 1405.0 / 5969.0 * math.exp(-film.activation_j_mol / 8.314462 * (1 / 296.15 - 1 / 311.15))
    for given, published in (
        (film.transmission_kg_m2_day.low, film.published_kg_m2_day.low),
        (film.transmission_kg_m2_day.high, film.published_kg_m2_day.high),
    ):
        assert given == pytest.approx(factor * published, rel=0.06)


def test_every_film_and_box_says_where_it_is_from():
    """A figure without its source is a rumour."""
    for item in (*ENCLOSURES.films.values(), *ENCLOSURES.boxes.values()):
        assert len(item.source.text) > 20, item.key


def test_thicker_is_tighter_and_metal_is_tightest():
    """The order that the trade knows."""
    high = {key: film.transmission_kg_m2_day.high for key, film in ENCLOSURES.films.items()}
    assert (
        high["ldpe_50"]
        > high["ldpe_100"]
        > high["ldpe_125"]
        > high["ldpe_250"]
        > high["metallised"]
        > high["foil"]
    )


def test_a_good_gasket_changes_less_air_than_a_plain_lid():
    """And an open hole most of them."""
    boxes = ENCLOSURES.boxes
    assert (
        boxes["gasket_good"].most_per_day
        <= boxes["gasket_average"].least_per_day
        < boxes["plain_lid"].least_per_day
    )
    assert boxes["case_unsealed"].most_per_day is None


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("[2.0, 3.0]", "[3.0, 2.0]", "lowest <= highest"),
        ("[2.0, 3.0]", "[0.0, 3.0]", "0 < lowest"),
        ("[0.2, 0.3]", "[0.2, 4.0]", "less passes"),
        ("[1.0]", "[]", "changes_per_day"),
        ("[1.0]", "[2.0, 1.0]", "changes_per_day"),
        ('source = "s"\n[boxes', 'sauce = "s"\n[boxes', "sauce"),
    ],
)
def test_a_faulty_file_is_refused_with_what_is_wrong(was, becomes, said):
    """At the door, not in an answer."""
    assert parse_enclosures(FILM.encode()).films["x"].name == "x"
    with pytest.raises(msgspec.ValidationError, match=said):
        parse_enclosures(FILM.replace(was, becomes).encode())


def test_the_file_names_no_key_that_a_link_could_not_hold():
    """Keys stand in addresses."""
    text = files("monitor").joinpath("data/enclosures.toml").read_text()
    for key in re.findall(r"^\[(?:films|boxes)\.(.+)\]$", text, re.M):
        assert re.fullmatch(r"[a-z0-9_]+", key)
