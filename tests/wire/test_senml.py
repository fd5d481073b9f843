"""SenML packs are read as RFC 8428 says, and one bad record never costs the others."""

import json
from pathlib import Path

import cbor2
import pytest

from monitor.errors import BadMessageError
from monitor.wire import senml
from monitor.wire.senml_labels import CBOR_KEYS

CORPUS = json.loads((Path(__file__).parents[1] / "data" / "senml_rfc8428.json").read_text())
JSON_TYPE, CBOR_TYPE = "application/senml+json", "application/senml+cbor"


def decoded(pack, **options):
    return senml.decode(json.dumps(pack).encode(), None, **options)


def only(pack, **options):
    found = decoded(pack, **options)
    assert not found.rejected, found.rejected
    (record,) = found.records
    return record


def reason(pack, **options):
    """The one reason for which a pack of one bad record is refused."""
    found = decoded(pack, **options)
    assert not found.records
    (rejected,) = found.rejected
    assert "\n" not in rejected.reason
    assert rejected.record
    return rejected.reason


def expected(row):
    name, unit, time_s, value = row
    if isinstance(value, dict):
        value = bytes.fromhex(value["bytes"])
    elif not isinstance(value, str | bool):
        value = float(value)
    return name, unit, pytest.approx(time_s, abs=1e-6), value


@pytest.mark.parametrize("case", CORPUS, ids=lambda case: case["title"])
def test_the_examples_of_the_standard_resolve_as_it_says(case):
    """C-11: inheritance of every base member, from RFC 8428 section 5."""
    records = decoded(case["pack"]).records
    assert [(r.name, r.unit, r.time_s, r.value) for r in records] == [
        expected(row) for row in case["resolved"]
    ]


@pytest.mark.parametrize("case", CORPUS, ids=lambda case: case["title"])
def test_round_trip_through_json_and_cbor_is_exact(case):
    """C-11: JSON, CBOR and the resolved form say the same, to the last bit."""
    records = decoded(case["pack"]).records
    assert senml.decode(senml.encode_json(records), JSON_TYPE).records == records
    assert senml.decode(senml.encode_cbor(records), CBOR_TYPE).records == records
    now_s = 1.7e9
    flat = senml.resolve(records, now_s)
    assert senml.resolve(senml.decode(senml.encode_cbor(flat), None).records, now_s) == flat


def test_the_cbor_example_of_the_standard_is_read():
    """C-11: RFC 8428 section 6, byte by byte, so that our own encoder is not its only witness."""
    names = "67" + b"current".hex()
    first = "a721781b" + b"urn:dev:ow:10e2073a0108006:".hex() + "22fb41d303a15b00106223614120050067"
    first += b"voltage".hex() + "01615602fb405e066666666666"
    values = [
        "3ff3333333333333",
        "3ff4cccccccccccd",
        "3ff6666666666666",
        "3ff8000000000000",
        "3ff999999999999a",
    ]
    rest = [f"a300{names}06{0x24 - at:02x}02fb{value}" for at, value in enumerate(values)]
    last = f"a300{names}060002fb3ffb333333333333"
    records = senml.decode(bytes.fromhex("87" + first + "".join(rest) + last), None).records
    as_json = decoded(CORPUS[2]["pack"]).records
    assert [(r.name, r.unit, r.value) for r in records] == [(r.name, r.unit, r.value) for r in as_json]
    assert [r.time_s for r in records] == pytest.approx([r.time_s for r in as_json], abs=1e-3)


def test_a_content_type_decides_before_the_first_byte():
    """A payload that is not what its type says is refused rather than guessed."""
    pack = b'[{"n":"a","v":1}]'
    assert senml.decode(pack, "Application/SenML+JSON; charset=utf-8").records
    assert senml.decode(b" \r\n" + pack, None).records
    assert senml.decode(pack, "text/plain").records
    with pytest.raises(BadMessageError, match="CBOR"):
        senml.decode(pack, CBOR_TYPE)


