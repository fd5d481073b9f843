"""Stops are obeyed whatever they say; everything else that is not an order changes nothing (B-17, C-03)."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.oven_bench import Bench

STOPS = [
    b'{"cycle": "c1", "why": "smell"}',
    b'{"cycle": "*", "why": "all"}',
    b'{"cycle": "another", "why": "wrong one"}',
    b"",
    b"{",
    b"\xff\xfe\x00",
    b'{"cycle": 5}',
    b"[" * 5000,
    b"x" * 65_536,
]


@pytest.mark.parametrize("payload", STOPS)
@pytest.mark.parametrize("retained", [False, True])
def test_every_stop_is_obeyed_at_once(payload, retained):
    """However late, repeated, retained or garbled; the board steps at once."""
    bench = Bench().heated()
    assert bench.out.switch_1
    bench.order("stop", payload, retained=retained)
    assert not bench.out.switch_1
    assert not bench.out.switch_2
    assert bench.out.duty == 0.0
    bench.order("stop", payload, retained=retained)
    assert not bench.is_permitted


def test_a_stop_is_kept_for_the_log_and_bounded():
    """One that names another cycle is obeyed and logged: the board writes what this holds."""
    bench = Bench().heated()
    bench.order("stop", b'{"cycle": "another"}' + b" " * 60_000)
    assert bench.controller.last_stop.startswith(b'{"cycle": "another"}')
    assert len(bench.controller.last_stop) <= 200


def test_the_stop_button_at_the_oven_wins():
    """60335's local priority: nothing remote heats while it is pressed, and it takes the arming away."""
    bench = Bench().heated()
    bench.stop_pressed = True
    bench.step()
    assert not bench.out.switch_1
    assert "stop button" in bench.permit(cycle="c2")
    bench.stop_pressed = False
    bench.step()
    assert "not armed" in bench.permit(cycle="c2")


def test_a_flood_is_dropped_unread_and_a_stop_still_comes_through():
    """B-17: a stop never waits behind anything; memory and time a step stay bounded."""
    bench = Bench().heated()
    for _ in range(5000):
        bench.order("permit", b'{"seq": 1}')
    assert bench.controller.dropped >= 5000 - 16
    assert "too many" in bench.controller.refused["why"]
    bench.order("stop", b"{}")
    assert not bench.out.switch_1
    published = len(bench.states)
    bench.step(20.0)
    assert len(bench.states) - published <= 12


def test_the_flood_is_over_with_the_next_step():
    bench = Bench().heated()
    for _ in range(100):
        bench.order("permit", b"nonsense")
    bench.step()
    assert bench.permit() is None


@pytest.mark.parametrize(
    "payload",
    [b"", b"null", b"7", b"[1]", b'"c1"', b"{}", b"{", b"\xff\xff", b"[" * 2000, b"{" + b" " * 3000 + b"}"],
)
@pytest.mark.parametrize("leaf", ["permit", "reset"])
def test_what_is_no_order_is_refused_without_effect(leaf, payload):
    bench = Bench().heated()
    before = bench.controller.book.living
    assert bench.order(leaf, payload)
    assert bench.controller.book.living is before


def test_an_unknown_topic_does_nothing():
    bench = Bench()
    assert bench.order("dance", b"{}") is None


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None)
@given(
    leaf=st.sampled_from(["permit", "reset"]),
    member=st.sampled_from(["cycle", "seq", "boot", "state_seq", "setpoint_c", "ceiling_c", "lease_s"]),
    value=anything,
)
def test_any_value_in_any_member_is_taken_or_refused(leaf, member, value):
    """All input is hostile; there is no third way out, and no limit is passed by either."""
    bench = Bench()
    bench.arm()
    said = {
        "cycle": "c1",
        "seq": 1,
        "boot": "a91c",
        "state_seq": bench.newest_seq,
        "setpoint_c": 55.0,
        "ceiling_c": 60.0,
        "lease_s": 30,
        "trip": "t",
        "who": "x",
    }
    bench.order(leaf, json.dumps(said | {member: value}).encode())
    living = bench.controller.book.living
    if living is not None:
        assert living.setpoint_c <= living.ceiling_c <= 85.0
        assert living.ends_ms <= bench.now_ms + 60_000


@settings(max_examples=200, deadline=None)
@given(leaf=st.sampled_from(["permit", "stop", "reset", "x"]), payload=st.binary(max_size=300))
def test_any_bytes_are_refused_or_stop(leaf, payload):
    bench = Bench()
    bench.arm()
    bench.order(leaf, payload)
    assert not bench.is_permitted
