"""Web Push against a push service of our own, read by a second implementation of RFC 8291 and RFC 8292."""

import json

import pytest
from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec
from support.push import CURVE, Browser, b64, claims_of, push_service, unb

from monitor.edge import push_crypto, web_push
from monitor.edge.public_host import is_public, public_address
from monitor.edge.sealing import Seal
from monitor.edge.ways import Ways
from monitor.errors import FieldError, GoneError, LaterError, MonitorError, RefusedError
from monitor.model.delivery import Letter
from monitor.model.message import Priority

NOW_S = 1_767_268_800.0


@pytest.fixture
def browser():
    return Browser()


def pushed(endpoint, browser, letter, contact="mailto:mara@example.org", key=None):
    address, _ = web_push.check_subscription(
        endpoint, b64(browser.point), b64(browser.auth), may_be_local=True
    )
    key = key or push_crypto.new_key()
    return web_push.send(address, letter, key=key, contact=contact, now_s=NOW_S, may_be_local=True)


def letter(**members):
    return Letter(**{"title": "Shelf 2 is damp", "text": "Close its lid.", "topic": "t" * 32, **members})


def test_the_published_example():
    """RFC 8291, appendix A: salt and keys are given, so every byte is."""
    receiver = unb("BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4")
    body = push_crypto.encrypt(
        b"When I grow up, I want to be a watermelon",
        receiver,
        unb("BTBZMqHH6r4Tts7J_aSIgg"),
        sender="yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw",
        salt=unb("DGv6ra1nlYgDCS1FRnbzlw"),
    )
    assert b64(body) == (
        "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
    )
    private = int.from_bytes(unb("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"), "big")
    reader = Browser(ec.derive_private_key(private, CURVE), unb("BTBZMqHH6r4Tts7J_aSIgg"))
    assert reader.read(body) == b"When I grow up, I want to be a watermelon"


def test_the_browser_reads_it_and_the_service_knows_us(browser):
    """RFC 8030, 8291 and 8292 in one go: what is sent, to whom, by whom, for how long."""
    key = push_crypto.new_key()
    with push_service() as (endpoint, got):
        assert pushed(endpoint, browser, letter(priority=Priority.SAFETY, path="/alarms/a-b"), key=key)
    ((headers, body),) = got
    assert json.loads(browser.read(body)) == {
        "title": "Shelf 2 is damp",
        "body": "Close its lid.",
        "tag": "t" * 32,
        "path": "/alarms/a-b",
        "urgent": True,
    }
    assert (headers["TTL"], headers["Urgency"], headers["Topic"]) == ("3600", "high", "t" * 32)
    assert headers["Content-Encoding"] == "aes128gcm"
    claims, public = claims_of(headers["Authorization"])
    assert claims["aud"] == endpoint.partition("/push")[0]
    assert NOW_S < claims["exp"] <= NOW_S + 86_400
    assert claims["sub"] == "mailto:mara@example.org"
    assert public == push_crypto.public_key(key)
    assert b"Shelf" not in body


def test_the_second_line_says_what_to_do():
    """A locked screen shows the title and little more: what the title says is not said again."""
    for title in ("Shelf 2 is damp: 31 %.", "Still: Shelf 2 is damp: 31 %."):
        text = "Shelf 2 is damp: 31 %. Prints will string. Close its lid."
        told = json.loads(web_push.payload(letter(title=title, text=text), push_crypto.PLAIN_MAX))
        assert (told["title"], told["body"]) == (title, "Prints will string. Close its lid.")
    told = json.loads(web_push.payload(letter(title="Over: dry", text="dry"), push_crypto.PLAIN_MAX))
    assert told["body"] == "dry"


def test_a_token_that_was_changed_is_noticed_by_this_test(browser):
    """So that the check above can fail."""
    with push_service() as (endpoint, got):
        pushed(endpoint, browser, letter())
    header = got[0][0]["Authorization"]
    start = header.index(".") + 3
    changed = header[:start] + ("A" if header[start] != "A" else "B") + header[start + 1 :]
    with pytest.raises(InvalidSignature):
        claims_of(changed)
    with pytest.raises(InvalidTag):
        Browser().read(got[0][1])


@pytest.mark.parametrize(
    ("priority", "ttl", "urgency"),
    [
        (Priority.NOTICE, "14400", "low"),
        (Priority.MEDIUM, "14400", "normal"),
        (Priority.HIGH, "14400", "high"),
        (Priority.SAFETY, "3600", "high"),
    ],
)
def test_how_long_it_is_kept_and_how_urgent_it_is(browser, priority, ttl, urgency):
    """C.9."""
    with push_service() as (endpoint, got):
        pushed(endpoint, browser, letter(priority=priority))
    assert (got[0][0]["TTL"], got[0][0]["Urgency"]) == (ttl, urgency)


@pytest.mark.parametrize("text", ["x" * 5_000, "€" * 3_000, '"' * 4_000, "\U0001f525" * 2_000, "a\n" * 3_000])
def test_a_long_text_fits_and_its_beginning_stays(browser, text):
    """4096 bytes at most, whatever a character takes."""
    with push_service() as (endpoint, got):
        assert pushed(endpoint, browser, letter(text=text))
    body = got[0][1]
    assert len(body) <= 4_096
    told = json.loads(browser.read(body))["body"]
    assert told.endswith("…")
    assert text.startswith(told[:-1])
    assert len(body) > 3_900


def test_what_is_too_large_is_sent_again_smaller(browser):
    """413, twice; then it is taken."""
    with push_service((413, 413, 201)) as (endpoint, got):
        assert pushed(endpoint, browser, letter(text="x" * 3_500))
    sizes = [len(body) for _, body in got]
    assert sizes == sorted(sizes, reverse=True)
    assert len(set(sizes)) == 3
    with push_service((413,)) as (endpoint, got):
        assert not pushed(endpoint, browser, letter())
    assert len(got) == web_push.SHRINK_TIMES