@pytest.mark.parametrize(
    ("payload", "content_type", "says"),
    [
        (b"", None, "neither"),
        (b'{"n":"a","v":1}', None, "neither"),
        (b"\xa1\x00\x01", None, "neither"),
        (b"[]", None, "no records"),
        (b"\x80", None, "no records"),
        (b'[{"n":"a","v":1}', None, "not JSON"),
        (b'[{"n":"a","v":1}] 1', None, "not JSON"),
        (b'[{"n":"a","v":nan}]', None, "not JSON"),
        (b'[{"n":"\xff","v":1}]', None, "not UTF-8"),
        (b"[" * 60_000, None, "nested too deeply"),
        (b"1", JSON_TYPE, "not an array"),
        (b"null", JSON_TYPE, "not an array"),
        (b"[" + b"1," * 33_000 + b"1]", None, "longer than 65536"),
        (b"[" + b"1," * 4_000 + b"1]", None, "more than 4000"),
        (b"[" + b"{}," * 4_000 + b"{}]", None, "more than 4000"),
        (b"\x81\xa1\x00", None, "not CBOR"),
        (b"\x81\xa1\x00\x01\x00", None, "something follows"),
        (b"\x81" * 100, None, "not CBOR"),
        (b"\x9b" + b"\xff" * 8, None, "not CBOR"),
        (b"\x9f", None, "not CBOR"),
        (b"\x01", CBOR_TYPE, "not an array"),
        (b"\x81\xc4\x82\x3b\x7f" + b"\xff" * 7 + b"\x01", None, "not CBOR"),
    ],
)
def test_what_is_no_pack_is_refused_whole_with_one_line(payload, content_type, says):
    """A payload that cannot be taken apart has no good records to keep."""
    with pytest.raises(BadMessageError, match=says) as caught:
        senml.decode(payload, content_type)
    assert len(str(caught.value)) < 200
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ({"n": "a"}, "no value"),
        ({"n": "a", "v": 1, "vb": True}, "more than one value"),
        ({"n": "a", "vs": "x", "vd": "aGk"}, "more than one value"),
        ({"n": "a", "vb": True, "vs": "x", "s": 1}, "more than one value"),
        ({"v": 1}, "no name"),
        ({"n": "", "v": 1}, "no name"),
        ({"n": "_a", "v": 1}, "characters"),
        ({"n": "a b", "v": 1}, "characters"),
        ({"n": "ä", "v": 1}, "characters"),
        ({"n": "a\n", "v": 1}, "characters"),
        ({"n": "\ud800", "v": 1}, "characters"),
        ({"n": "a" * 256, "v": 1}, "longer than 255"),
        ({"bn": "a" * 200, "n": "b" * 100, "v": 1}, "longer than 255"),
        ({"n": "a", "u": "furlong", "v": 1}, "not known"),
        ({"n": "a", "u": "", "v": 1}, "not known"),
        ({"n": "a", "v": "1"}, "v must be a number"),
        ({"n": "a", "v": True}, "v must be a number"),
        ({"n": "a", "v": None}, "v must be a number"),
        ({"n": "a", "v": [1]}, "v must be a number"),
        ({"n": "a", "vb": 1}, "vb must be true or false"),
        ({"n": "a", "vs": 1}, "vs must be a string"),
        ({"n": "a", "vd": "a"}, "vd is not base64url"),
        ({"n": "a", "vd": "+/=="}, "vd is not base64url"),
        ({"n": "a", "vd": 7}, "vd must be"),
        ({"n": 1, "v": 1}, "n must be a string"),
        ({"n": "a", "u": 1, "v": 1}, "u must be a string"),
        ({"n": "a", "v": 1, "t": "x"}, "t must be a number"),
        ({"n": "a", "v": 1, "ut": None}, "ut must be a number"),
        ({"n": "a", "v": 1, "t": 1e300}, "no time"),
        ({"n": "a", "v": 1, "t": -1e300}, "no time"),
        ({"n": "a", "v": 1, "bt": 1.7e308, "t": 1.7e308}, "no time"),
        ({"n": "a", "v": 1.7e308, "bv": 1.7e308}, "not finite"),
        ({"n": "a", "v": 1, "s": 1.7e308, "bs": 1.7e308}, "sum is not finite"),
        ({"n": "a", "v": 1, "why_": 1}, "must be understood"),
        ({"bver": 11, "n": "a", "v": 1}, "newer"),
        ({"bver": 42, "n": "a", "v": 1}, "newer"),
        ({"bver": 0, "n": "a", "v": 1}, "positive whole number"),
        ({"bver": 10.5, "n": "a", "v": 1}, "positive whole number"),
        ({"bver": "10", "n": "a", "v": 1}, "bver must be a number"),
        (17, "not an object"),
        (None, "not an object"),
        ([], "not an object"),
    ],
)
def test_a_bad_record_is_refused_alone_with_one_sentence(record, says):
    """The rest of a pack is as good as if the bad record had not been sent."""
    assert says in reason([record])
    good = {"n": "box3/temperature", "u": "Cel", "v": 20.5}
    anew = {"bver": 10, "bn": "", "bt": 0, "bv": 0, "bs": 0}
    found = decoded([good, record, anew | good])
    assert [r.value for r in found.records] == [20.5, 20.5]
    assert len(found.rejected) == 1


