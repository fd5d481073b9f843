"""The notes for whoever builds a controller say what the reference does."""

import re
from pathlib import Path

from controller import limits
from controller.rules import LOCAL_RESET

ROOT = Path(__file__).resolve().parents[2]
NOTES = (ROOT / "firmware_notes" / "oven-controller.md").read_text()
PROOF = (ROOT / "firmware_notes" / "oven-proof-test.md").read_text()


def test_every_rule_that_can_trip_stands_in_the_table():
    """A trip that nobody can look up is reset without a thought."""
    code = "".join(path.read_text() for path in (ROOT / "controller").glob("*.py"))
    tripping = set(re.findall(r'"(R\d+|cutout)"', code)) - {"R7", "R20"}
    table = dict(re.findall(r"^\| (R\d+|cutout) \|(.*)$", NOTES, flags=re.M))
    assert len(tripping) >= 12
    assert tripping <= set(table)
    for rule in tripping:
        assert ("local reset" in table[rule]) == (rule in LOCAL_RESET), rule


def test_the_numbers_in_the_notes_are_those_of_the_code():
    assert limits.FIRMWARE_HARD_C == 125.0
    assert "at most 125 °C" in NOTES
    assert limits.MESSAGES_PER_STEP == 16
    assert limits.LEASE_MOST_S == 60.0
    assert limits.FELL_OUT_C == 12.0
    assert limits.RESET_BELOW_C == 45.0
    assert limits.PAYLOAD_MOST_BYTES == 2048


def test_the_cautions_are_there():
    """B-42, B-51: said where the oven is built, too."""
    assert "class A" in NOTES
    assert "licensed" in NOTES
    assert "never used for food again" in NOTES
    assert "cut-out" in PROOF
    for step in range(15):
        assert re.search(rf"^\| {step} ", PROOF, flags=re.M), step
