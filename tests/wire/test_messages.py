"""A node's pack becomes readings, and what is not a reading is kept with its reason."""

import json
import random

import pytest

from monitor.errors import BadMessageError
from monitor.model.reading import QUANTITIES, Quantity
from monitor.wire import senml
from monitor.wire.messages import parse_pack, parse_presence

EXAMPLE = (
    b'[{"bn":"urn:dev:mac:02000000000000a7:box3/","bt":1767225600,"n":"temperature","u":"Cel","v":23.41,"ut":120},'
    b'{"n":"humidity","u":"%RH","v":14.2},{"bn":"urn:dev:mac:02000000000000a7:","n":"seq","v":4711},'
    b'{"n":"boot","vs":"7f3a"},{"n":"uptime","u":"s","v":86412.5}]'
)
DEVICE = [
    {"bn": "", "bt": 0, "n": "seq", "v": 1},
    {"n": "boot", "vs": "7f3a"},
    {"n": "uptime", "u": "s", "v": 60},
]


def parsed(*records):
    return parse_pack("n1", json.dumps([*records, *DEVICE]).encode(), None)


def reason(record):
    """Why a record was refused; the pack's other reading must survive it."""
    pack = parsed({"n": "other/temperature", "u": "Cel", "v": 20}, record)
    assert [r.channel for r in pack.readings] == ["other"]
    (rejected,) = pack.rejected
    assert rejected.reason.isprintable()
    return rejected.reason


def test_the_example_of_the_contract_is_read():
    """Every firmware author starts from it."""
    pack = parse_pack("n1", EXAMPLE, "application/senml+json")
    assert (pack.node, pack.boot, pack.seq, pack.uptime_s, pack.rejected) == ("n1", "7f3a", 4711, 86412.5, ())
    warm, damp = pack.readings
    assert (warm.channel, warm.quantity, warm.value) == ("box3", Quantity.TEMPERATURE, 23.41)
    assert (warm.time_s, warm.ago_s, warm.due_s) == (1767225600.0, 0.0, 120.0)
    assert (damp.channel, damp.quantity, damp.value, damp.due_s) == ("box3", Quantity.HUMIDITY, 14.2, None)


def test_cbor_says_the_same():
    """The first byte or the content type tells, nothing else differs."""
    records = senml.decode(EXAMPLE, None).records
    for content_type in (None, "application/senml+cbor"):
        assert parse_pack("n1", senml.encode_cbor(records), content_type) == parse_pack("n1", EXAMPLE, None)


def test_several_channels_and_every_quantity_fit_in_a_pack():
    """A node with a multiplexer carries many boxes."""
    records = []
    for quantity, spec in QUANTITIES.items():
        value = {"vb": True} if spec.unit is None else {"u": spec.unit, "v": spec.highest}
        records.append({"n": f"urn:dev:mac:02:box_{quantity}/{quantity}"} | value)
    pack = parsed(*records)
    assert not pack.rejected
    assert {(r.channel, r.value) for r in pack.readings} == {
        (f"box_{quantity}", spec.highest) for quantity, spec in QUANTITIES.items()
    }


