"""A capture gives back, bit for bit, what passed on the broker, and a bad line costs only itself."""

import base64
import gzip
import json
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import BadInputError, BadMessageError
from monitor.wire.capture import Captured, CaptureWriter, decode_line, encode_line, read_capture

TOPIC = "sorbwatch/lab/node/n1/senml"


def captured(payload, at_s=1767225600.25):
    return Captured(at_s=at_s, topic=TOPIC, retain=False, payload=payload)


def test_the_example_of_the_contract_is_read():
    """Captures of others have this shape."""
    line = b'{"at": 1767225600.25, "topic": "%b", "retain": false, "payload": [{"n": 1}]}' % TOPIC.encode()
    assert decode_line(line) == captured(b'[{"n": 1}]')


def test_a_line_has_the_members_of_the_contract_and_no_others():
    """Other programs read it."""
    said = json.loads(encode_line(captured(b'[{"n":"a","v":1.50}]')))
    assert said == {"at": 1767225600.25, "topic": TOPIC, "retain": False, "payload": [{"n": "a", "v": 1.5}]}
    said = json.loads(encode_line(captured(b"\x81\xa0")))
    assert said == {"at": 1767225600.25, "topic": TOPIC, "retain": False, "payload_b64": "gaA="}


@pytest.mark.parametrize(
    "payload",
    [
        b'{"v": 1.0}',
        b'{"v":23.410000000000000000001,"w":1E5,"x":123456789012345678901234567890,"y":-0.0}',
        b"0.1",
        b'"\\u00e4 \\n"',
        '"ä\u2028"'.encode(),
        b"null",
        b" [1] ",
    ],
)
def test_json_payloads_come_back_byte_for_byte(payload):
    """Numbers kept exactly: a replay must decode what the live service decoded."""
    assert decode_line(encode_line(captured(payload))).payload.strip() == payload.strip()


def test_line_ends_between_members_become_blanks():
    """A pretty-printed payload must still stand on one line."""
    line = encode_line(captured(b'{\r\n "a": 1\n}\n'))
    assert line.count(b"\n") == 1
    assert json.loads(decode_line(line).payload) == {"a": 1}


@pytest.mark.parametrize("payload", [b"", b"\xff", b"nan", b"1e999", b"[1", b"[" * 5000, b'"\xff"', b"1 2"])
def test_what_is_not_json_comes_back_from_base_64(payload):
    """Also malformed packs are replayed as they came."""
    line = encode_line(captured(payload))
    assert b"payload_b64" in line
    assert decode_line(line).payload == payload


@settings(max_examples=200, deadline=None)
@given(
    st.one_of(st.binary(max_size=60), st.text(max_size=30).map(lambda text: json.dumps(text).encode())),
    st.floats(0, 4e9),
    st.text(min_size=1, max_size=20),
    st.booleans(),
)
def test_any_message_survives_a_capture(payload, at_s, topic, retain):
    """Only line ends between JSON members may become blanks."""
    message = Captured(at_s=at_s, topic=topic, retain=retain, payload=payload)
    line = encode_line(message)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    back = decode_line(line)
    assert (back.at_s, back.topic, back.retain) == (at_s, topic, retain)
    assert back.payload.split() == payload.split()


@pytest.mark.parametrize("name", ["run.jsonl", "run.jsonl.gz"])
def test_a_file_gives_back_what_was_written(tmp_path, name):
    """Plain and gzipped alike."""
    messages = [captured(b'[{"v":%d}]' % n, at_s=1e9 + n) for n in range(500)] + [captured(b"\x80")]
    with CaptureWriter(tmp_path / name) as writer:
        for message in messages:
            writer.write(message)
    assert list(read_capture(tmp_path / name)) == messages
    starts = (tmp_path / name).read_bytes()[:2]
    assert (starts == b"\x1f\x8b") == name.endswith(".gz")


