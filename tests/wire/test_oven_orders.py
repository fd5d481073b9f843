"""Orders to ovens as JSON: strict, bounded, and a stop that no message can spoil."""

import json

import pytest
from support.ovens import heating, tripped

from monitor.errors import BadInputError
from monitor.model.cycle import Problem
from monitor.wire.oven_orders import (
    MAX_BYTES,
    dump_look,
    dump_problem,
    parse_extend,
    parse_reset,
    parse_start,
    stop_reason,
)

START = {
    "order": "o-1", "version": 7, "load": ["grey"], "setpoint_c": 55, "duration_s": 3600, "limited_by": "grey",
    "unattended": True,
}  # fmt: skip


def as_json(**change):
    return json.dumps(START | change).encode()


def test_a_start_is_read_with_every_member_and_shown_as_of_now():
    """B-10: what a program sends is what it showed."""
    wish, who = parse_start(as_json(), 1000.0)
    assert (wish.order, wish.version, wish.load, wish.setpoint_c) == ("o-1", 7, ("grey",), 55.0)
    assert (wish.duration_s, wish.limited_by, wish.unattended, wish.shown_s, who) == (
        3600.0,
        "grey",
        True,
        1000.0,
        None,
    )


@pytest.mark.parametrize("name", START)
def test_a_missing_member_is_named(name):
    """Duration is mandatory (B-15), and so is all the rest."""
    body = {key: value for key, value in START.items() if key != name}
    with pytest.raises(BadInputError, match=name):
        parse_start(json.dumps(body).encode(), 0.0)


@pytest.mark.parametrize(
    "change",
    [
        {"setpoint_c": 29.9}, {"setpoint_c": 120.1}, {"setpoint_c": True}, {"duration_s": 59}, {"duration_s": 172_801},
        {"load": ["Grey!"]}, {"load": ["a"] * 41}, {"load": "grey"}, {"order": ""}, {"order": "x" * 201}, {"order": "a\x07"},
        {"version": 1.5}, {"limited_by": "a\nb"}, {"unattended": 1}, {"who": ""}, {"extra": 1},
    ],
)  # fmt: skip
def test_figures_outside_their_bounds_are_refused(change):
    """H17, H18: 131 °F typed as °C, a day too many, control characters, an unknown member."""
    with pytest.raises(BadInputError, match="cannot be read"):
        parse_start(as_json(**change), 0.0)


@pytest.mark.parametrize(
    "content", [b"", b"null", b"[]", b"\xff", b"{" * 5000, b'{"setpoint_c": NaN}', b'{"setpoint_c": 1e999}']
)
@pytest.mark.parametrize("parse", [lambda c: parse_start(c, 0.0), parse_extend, parse_reset])
def test_garbage_is_refused_in_a_sentence(parse, content):
    """Never another kind of error."""
    with pytest.raises(BadInputError):
        parse(content)


def test_what_is_too_big_is_not_even_read():
    """Bounded: a megabyte of blanks costs nothing."""
    with pytest.raises(BadInputError, match=str(MAX_BYTES)):
        parse_start(as_json() + b" " * MAX_BYTES, 0.0)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b'{"why": "smell"}', "smell"), (b'{"why": "sm\\u0000ell\\n"}', "smell"), (b'{"why": "   "}', "stopped by a program"),
        (b"", "stopped by a program"), (b"\xff\xff", "stopped by a program"), (b"[" * 8000, "stopped by a program"),
        (b'{"why": "' + b"x" * 5000 + b'"}', "x" * 200), (b" " * 9000, "stopped by a program"),
        (b'{"why": "fire", "more": 1}', "fire"),
    ],
)  # fmt: skip
def test_a_reason_for_a_stop_is_read_as_far_as_it_can_be(content, why):
    """B-17: never an error, never control characters in the book, never endless."""
    assert stop_reason(content) == why


def test_a_look_is_json_without_clocks_that_mean_nothing_outside():
    """Contract 5: times are RFC 3339; monotonic ones stay inside."""
    for look in (heating(), tripped()):
        text = json.dumps(dump_look(look), allow_nan=False)
        assert "mono" not in text
    assert dump_look(heating())["cycle"]["started"].endswith("Z")
    assert dump_look(tripped())["trip"]["fired"][0]["rule"] == "R6"


def test_a_problem_keeps_its_limit():
    """B-14: which item, and how hot."""
    problem = Problem(rule="B-14", title="Too hot", detail="It is.", limiting_item="grey", limit_c=58.0)
    assert dump_problem(problem)["limiting_item"] == "grey"
    assert dump_problem(problem)["limit_c"] == 58.0