def test_a_time_is_absolute_or_an_age():
    """Negative = that many seconds ago, absent = now."""
    pack = parsed(
        {"n": "a/temperature", "u": "Cel", "v": 1, "t": -90.5},
        {"n": "b/temperature", "u": "Cel", "v": 1},
        {"n": "c/temperature", "u": "Cel", "v": 1, "t": 1767225600.25},
    )
    assert [(r.time_s, r.ago_s) for r in pack.readings] == [(None, 90.5), (None, 0.0), (1767225600.25, 0.0)]


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ({"n": "a/temperature", "u": "Cel", "v": 150.1}, "outside of -40 to 150 Cel"),
        ({"n": "a/temperature", "u": "Cel", "v": -40.1}, "outside"),
        ({"n": "a/temperature", "u": "K", "v": 300}, "must be in Cel, not K"),
        ({"n": "a/temperature", "v": 20}, "must be in Cel, not without a unit"),
        ({"n": "a/temperature", "u": "Cel", "vs": "20"}, "must be a number"),
        ({"n": "a/temperature", "u": "Cel", "s": 20}, "must be a number"),
        ({"n": "a/humidity", "u": "%RH", "v": 100.01}, "outside"),
        ({"n": "a/humidity", "u": "%", "v": 40}, "must be in %RH"),
        ({"n": "a/humidity", "u": "/", "v": 0.4}, "must be in %RH"),
        ({"n": "a/mass", "u": "g", "v": 900}, "must be in kg, not g"),
        ({"n": "a/power", "u": "kW", "v": 1}, "needs bver 26"),
        ({"n": "a/lid", "v": 1}, "must be true or false"),
        ({"n": "a/smoke", "vs": "no"}, "must be true or false"),
        ({"n": "a/pressure", "u": "Pa", "v": 1e5}, "the quantity 'pressure' is not known"),
        ({"n": "a/Temperature", "u": "Cel", "v": 20}, "is not known"),
        ({"n": "temperature", "u": "Cel", "v": 20}, "neither <channel>/<quantity>"),
        ({"n": "Box/temperature", "u": "Cel", "v": 20}, "is not a key"),
        ({"n": "x/a/temperature", "u": "Cel", "v": 20}, "is not a key"),
        ({"n": "urn:/temperature", "u": "Cel", "v": 20}, "is not a key"),
        ({"n": "a" * 64 + "/temperature", "u": "Cel", "v": 20}, "is not a key"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "t": 1}, "in the future"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "t": -(2**28) - 1}, "eight years back"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "ut": 0}, "ut must be"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "ut": -1}, "ut must be"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "ut": 604801}, "ut must be"),
        ({"n": "other/temperature", "u": "Cel", "v": 21}, "twice for the same time"),
        ({"n": "a/temperature", "u": "Cel", "v": "x"}, "v must be a number"),
        ({"n": "a/temperature", "u": "Cel", "v": 20, "now_": 1}, "must be understood"),
    ],
)
def test_a_record_that_is_no_reading_is_kept_with_the_reason(record, says):
    """Never guessed: quarantine shows what came and why it was not taken."""
    assert says in reason(record)


def test_an_announced_secondary_unit_is_as_good_as_the_primary_one():
    """C-10."""
    pack = parsed({"bver": 26, "n": "a/power", "u": "kW", "v": 0.14})
    assert [r.value for r in pack.readings] == [140.0]


def test_the_first_of_two_readings_for_one_time_stands():
    """C-03: the same record twice in a pack must not count twice, whichever would be right."""
    pack = parsed(
        {"n": "a/temperature", "u": "Cel", "v": 20, "t": -60},
        {"n": "a/temperature", "u": "Cel", "v": 25, "t": -60},
        {"n": "a/temperature", "u": "Cel", "v": 21},
    )
    assert [r.value for r in pack.readings] == [20.0, 21.0]


@pytest.mark.parametrize(
    ("records", "says"),
    [
        ([{"n": "boot", "vs": "a"}], "lacks seq"),
        ([{"n": "seq", "v": 1}], "lacks boot"),
        ([{"n": "seq", "vs": "1"}, {"n": "boot", "vs": "a"}], "seq must be a whole number"),
        ([{"n": "seq", "v": 1.5}, {"n": "boot", "vs": "a"}], "seq must be"),
        ([{"n": "seq", "v": -1}, {"n": "boot", "vs": "a"}], "seq must be"),
        ([{"n": "seq", "v": 1e300}, {"n": "boot", "vs": "a"}], "seq must be"),
        ([{"n": "seq", "v": 1}, {"n": "boot", "v": 7}], "boot must be"),
        ([{"n": "seq", "v": 1}, {"n": "boot", "vs": ""}], "boot must be"),
        ([{"n": "seq", "v": 1}, {"n": "boot", "vs": "a b"}], "boot must be"),
        ([{"n": "seq", "v": 1}, {"n": "boot", "vs": "a" * 65}], "boot must be"),
        ([{"n": "seq", "v": 1}, {"n": "seq", "v": 2}, {"n": "boot", "vs": "a"}], "seq twice"),
        ([{"n": "seq", "v": "1"}, {"n": "boot", "vs": "a"}], r"lacks seq .*v must be a number"),
    ],
)
def test_a_pack_that_cannot_be_told_from_others_is_refused(records, says):
    """C-03: without (node, boot, seq) a second copy could not be known as one."""
    with pytest.raises(BadMessageError, match=says):
        parse_pack("n1", json.dumps(records).encode(), None)