@pytest.mark.parametrize("number", ["1e999", "-1e999", "NaN", "Infinity", "1" * 400])
def test_numbers_that_are_not_finite_are_refused_with_their_record(number):
    """nan and infinity stop at the door, and only they do."""
    payload = f'[{{"n":"a","v":{number}}},{{"n":"b","t":{number},"v":1}},{{"n":"c","v":2}}]'.encode()
    found = senml.decode(payload, None)
    assert [(r.name, r.value) for r in found.records] == [("c", 2.0)]
    assert [r.reason for r in found.rejected] == ["the value is not finite", "its time is no time"]


def test_an_unreadable_base_member_holds_up_what_would_inherit_it():
    """To resolve a record against a base that could not be read would be a guess."""
    pack = [
        {"bn": 7, "n": "a", "v": 1},
        {"n": "b", "v": 2},
        {"bn": "x/", "n": "c", "v": 3},
        {"n": "d", "v": 4},
    ]
    found = decoded(pack)
    assert [r.name for r in found.records] == ["x/c", "x/d"]
    assert "bn" in found.rejected[1].reason


def test_an_unknown_base_member_that_must_be_understood_spoils_the_rest_of_the_pack():
    """It may change the meaning of every record after it."""
    found = decoded([{"n": "a", "v": 1}, {"bfuture_": 1, "n": "b", "v": 1}, {"n": "c", "v": 1}])
    assert [r.name for r in found.records] == ["a"]
    assert len(found.rejected) == 2


def test_a_bad_record_still_hands_on_its_sound_base_members():
    """The base name of a record with a bad value names those after it."""
    found = decoded([{"bn": "x/", "n": "a", "v": "bad"}, {"n": "b", "v": 2}])
    assert [r.name for r in found.records] == ["x/b"]


def test_members_without_meaning_here_are_passed_over():
    """RFC 8428 4.4: only a label that ends with _ must be understood."""
    assert only([{"n": "a", "v": 1, "colour": "red", "_x": 1}]).value == 1.0


def test_an_escaped_label_does_not_hide_that_it_must_be_understood():
    """The fast way knows only plain spelling."""
    found = senml.decode(b'[{"n":"a","v":1,"x\\u005f":1}]', None)
    assert "must be understood" in found.rejected[0].reason


def test_a_record_may_be_only_a_sum():
    """RFC 8428 4.2: the value is optional beside a sum."""
    record = only([{"bs": 10, "n": "energy", "u": "J", "s": 5}])
    assert (record.value, record.total) == (None, 15.0)


