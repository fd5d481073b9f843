"""`sorbwatch plan` as people and scripts call it: options, JSON, exit codes, one-line errors."""

import json
import re

import pytest
from support.packs import pack
from support.processes import run

pytestmark = pytest.mark.whole

MEMBERS = [
    "temperature_c",
    "limited_by",
    "guard_c",
    "duration_h",
    "floor_pct",
    "reaches_target",
    "target_pct",
    "start_at",
    "finish_at",
    "energy_wh",
    "curve",
    "cautions",
]
INVENTORY = """
[[room]]
key = "hall"
name = "Hall"
channel = "n1/b1"
[[oven]]
key = "kiln"
name = "Kiln"
room = "hall"
max_c = 90
[[spool]]
key = "grey"
name = "Grey"
material = "petg"
diameter_mm = 1.75
net_g = 1000
reel = "pc"
place = "hall"
start_pct = 0.2
since = 2026-11-18T11:00:00Z
"""


def plan(*options):
    return run("plan", *options)


def test_a_plan_without_a_database_gives_the_members_of_the_contract():
    """Every option of the contract that needs no database, in one call."""
    code, out, error = plan(
        "--material", "asa", "--net-g", 800, "--diameter-mm", 1.75, "--start-pct", 0.3, "--reel", "pc",
        "--room-rh", 40, "--room-temperature", 21, "--oven-max", 75, "--overshoot-c", 4, "--sensor-error-c", 1,
        "--target-pct", 0.1, "--ready-by", "2099-01-01T18:00:00Z", "--json",
    )  # fmt: skip
    answer = json.loads(out)
    assert (code, error) == (0, "")
    assert list(answer)[: len(MEMBERS)] == MEMBERS
    assert answer["limited_by"]["limit_c"] == 75.0
    assert set(answer["limited_by"]) == {"item", "limit_c", "source"}
    assert answer["guard_c"] == 5.0
    assert answer["temperature_c"] <= 70.0
    assert set(answer["duration_h"]) == {"p10", "p50", "p90"}
    assert answer["finish_at"] == "2099-01-01T18:00:00Z"
    assert {"h", "mean_pct", "outer_pct", "inner_pct"} <= set(answer["curve"][0])


def test_left_out_are_five_and_two_degrees_of_guard():
    """The contract's defaults."""
    answer = json.loads(plan("--material", "petg", "--reel", "pc", "--start-pct", 0.2, "--json")[1])
    assert answer["guard_c"] == 7.0
    assert answer["temperature_c"] == 58.0


def test_desiccant_is_a_load_of_its_own():
    """P15 on the command line."""
    code, out, _ = plan("--desiccant", "silica_gel_orange", "--dry-g", 300, "--loading-pct", 18, "--json")
    answer = json.loads(out)
    assert code == 0
    assert list(answer)[: len(MEMBERS)] == MEMBERS
    assert answer["temperature_c"] == 110.0


def test_what_cannot_be_exits_with_1_and_says_what_limits_it():
    """As JSON on standard output; for people one line on standard error."""
    asked = ("--material", "pla", "--overshoot-c", 14)
    code, out, _ = plan(*asked, "--json")
    refused = json.loads(out)["refused"]
    assert code == 1
    assert set(refused) == {"title", "detail", "limiting_item", "limit_c"}
    assert refused["limit_c"] == 50.0
    code, out, error = plan(*asked)
    assert (code, out, error.count("\n")) == (1, "", 1)
    assert "guard of 16 °C" in error


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "--material KEY"),
        (["--material", "plaa"], "near it: pla"),
        (["--material", "pla", "--reel", "gold"], "reel 'gold'"),
        (["--material", "pla", "--start-pct", "30"], "start-pct is 30"),
        (["--material", "pla", "--ready-by", "soon"], "--ready-by 'soon'"),
        (["--material", "pla", "--ready-by", "2001-01-01T00:00Z"], "in the past"),
        (["--material", "pla", "--spool", "a"], "--spool needs --oven"),
        (["--material", "pla", "--dry-g", "10"], "--dry-g goes with --desiccant only"),
        (["--material", "pla", "--net-g", "nan"], "not a number"),
        (["--desiccant", "silica_gel_a"], "--dry-g"),
        (
            ["--desiccant", "silica_gel_a", "--material", "pla", "--dry-g", "5"],
            "--material KEY, or --desiccant",
        ),
        (["--oven", "kiln"], "either --spool KEY or --desiccant KEY"),
        (["--oven", "kiln", "--spool", "a", "--net-g", "5"], "--net-g goes without --oven"),
        (["--oven", "kiln", "--spool", "a", "--database", "sqlite:////nowhere/x.db"], "no database"),
    ],
)
def test_wrong_use_is_one_sentence(options, said):
    """Exit 2, nothing on standard output."""
    code, out, error = plan(*options)
    assert (code, out) == (2, "")
    assert said in error
    assert error.count("\n") == 1


@pytest.fixture
def database(tmp_path):
    (tmp_path / "inventory.toml").write_text(INVENTORY)
    lines = [
        json.dumps(
            {
                "at": at_s + 0.5,
                "topic": "sorbwatch/lab/node/n1/senml",
                "retain": False,
                "payload": json.loads(pack(seq, at_s, 40)),
            }
        )
        for seq, at_s in enumerate(range(1_795_000_000, 1_795_007_200, 60))
    ]
    (tmp_path / "capture.jsonl").write_text("\n".join(lines))
    url = f"sqlite:///{tmp_path}/a.db"
    assert run("inventory", "load", tmp_path / "inventory.toml", "--database", url)[0] == 0
    assert run("replay", tmp_path / "capture.jsonl", "--database", url)[0] == 0
    return url


def test_a_spool_of_the_database_in_its_oven_in_the_air_of_its_room(database):
    """As of the newest record, as `status` is; for people in words, with where each figure comes from."""
    code, out, error = plan("--oven", "kiln", "--spool", "grey", "--database", database, "--json")
    assert code == 0, error
    answer = json.loads(out)
    assert answer["start_at"].startswith("2026-11-18T13:")
    assert answer["spools"][0]["key"] == "grey"
    assert 0.17 < answer["spools"][0]["start_pct"]["p50"] < 0.21
    code, out, _ = plan("--oven", "kiln", "--spool", "grey", "--database", database)
    assert code == 0
    assert re.search(r"temperature +58 degC: PETG \(Grey\) stands 65 degC", out)
    assert re.search(r"mind +.*thermal cut-out is what makes it safe", out)
    code, _, error = plan("--oven", "kiln", "--spool", "pink", "--database", database)
    assert code == 2
    assert "it has: grey" in error
