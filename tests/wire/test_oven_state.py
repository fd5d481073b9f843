"""What an oven says is taken whole or refused with the member's name: nothing about heat is guessed."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import BadMessageError
from monitor.model.oven import LivingPermit, OvenPhase, OvenState, Refusal, Trip
from monitor.wire.messages import parse_oven_state

SAID = {
    "boot": "a91c",
    "uptime_s": 1234.5,
    "seq": 88,
    "state": "heating",
    "chamber_c": [48.213, 47.942],
    "sample_seq": [901, 899],
    "humidity_pct": 12.1,
    "heater": 0.35,
    "power_w": 140,
    "fan": True,
    "door_open": False,
    "cutout_ok": True,
    "armed_s": 1200,
    "permit": {"cycle": "c7", "seq": 17, "left_s": 22.4},
    "refused": None,
    "trip": None,
}


def parsed(**changes):
    return parse_oven_state(json.dumps(SAID | changes).encode())


def test_the_example_of_the_contract_is_read():
    """Every member arrives where it belongs."""
    assert parsed() == OvenState(
        boot="a91c",
        uptime_s=1234.5,
        seq=88,
        state=OvenPhase.HEATING,
        chamber_c=(48.213, 47.942),
        sample_seq=(901, 899),
        humidity_pct=12.1,
        heater=0.35,
        power_w=140.0,
        fan=True,
        door_open=False,
        cutout_ok=True,
        armed_s=1200.0,
        permit=LivingPermit(cycle="c7", seq=17, left_s=22.4),
        refused=None,
        trip=None,
    )


def test_a_trip_and_a_refusal_are_read():
    """They are why an oven does not heat."""
    state = parsed(
        state="tripped",
        permit=None,
        refused={"seq": 18, "why": "another boot"},
        trip={"id": "t1", "rule": "R6", "what": "too hot", "remote_reset": False},
    )
    assert state.refused == Refusal(seq=18, why="another boot")
    assert state.trip == Trip(id="t1", rule="R6", what="too hot", remote_reset=False)


def test_a_sensor_that_gives_nothing_does_not_silence_the_oven():
    """The trip of an oven with a broken sensor must still be heard."""
    assert parsed(chamber_c=[None, 47.9]).chamber_c == (None, 47.9)


def test_an_overheated_chamber_is_heard():
    """The one message that a range check must not swallow."""
    assert parsed(chamber_c=[412.0, 409.5]).chamber_c == (412.0, 409.5)


@pytest.mark.parametrize("member", SAID)
def test_a_missing_member_is_named(member):
    """The contract: missing members are refused with a message that names the member."""
    said = {name: value for name, value in SAID.items() if name != member}
    with pytest.raises(BadMessageError, match=f"`{member}`"):
        parse_oven_state(json.dumps(said).encode())


def test_unknown_members_are_ignored():
    """A newer controller may say more."""
    assert parsed(mood="good") == parsed()


@pytest.mark.parametrize("phase", OvenPhase)
def test_every_state_of_the_contract_is_known(phase):
    """B-18."""
    assert parsed(state=phase.value).state is phase


@pytest.mark.parametrize(
    ("changes", "member"),
    [
        ({"boot": ""}, "boot"),
        ({"boot": "a b"}, "boot"),
        ({"uptime_s": -1}, "uptime_s"),
        ({"seq": -1}, "seq"),
        ({"seq": 1.5}, "seq"),
        ({"seq": True}, "seq"),
        ({"state": "HEATING"}, "state"),
        ({"state": "ready\nto go"}, "state"),
        ({"chamber_c": []}, "chamber_c"),
        ({"chamber_c": [1] * 17}, "chamber_c"),
        ({"chamber_c": ["48", 47]}, "chamber_c"),
        ({"chamber_c": [1001, 47]}, "chamber_c"),
        ({"chamber_c": 48.2}, "chamber_c"),
        ({"sample_seq": [901]}, "sample_seq"),
        ({"sample_seq": [901, None]}, "sample_seq"),
        ({"humidity_pct": 101}, "humidity_pct"),
        ({"heater": 1.01}, "heater"),
        ({"heater": None}, "heater"),
        ({"heater": True}, "heater"),
        ({"power_w": -1}, "power_w"),
        ({"fan": None}, "fan"),
        ({"cutout_ok": None}, "cutout_ok"),
        ({"cutout_ok": 1}, "cutout_ok"),
        ({"door_open": "no"}, "door_open"),
        ({"armed_s": -1}, "armed_s"),
        ({"permit": {}}, "cycle"),
        ({"permit": {"cycle": "c", "seq": 1}}, "left_s"),
        ({"permit": True}, "permit"),
        ({"refused": {"seq": 1}}, "why"),
        ({"trip": {"id": "t", "rule": "R6", "what": "x"}}, "remote_reset"),
        ({"trip": {"id": "t", "rule": "R6", "what": "x" * 201, "remote_reset": False}}, "what"),
    ],
)
def test_a_member_that_cannot_be_is_refused_and_named(changes, member):
    """One line says which member and why."""
    with pytest.raises(BadMessageError, match=member) as caught:
        parsed(**changes)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 250


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_not_finite_are_refused(number):
    """A comparison with nan is false, and so every limit would hold."""
    payload = json.dumps(SAID).replace("48.213", number).encode()
    with pytest.raises(BadMessageError, match="oven state"):
        parse_oven_state(payload)


def test_a_truncated_state_is_refused():
    """C-03."""
    payload = json.dumps(SAID).encode()
    for end in range(len(payload)):
        with pytest.raises(BadMessageError):
            parse_oven_state(payload[:end])


anything = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(list(SAID)), anything)
def test_any_value_in_any_member_is_read_or_refused(member, value):
    """All input is hostile; there is no third way out."""
    try:
        state = parsed(**{member: value})
    except BadMessageError:
        return
    assert isinstance(state, OvenState)