def test_base_value_and_base_sum_are_added():
    """RFC 8428 4.1."""
    found = decoded(
        [{"bv": 20, "bs": 1, "n": "a", "v": 0.5}, {"n": "b", "v": 1.5, "s": 2}, {"n": "c", "vb": True}]
    )
    assert [(r.value, r.total) for r in found.records] == [(20.5, 1.0), (21.5, 3.0), (True, 1.0)]


def test_times_below_2_to_28_are_relative_to_now():
    """RFC 8428 4.5.3: the 2^28 rule."""
    pack = [{"n": "a", "v": 1, "t": t} for t in (-60, 0, 60, 2**28 - 1, 2**28)]
    resolved = senml.resolve(decoded(pack).records, now_s=1.8e9)
    assert [r.time_s for r in resolved] == [2**28, 1.8e9 - 60, 1.8e9, 1.8e9 + 60, 1.8e9 + 2**28 - 1]


def test_secondary_units_are_converted_when_the_version_announces_them():
    """C-10: bver 26 carries the feature bit of secondary units."""
    record = only([{"bver": 26, "n": "p", "u": "kW", "v": 1.2, "s": 3}])
    assert (record.unit, record.value, record.total, record.unit_undeclared) == ("W", 1200.0, 3000.0, False)


def test_an_unannounced_secondary_unit_is_refused_or_marked():
    """C-10: lenient mode marks what the version did not announce."""
    pack = [{"n": "level", "u": "dBm", "v": -40}]
    assert "needs bver 26" in reason(pack)
    record = only(pack, lenient=True)
    assert (record.unit, record.value, record.unit_undeclared) == ("dBW", -70.0, True)


def test_a_sum_in_a_unit_with_an_offset_is_refused():
    """The offset would have to be summed over a time that nobody gave."""
    assert "cannot be converted" in reason([{"bver": 26, "n": "level", "u": "dBm", "s": 5}])


def test_cbor_members_go_by_number_or_name_but_not_both():
    """A label given twice has no one meaning."""
    assert senml.decode(cbor2.dumps([{"n": "a", 2: 1}]), None).records[0].value == 1.0
    found = senml.decode(cbor2.dumps([{0: "a", 2: 1, "v": 3}]), None)
    assert found.rejected[0].reason == "v is given twice"


def test_cbor_decimal_fractions_are_numbers_and_other_tags_are_nothing():
    """RFC 8428 section 6 allows tag 4; no date, pattern or shared object is built from a stranger's bytes."""
    exact = bytes.fromhex("81a200616102c48221191388")  # 5000 x 10^-2
    assert senml.decode(exact, None).records[0].value == 50.0
    huge = bytes.fromhex("81a200616102c4821a3b9aca0001")  # 10^1000000000
    assert senml.decode(huge, None).rejected[0].reason == "the value is not finite"
    for tagged in ("c11a60000000", "d823612e", "d81c00", "d9d9f701", "d81e820102"):
        found = senml.decode(bytes.fromhex("81a200616102" + tagged), None)
        assert found.rejected[0].reason == "v must be a number"


def test_cbor_keeps_a_nan_out():
    """CBOR can say what JSON cannot."""
    found = senml.decode(cbor2.dumps([{0: "a", 2: float("nan")}, {0: "b", 2: 1}]), None)
    assert [r.name for r in found.records] == ["b"]


def test_the_encoder_says_common_parts_once():
    """A pack of one channel should not repeat its device's name."""
    records = [senml.Record(name=f"urn:dev:mac:02:box3/{q}", value=1.0, time_s=1.7e9) for q in "abc"]
    text = senml.encode_json(records).decode()
    assert text.count("urn:dev:mac") == 1
    assert text.count('"bt"') == 1


def test_every_label_has_the_number_of_the_standard():
    """RFC 8428 table 4, typed again."""
    labels = ["bs", "bv", "bu", "bt", "bn", "bver", "n", "u", "v", "vs", "vb", "s", "t", "ut", "vd"]
    by_number = {CBOR_KEYS[label]: label for label in CBOR_KEYS}
    assert [by_number[key] for key in range(-6, 9)] == labels