@pytest.mark.parametrize(
    "uptime", [{"v": 60}, {"u": "s", "v": -1}, {"u": "s", "vs": "60"}, {"u": "s", "v": 1e11}]
)
def test_a_pack_with_an_unusable_uptime_keeps_its_readings(uptime):
    """They are then placed by their arrival, and the reason is kept."""
    records = [
        {"n": "seq", "v": 1},
        {"n": "boot", "vs": "a"},
        {"n": "uptime"} | uptime,
        {"n": "a/lid", "vb": True},
    ]
    pack = parse_pack("n1", json.dumps(records).encode(), None)
    assert pack.uptime_s is None
    assert len(pack.readings) == len(pack.rejected) == 1


def test_a_truncated_pack_is_refused_whole():
    """C-03: half a pack would be taken for the whole of it, and its second copy then dropped."""
    for end in range(len(EXAMPLE)):
        with pytest.raises(BadMessageError):
            parse_pack("n1", EXAMPLE[:end], None)
    cbor = senml.encode_cbor(senml.decode(EXAMPLE, None).records)
    for end in range(len(cbor)):
        with pytest.raises(BadMessageError):
            parse_pack("n1", cbor[:end], None)


def test_packs_in_any_order_and_number_say_the_same():
    """C-03: a pack is read without memory of others, so duplicates, reordering and delay change nothing."""
    payloads = [json.dumps([{"n": "a/mass", "u": "kg", "v": n / 8}, *DEVICE]).encode() for n in range(20)]
    clean = {parse_pack("n1", payload, None) for payload in payloads}
    disturbed = payloads * 3
    random.Random(3).shuffle(disturbed)
    assert {parse_pack("n1", payload, None) for payload in disturbed} == clean


def test_a_node_that_is_there_says_which_boot_firmware_and_sampling_time():
    """Unknown members are ignored."""
    said = parse_presence(b'{"online": true, "boot": "7f3a", "firmware": "1.2", "sample_s": 60, "extra": []}')
    assert (said.online, said.boot, said.firmware, said.sample_s) == (True, "7f3a", "1.2", 60.0)


def test_a_will_need_say_nothing_but_that_it_is_gone():
    """A broker publishes it for a node that can no longer speak."""
    said = parse_presence(b'{"online": false}')
    assert (said.online, said.boot) == (False, None)


@pytest.mark.parametrize(
    ("payload", "says"),
    [
        (b"", "presence"),
        (b"{}", "online"),
        (b'{"online": 1}', "online"),
        (b'{"online": true, "firmware": "1", "sample_s": 60}', "lacks boot"),
        (b'{"online": true, "boot": "a", "sample_s": 60}', "lacks firmware"),
        (b'{"online": true, "boot": "a", "firmware": "1"}', "lacks sample_s"),
        (b'{"online": true, "boot": "a\\n", "firmware": "1", "sample_s": 60}', "boot must be"),
        (b'{"online": true, "boot": "a", "firmware": "1", "sample_s": 0}', "sample_s"),
        (b'{"online": true, "boot": "a", "firmware": "1", "sample_s": NaN}', "presence"),
        (b'{"online": false, "boot": "' + b"a" * 65 + b'"}', "boot"),
        (b'{"online": false, "x": ' + b"[" * 60_000, "nested too deeply"),
        (b" " * 65_537, "longer than"),
        (b"\xff", "presence"),
        (b"[]", "presence"),
    ],
)
def test_a_presence_that_cannot_be_used_is_refused_with_one_line(payload, says):
    """The reason names the member."""
    with pytest.raises(BadMessageError, match=says) as caught:
        parse_presence(payload)
    assert str(caught.value).isprintable()
