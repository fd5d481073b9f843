"""The inventory file: idempotent by key, and every mistake named."""

import re

import pytest

from monitor.errors import BadInputError
from monitor.model.inventory import Inventory, PlaceKind
from monitor.wire.inventory import KnownKeys, dump_inventory, parse_inventory

KNOWN = KnownKeys(materials={"pla", "pa6"}, desiccants={"silica_gel_a"}, reels={"ps", "unknown"})
GOOD = """
[[room]]
key = "hall"
name = "Hall"
channel = "n1/air"
[[box]]
key = "shelf-1"
name = "Shelf 1"
room = "hall"
channel = "n1/b1"
volume_l = 12.5
desiccant = {kind = "silica_gel_a", dry_g = 150, loading_pct = 3.5, filled = 2026-01-02T03:04:05Z}
[[spool]]
key = "s1"
name = "Black nylon"
material = "pa6"
diameter_mm = 1.75
net_g = 750
used_g = 100
reel = "ps"
flanges = "open"
place = "shelf-1"
start = "sealed"
since = "2026-01-01T00:00:00+01:00"
[[oven]]
key = "oven-1"
name = "Oven"
room = "hall"
max_c = 90
overshoot_c = 4
sensor_error_c = 1
fan = true
spools_max = 3
cutout_c = 110
cutout_tested = 2026-01-05
"""


def load(text, existing=None):
    return parse_inventory(text.encode(), KNOWN, existing or Inventory())


def test_everything_written_is_read():
    """Numbers, times and places reach the model with their meaning."""
    inventory = load(GOOD)
    box, spool, oven = inventory.boxes["shelf-1"], inventory.spools["s1"], inventory.ovens["oven-1"]
    assert box.desiccant.filled_s == 1767323045.0
    assert box.desiccant.loading_pct == 3.5
    assert spool.since_s == 1767222000.0
    assert (spool.flanges, spool.used_g, spool.reel) == ("open", 100.0, "ps")
    assert (oven.fan, oven.spools_max, oven.cutout_tested_s) == (True, 3, 1767571200.0)
    assert inventory.placed_channels() == {
        "n1/air": (PlaceKind.ROOM, "hall"),
        "n1/b1": (PlaceKind.BOX, "shelf-1"),
    }


def test_loading_twice_changes_nothing_and_items_elsewhere_stay():
    """Loading is idempotent by key."""
    once = load(GOOD)
    assert load(GOOD, once) == once
    more = load('[[room]]\nkey = "attic"\nname = "Attic"', once)
    assert set(more.rooms) == {"hall", "attic"}
    assert more.boxes == once.boxes


RELAY = (
    GOOD
    + """channel = "n1/oven"
relay = {on_topic = "plugs/7/set", on_payload = "on {seconds}", off_topic = "plugs/7/set", off_payload = "off"}
"""
)


def test_a_relay_is_read_and_dumped_with_its_oven():
    """B-24: what switches it, in its own words."""
    inventory = load(RELAY)
    assert inventory.ovens["oven-1"].relay.on_payload == "on {seconds}"
    assert load(dump_inventory(inventory)) == inventory


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("on {seconds}", "on", "on_payload must hold {seconds} once"),
        ("on {seconds}", "{seconds} {seconds}", "on_payload must hold {seconds} once"),
        ("on {seconds}", "{seconds}" + "x" * 504, "on_payload must be printable text of 1 to 512 bytes"),
        ("on {seconds}", "{seconds}\\u0007", "on_payload must be printable text"),
        ('"off"', '"off {seconds}"', "off_payload must not hold"),
        ('"off"', '""', "off_payload must be printable text"),
        ('on_topic = "plugs/7/set"', 'on_topic = "plugs/+/set"', "without wildcards"),
        ('on_topic = "plugs/7/set"', 'on_topic = "#"', "without wildcards"),
        ('on_topic = "plugs/7/set"', 'on_topic = "$SYS/x"', "without wildcards"),
        (
            'on_topic = "plugs/7/set"',
            f'on_topic = "{"p" * 201}"',
            "on_topic must be printable text of 1 to 200",
        ),
        (
            'on_topic = "plugs/7/set"',
            'on_topic = "sorbwatch/lab/oven/oven-1/permit"',
            "sorbwatch/<site>/relay/",
        ),
        ('off_topic = "plugs/7/set", ', "", "off_topic must be printable text"),
        ('channel = "n1/oven"', "", "oven 'oven-1': channel is missing"),
    ],
)
def test_a_relay_that_could_stay_on_or_whose_words_are_unfit_is_refused(old, new, said):
    """B-24: without a countdown of its own it switches no heat; never a topic that means something else."""
    assert old in RELAY
    with pytest.raises(BadInputError, match=re.escape(said)):
        load(RELAY.replace(old, new))


