"""Recorded boxes replayed through the commands: what people would be told of them."""

import json
from pathlib import Path

import pytest
from support.box_capture import DAYS, SEED
from support.box_small import PLAIN, course_of
from support.box_truth import DAY_S
from support.processes import run

DATA = Path(__file__).parents[1] / "data"
INVENTORY = """
[[room]]
key = "shed"
name = "Shed"
channel = "n1/air"
[[box]]
key = "crate"
name = "Crate"
room = "shed"
channel = "n1/box"
volume_l = 15
desiccant = {kind = "silica_gel_a", dry_g = 150, loading_pct = 2.5, filled = 2026-03-01T00:00:00Z}
[[spool]]
key = "teal"
name = "Teal"
material = "petg"
diameter_mm = 1.75
net_g = 800
place = "crate"
start_pct = 0.03
since = 2026-03-01T00:00:00Z
"""


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """`status --json` after each capture."""
    answers = {}
    for name in ("sound", "leak"):
        folder = tmp_path_factory.mktemp(name)
        (folder / "site.toml").write_text(INVENTORY)
        url = f"sqlite:///{folder}/a.db"
        assert run("inventory", "load", folder / "site.toml", "--database", url)[0] == 0
        code, _, said = run("replay", DATA / f"box-{name}.jsonl.gz", "--database", url)
        assert code == 0, said
        answers[name] = json.loads(run("status", "--json", "--database", url)[1])["boxes"][0]
    return answers


def test_a_sound_box_has_days_left_a_tightness_and_no_cause(told):
    """The truth of the capture: 0.05 changes an hour, three openings a week, 150 g."""
    box = told["sound"]
    changes = box["tightness"]["air_changes_per_h"]
    assert changes["p10"] < 0.05 < changes["p90"]
    assert box["desiccant"]["spent"] is False
    days = box["desiccant"]["days_left"]
    assert 0 < days["p10"] < days["p50"] < days["p90"]
    assert [item["cause"] for item in box["diagnosis"]] == []
    opened_s = course_of(PLAIN, DAYS, SEED).openings_s[0]
    assert box["lid_openings_7d"] == sum(at_s > (DAYS - 7.0) * DAY_S for at_s in opened_s)


def test_p10_a_leak_is_told_from_a_spent_desiccant(told):
    """P10: ten days after the seal failed the leak is named first, with its evidence and an act."""
    box = told["leak"]
    first = box["diagnosis"][0]
    assert first["cause"] == "leak"
    assert first["probability"] > 0.5
    assert "seal" in first["advice"]
    assert box["tightness"]["air_changes_per_h"]["p50"] > 0.2
    sound = told["sound"]["desiccant"]["days_left"]["p50"]
    assert (box["desiccant"]["days_left"]["p50"] or 0.0) < 0.5 * sound


def test_a_charge_dated_in_the_future_is_refused_in_one_sentence(tmp_path):
    """Bad input: nothing of the file is taken."""
    (tmp_path / "site.toml").write_text(INVENTORY.replace("2026-03-01T00:00:00Z}", "2091-03-01T00:00:00Z}"))
    url = f"sqlite:///{tmp_path}/a.db"
    code, _, said = run("inventory", "load", tmp_path / "site.toml", "--database", url)
    assert code in (1, 2)
    assert "box 'crate': filled lies in the future" in said
    assert said.count("\n") == 1
    assert run("inventory", "dump", "--database", url)[1].strip() == ""


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("volume_l = 15", "volume_l = 0", "volume_l"),
        ('channel = "n1/box"', 'channel = "n1/air"', "already measures"),
    ],
)
def test_what_cannot_be_of_a_box_is_refused_by_name(tmp_path, old, new, said):
    """Bad input: a volume of zero; a channel given to two places."""
    (tmp_path / "site.toml").write_text(INVENTORY.replace(old, new))
    code, _, error = run(
        "inventory", "load", tmp_path / "site.toml", "--database", f"sqlite:///{tmp_path}/a.db"
    )
    assert code in (1, 2)
    assert said in error