@pytest.mark.parametrize(
    ("status", "error"),
    [
        (404, GoneError),
        (410, GoneError),
        (429, LaterError),
        (503, LaterError),
        (401, RefusedError),
        (403, RefusedError),
    ],
)
def test_what_the_service_says(browser, status, error):
    """Gone, later, or unknown; nothing of it holds the address."""
    with push_service((status,)) as (endpoint, _), pytest.raises(error) as said:
        pushed(endpoint, browser, letter())
    assert "127.0.0.1" not in str(said.value)
    if status == 429:
        assert said.value.after_s == 120.0


@pytest.mark.parametrize("status", [302, 400, 500])
def test_anything_else_is_a_failure_and_leads_nowhere(browser, status):
    """Redirections are not followed."""
    with push_service((status,)) as (endpoint, got):
        assert not pushed(endpoint, browser, letter())
    assert len(got) == 1


def test_a_service_that_is_away_is_a_plain_failure(browser):
    """With no address in its words."""
    with push_service() as (endpoint, _):
        pass
    with pytest.raises(MonitorError, match="cannot be reached") as said:
        pushed(endpoint, browser, letter())
    assert "127.0.0.1" not in str(said.value)


@pytest.mark.parametrize(
    ("members", "field"),
    [
        ({"endpoint": "http://push.example.org/x"}, "endpoint"),
        ({"endpoint": "https://push.example.org:8443/x"}, "endpoint"),
        ({"endpoint": "https://me:pw@push.example.org/x"}, "endpoint"),
        ({"endpoint": "https://push.example.org/\r\nX: y"}, "endpoint"),
        ({"endpoint": "https://push.example.org/" + "x" * 1_000}, "endpoint"),
        ({"endpoint": "https://[::1/x"}, "endpoint"),
        ({"endpoint": "https:///x"}, "endpoint"),
        ({"endpoint": "file:///etc/passwd"}, "endpoint"),
        ({"endpoint": "https://localhost/x"}, "endpoint"),
        ({"endpoint": "https://192.168.1.1/x"}, "endpoint"),
        ({"endpoint": "https://[::ffff:10.0.0.1]/x"}, "endpoint"),
        ({"endpoint": ""}, "endpoint"),
        ({"endpoint": "https://pusch.exämple/x"}, "endpoint"),
        ({"p256dh": ""}, "p256dh"),
        ({"p256dh": b64(b"\x04" + b"\x01" * 64)}, "p256dh"),
        ({"p256dh": "=" * 200}, "p256dh"),
        ({"p256dh": "ä" * 88}, "p256dh"),
        ({"auth": b64(b"x" * 15)}, "auth"),
        ({"auth": "x" * 9_999}, "auth"),
    ],
)
def test_a_subscription_that_cannot_be_one_is_refused(browser, members, field):
    """With the field's name, before anything is kept."""
    good = {"endpoint": "https://push.example.org/x", "p256dh": b64(browser.point), "auth": b64(browser.auth)}
    web_push.check_subscription(**good)
    with pytest.raises(FieldError) as refused:
        web_push.check_subscription(**{**good, **members})
    assert refused.value.field == field


@pytest.mark.parametrize(
    "address",
    [
        "127.0.0.1", "10.0.0.1", "192.168.1.1", "172.16.0.1", "169.254.1.1", "100.64.0.1", "0.0.0.0", "224.0.0.1", "::1",
        "fe80::1%eth0", "fd00::1", "::ffff:127.0.0.1", "64:ff9b::7f00:1", "2002:7f00:1::", "255.255.255.255", "nonsense",
    ],
)  # fmt: skip
def test_the_local_network_is_not_public(address):
    """Whatever it is wrapped in."""
    assert not is_public(address)


def test_the_internet_is(monkeypatch):
    """And a name of which one address is local is not."""
    assert is_public("9.9.9.9")
    assert is_public("2620:fe::fe")
    found = [(2, 1, 6, "", ("9.9.9.9", 443)), (2, 1, 6, "", ("192.168.1.1", 443))]
    monkeypatch.setattr("socket.getaddrinfo", lambda *_, **__: found)
    assert public_address("push.example.org", 443) is None
    found.pop()
    assert public_address("push.example.org", 443) == "9.9.9.9"


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "[::1]", "0.0.0.0", "2130706433", "0x7f.1"])
def test_nothing_is_sent_into_the_local_network(browser, host):
    """A subscription may name any host; it is looked at when something is to be sent."""
    keys = b64(browser.point), b64(browser.auth)
    address, _ = web_push.check_subscription(f"https://{host}/x", *keys, may_be_local=True)
    with pytest.raises(RefusedError, match="local network is not allowed"):
        web_push.send(address, letter(), key=push_crypto.new_key(), contact="", now_s=NOW_S)


def test_our_key_stays_the_same_and_is_sealed(tmp_path):
    """Made at the first use; without the other key it cannot be read, and a new one is made."""
    ways = Ways(tmp_path / "site.db", contact="", now_s=lambda: NOW_S)
    assert list(tmp_path.iterdir()) == []
    public = ways.push_key()
    assert Ways(tmp_path / "site.db", contact="", now_s=lambda: NOW_S).push_key() == public
    kept = (tmp_path / "site-push.key").read_bytes()
    private = Seal(tmp_path / "site-messages.key").open(kept)
    assert push_crypto.public_key(private) == public
    assert private.encode() not in kept
    (tmp_path / "site-messages.key").unlink()
    assert ways.push_key() != public