def test_a_dump_reads_back_to_the_same():
    """What was taken out can be put in again."""
    inventory = load(GOOD)
    assert load(dump_inventory(inventory)) == inventory


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "Shelf 1"', "", "box 'shelf-1': name is missing"),
        ("volume_l = 12.5", "volume_l = 0", "volume_l is 0; allowed are 0.1 to 5000"),
        ("volume_l = 12.5", 'volume_l = "big"', "volume_l must be a number"),
        ("volume_l = 12.5", "volume_l = nan", "volume_l must be a number"),
        ('key = "s1"', 'key = "S 1"', "lower-case"),
        ('material = "pa6"', 'material = "wood"', "'wood' is unknown"),
        ('kind = "silica_gel_a"', 'kind = "rice"', "'rice' is unknown"),
        ("dry_g = 150", "dry_g = -1", "dry_g is -1"),
        ('place = "shelf-1"', 'place = "s1"', "place 's1' is no room, box or oven"),
        ('place = "shelf-1"', 'place = "gone"', "place 'gone'"),
        ('place = "shelf-1"', 'place = "shelf1"', "near it: shelf-1"),
        ('place = "shelf-1"', 'place = ["shelf-1", "hall"]', "place must be text"),
        ('room = "hall"\nchannel', 'room = "cellar"\nchannel', "room 'cellar'"),
        ('channel = "n1/b1"', 'channel = "n1/air"', "already measures"),
        ('channel = "n1/b1"', 'channel = "n1"', "<node>/<channel>"),
        ("diameter_mm = 1.75", "diameter_mm = 17.5", "diameter_mm is 17.5"),
        ("used_g = 100", "used_g = 800", "used_g is 800; allowed are 0 to 750"),
        ('key = "oven-1"', 'key = "hall"', "already names a room"),
        ("fan = true", 'fan = "yes"', "fan must be true or false"),
        ("filled = 2026-01-02T03:04:05Z", "filled = 5", "filled must be a date"),
        ('start = "sealed"', 'start = "damp"', "'damp' is unknown"),
        ("[[box]]", "[box]", "write each as a table [[box]]"),
        ('key = "hall"', 'key = "hall', "not valid TOML"),
    ],
)
def test_a_mistake_is_refused_in_one_sentence_naming_item_and_member(old, new, said):
    """Nothing is guessed; the person who typed it sees which word to mend."""
    assert old in GOOD
    with pytest.raises(BadInputError) as caught:
        load(GOOD.replace(old, new, 1))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_item_written_twice_is_refused():
    """Two boxes with one key would take turns at being right."""
    with pytest.raises(BadInputError, match="stands twice"):
        load('[[room]]\nkey = "a"\nname = "A"\n[[room]]\nkey = "a"\nname = "B"')


def test_bytes_that_are_no_text_are_refused():
    """A wrong file must be said to be wrong, not crash."""
    with pytest.raises(BadInputError, match="UTF-8"):
        parse_inventory(b"\xff\xfe", KNOWN, Inventory())
    with pytest.raises(BadInputError, match="larger"):
        parse_inventory(b"#" * 1_000_001, KNOWN, Inventory())
