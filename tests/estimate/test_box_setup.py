"""What a person entered becomes what the estimator is given."""

from dataclasses import replace

import pytest

from monitor.errors import BadInputError
from monitor.estimate.box_belief import first_belief, pack
from monitor.estimate.box_model import spool_sorber
from monitor.estimate.box_setup import MOST_SORBERS, box_model, merged
from monitor.library import load_library
from monitor.model.inventory import Box, Charge

LIBRARY = load_library()
GEL = LIBRARY.desiccant("silica_gel_a")
BOX = Box(
    key="shelf-2",
    name="Shelf 2",
    room="office",
    volume_l=15.0,
    desiccant=Charge(kind="silica_gel_a", dry_g=150.0),
)
NOW_S = 1.79e9


def sorbers(count):
    kinds = [LIBRARY.material(key) for key in ("pla", "petg", "abs", "asa", "pla", "petg")]
    return tuple(
        spool_sorber(material, 0.5 + 0.1 * place, 0.00175, 0.001, 0.0005)
        for place, material in enumerate(kinds[:count])
    )


def test_litres_and_grams_become_si():
    model = box_model(BOX, GEL, 0.2, sorbers(1), now_s=NOW_S)
    assert (model.volume_m3, model.dry_kg, model.filled_s) == (0.015, 0.15, NOW_S)
    assert 0.0 < model.loading < 0.03


def test_a_stated_loading_is_taken_and_a_future_filling_is_now():
    """A charge dated in the future is a slip of the pen: the estimate goes on with what is known."""
    charge = Charge(kind="silica_gel_a", dry_g=150.0, loading_pct=4.0, filled_s=NOW_S + 86_400.0)
    model = box_model(replace(BOX, desiccant=charge), GEL, 0.2, now_s=NOW_S)
    assert model.loading == pytest.approx(0.04)
    assert model.filled_s == NOW_S


@pytest.mark.parametrize("key", LIBRARY.desiccants)
def test_every_kind_starts_below_its_limit(key):
    """A fresh charge is useful for something."""
    model = box_model(BOX, LIBRARY.desiccant(key), 0.2, now_s=NOW_S)
    assert 0.0 <= model.loading < model.tables.limit_loading


@pytest.mark.parametrize("broken", [{"volume_l": 0.0}, {"desiccant": None}])
def test_a_box_that_cannot_be_is_refused_in_one_sentence(broken):
    with pytest.raises(BadInputError, match="shelf-2"):
        box_model(replace(BOX, **broken), GEL, 0.2, now_s=NOW_S)


def test_many_spools_are_told_as_few_and_keep_their_water():
    """A belief stays within its bytes however full the box is."""
    bodies = sorbers(6)
    few = merged(bodies)
    assert len(few) == MOST_SORBERS
    assert sum(b.dry_kg for b in few) == pytest.approx(sum(b.dry_kg for b in bodies))
    water_kg = [sum(b.dry_kg * b.content for b in listed) for listed in (few, bodies)]
    assert water_kg[0] == pytest.approx(water_kg[1])
    model = box_model(BOX, GEL, 0.2, bodies, now_s=NOW_S)
    history_bytes = 48 * 5 * 4
    assert len(pack(first_belief(model, NOW_S))) + history_bytes <= 2048
