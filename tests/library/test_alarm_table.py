"""The alarm table: complete, within the rules, and strict about what it does not know (A-17, A-28, A-29)."""

from importlib.resources import files
from pathlib import Path

import pytest

from monitor.alarms.priority import priority_of
from monitor.errors import BadInputError
from monitor.library.alarm_table import load_alarm_table, parse_alarm_table
from monitor.model.alarm_row import AlarmClass, Consequence
from monitor.model.message import Priority

TEXT = files("monitor").joinpath("data/alarms.toml").read_text(encoding="utf-8")
SHELVES_S = {"notice": 7 * 86_400, "low": 7 * 86_400, "medium": 86_400, "high": 7_200, "safety": 0}
ROWS = load_alarm_table().rows


@pytest.mark.parametrize("kind", ROWS)
def test_a_row_keeps_the_rules_of_its_priority(kind):
    row = ROWS[kind]
    assert row.on_delay_s <= row.respond_s / 4
    assert row.respond_s >= 600
    assert row.shelve_max_s <= SHELVES_S[priority_of(row.consequence, row.respond_s)]
    assert row.act[0].isupper()
    assert row.act.endswith(".")
    assert (row.alarm_class is AlarmClass.SAFETY) == (row.shelve_max_s == 0)


def _with(kind, field, value):
    """The shipped table with one member of a row or rule replaced."""
    head, start, rest = TEXT.partition(f"[{kind}]\n")
    assert start, kind
    body, *after = rest.split("\n\n", 1)
    lines = [line for line in body.splitlines() if not line.startswith(f"{field} =")]
    lines += [] if value is None else [f"{field} = {value}"]
    return "\n\n".join([head + start + "\n".join(lines), *after]).encode()


@pytest.mark.parametrize(
    ("kind", "field", "value", "words"),
    [
        ("rows.lid_open", "act", '" "', "lid_open: act"),
        ("rows.lid_open", "causes", "[]", "lid_open: causes"),
        ("rows.lid_open", "on_delay_s", "2701.0", "lid_open: on_delay_s"),
        ("rows.lid_open", "respond_s", "599.0", "lid_open: respond_s"),
        ("rows.lid_open", "deadband", "nan", "lid_open: deadband"),
        ("rows.lid_open", "k", "2", "lid_open: k"),
        ("rows.lid_open", "latches", "true", "lid_open: latches"),
        ("rows.smoke", "shelve_max_s", "60.0", "smoke: shelve_max_s"),
        ("rows.smoke", "hidden_by", '["broker_hides_silence"]', "smoke: hidden_by"),
        ("rows.humidity_high", "hidden_by", "[]", "lid_open_hides_humidity: hides"),
        ("rows.lid_open", "basis", None, "basis"),
        ("rows.lid_open", "colour", '"red"', "colour"),
        ("rules.node_hides_silence", "max_s", "0.0", "node_hides_silence: max_s"),
        ("rules.node_hides_silence", "settles_s", "86401.0", "node_hides_silence: settles_s"),
        ("rules.node_hides_silence", "settles_s", "-1.0", "node_hides_silence: settles_s"),
        ("rules.node_hides_silence", "causes", '["moon"]', "node_hides_silence: causes"),
    ],
)
def test_a_fault_is_refused_by_row_and_field(kind, field, value, words):
    with pytest.raises(BadInputError, match=words):
        parse_alarm_table(_with(kind, field, value))


def test_priority_follows_the_grid():
    day, rising = 86_400.0, 86_401.0
    assert priority_of(Consequence.NUISANCE, rising) is Priority.NOTICE
    assert priority_of(Consequence.NUISANCE, day) is Priority.LOW
    assert priority_of(Consequence.SPOILED, rising) is Priority.LOW
    assert priority_of(Consequence.SPOILED, 3_600.0) is Priority.MEDIUM
    assert priority_of(Consequence.EQUIPMENT, rising) is Priority.MEDIUM
    assert priority_of(Consequence.EQUIPMENT, -1.0) is Priority.HIGH
    assert priority_of(Consequence.PERSON, rising) is Priority.HIGH
    assert priority_of(Consequence.PERSON, day) is Priority.SAFETY
    soon = ROWS["desiccant_soon"]  # can wait, until its deadline is a day away
    assert priority_of(soon.consequence, soon.respond_s) is Priority.NOTICE


@pytest.mark.parametrize("kind", ROWS)
def test_a_row_names_a_test_that_knows_it(kind):
    root = Path(__file__).resolve().parents[2]
    assert f'"{kind}"' in (root / ROWS[kind].test).read_text(encoding="utf-8")