GOOD = encode_line(captured(b"[1]"))


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"nonsense", "malformed"),
        (b"[]", "object"),
        (GOOD[:-20], "truncated"),
        (b'{"topic": "a", "retain": false, "payload": 1}', "`at`"),
        (b'{"at": 1, "retain": false, "payload": 1}', "`topic`"),
        (b'{"at": 1, "topic": "a", "payload": 1}', "`retain`"),
        (b'{"at": 1, "topic": "a", "retain": false}', "either payload or payload_b64"),
        (b'{"at": 1, "topic": "a", "retain": false, "payload": 1, "payload_b64": "aGk="}', "either"),
        (b'{"at": 1, "topic": "a", "retain": false, "payload_b64": "a"}', "base 64"),
        ('{"at": 1, "topic": "a", "retain": false, "payload_b64": "ä"}'.encode(), "base 64"),
        (b'{"at": "1", "topic": "a", "retain": false, "payload": 1}', "at"),
        (b'{"at": -1, "topic": "a", "retain": false, "payload": 1}', "at"),
        (b'{"at": 1e12, "topic": "a", "retain": false, "payload": 1}', "at"),
        (b'{"at": NaN, "topic": "a", "retain": false, "payload": 1}', "malformed"),
        (b'{"at": 1, "topic": "", "retain": false, "payload": 1}', "topic"),
        (b'{"at": 1, "topic": "a", "retain": 0, "payload": 1}', "retain"),
        (
            b'{"at": 1, "topic": "a", "retain": false, "payload": "' + b"a" * 65_536 + b'"}',
            "longer than 65536",
        ),
        (b'{"at": 1, "topic": "a", "retain": false, "payload": ' + b"[" * 60_000, "deeply"),
        (b"\xff\xfe", "malformed"),
        (b"x" * 600_000, "longer than 524288"),
    ],
)
def test_a_bad_line_is_named_and_passed_over(tmp_path, line, says):
    """A capture of weeks must not be lost to one line, nor a bad line go unnoticed."""
    path = tmp_path / "run.jsonl"
    path.write_bytes(GOOD + b"\n" + line + b"\n" + GOOD)
    with pytest.raises(BadMessageError, match=f"^line 3: .*{says}"):
        list(read_capture(path))
    told = []
    assert list(read_capture(path, told.append)) == [captured(b"[1]")] * 2
    (reason,) = told
    assert str(reason).isprintable()
    assert len(str(reason)) < 250


@pytest.mark.parametrize("harm", ["cut", "flipped", "not gzip"])
def test_a_damaged_gzip_file_ends_with_a_reason(tmp_path, harm):
    """What was read before the damage is kept."""
    path = tmp_path / "run.jsonl.gz"
    whole = gzip.compress(b"".join(encode_line(captured(b"[%d]" % n)) for n in range(20_000)))
    middle = len(whole) // 2
    harmed = {
        "cut": whole[:middle],
        "flipped": whole[:middle]
        + bytes(byte ^ 0xFF for byte in whole[middle : middle + 40])
        + whole[middle + 40 :],
        "not gzip": GOOD,
    }
    path.write_bytes(harmed[harm])
    told = []
    messages = list(read_capture(path, told.append))
    assert (len(messages) > 1000) == (harm != "not gzip")
    assert "damaged or ends early" in str(told[-1])


def test_a_capture_that_is_not_there_is_the_callers_fault(tmp_path):
    """One line says which file."""
    with pytest.raises(BadInputError, match="no-such"):
        list(read_capture(tmp_path / "no-such.jsonl"))
    with pytest.raises(BadInputError, match="no-such"):
        CaptureWriter(tmp_path / "no-such" / "run.jsonl")


def test_one_endless_line_takes_no_memory(tmp_path):
    """A small gzipped file may hold gigabytes without a line end."""
    path = tmp_path / "bomb.jsonl.gz"
    path.write_bytes(gzip.compress(b"[" * 50_000_000, compresslevel=1) + gzip.compress(b"\n" + GOOD))
    told = []
    tracemalloc.start()
    messages = list(read_capture(path, told.append))
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert messages == [captured(b"[1]")]
    assert len(told) == 1
    assert peak_bytes < 8_000_000


def test_base_64_holds_what_the_broker_may_carry():
    """The longest payload fits in a line."""
    payload = bytes(65_536)
    line = encode_line(captured(payload))
    assert base64.b64encode(payload) in line
    assert decode_line(line).payload == payload
