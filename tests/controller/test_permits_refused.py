"""Every permit that may not heat is refused, with its reason in the state (contract 3, B-16, R20)."""

import json

import pytest
from support.oven_bench import Bench


@pytest.fixture
def armed():
    bench = Bench()
    bench.arm()
    return bench


def test_a_permit_in_order_is_taken(armed):
    """Else the refusals below would prove nothing."""
    armed.step(10.0)
    waited_s = armed.now_ms / 1000.0 - armed.states[-1]["uptime_s"]
    assert armed.permit() is None
    assert armed.is_permitted
    armed.step()
    assert armed.states[-1]["permit"] == {"cycle": "c1", "seq": 1, "left_s": 28.0 - waited_s}


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"boot": "b000"}, "another boot"),
        ({"lease_s": 60.5}, "lease_s"),
        ({"lease_s": 0}, "lease"),
        ({"lease_s": -5}, "lease_s"),
        ({"ceiling_c": 85.5}, "hard limit"),
        ({"ceiling_c": 5000}, "ceiling_c"),
        ({"setpoint_c": 61.0}, "set-point"),
        ({"state_seq": 10_000}, "unknown"),
        ({"setpoint_c": "55"}, "setpoint_c"),
        ({"setpoint_c": True}, "setpoint_c"),
        ({"setpoint_c": None}, "setpoint_c"),
        ({"ceiling_c": float("nan")}, "ceiling_c"),
        ({"lease_s": float("inf")}, "lease_s"),
        ({"seq": 1.5}, "seq"),
        ({"seq": -1}, "seq"),
        ({"seq": True}, "seq"),
        ({"seq": 2**60}, "seq"),
        ({"cycle": ""}, "cycle"),
        ({"cycle": "x" * 65}, "cycle"),
        ({"cycle": 7}, "cycle"),
        ({"boot": ["a91c"]}, "boot"),
        ({"retained": True}, "retained"),
    ],
)
def test_a_permit_that_may_not_heat_is_refused(armed, changes, why):
    """The reason names what is wrong, and nothing has changed."""
    assert why in armed.permit(**changes)
    assert not armed.is_permitted
    armed.step()
    assert why in armed.states[-1]["refused"]["why"]
    assert len(armed.states[-1]["refused"]["why"]) <= 200


@pytest.mark.parametrize(
    "member", ["cycle", "seq", "boot", "state_seq", "setpoint_c", "ceiling_c", "lease_s"]
)
def test_a_missing_member_is_named(armed, member):
    """The contract: missing ones are refused with a message that names the member."""
    assert f"lacks {member}" in armed.permit(leave_out=member)
    assert not armed.is_permitted


def test_unknown_members_are_ignored(armed):
    assert armed.permit(colour="blue") is None


def test_the_refusal_carries_the_number_of_what_was_refused(armed):
    armed.permit(seq=41, boot="b000")
    armed.step()
    assert armed.states[-1]["refused"]["seq"] == 41


def test_a_number_that_is_not_above_the_last_is_refused(armed):
    """QoS 1 duplicates and replays are harmless (H10)."""
    assert armed.permit(seq=7) is None
    armed.step()
    assert "not above" in armed.permit(seq=7)
    assert "not above" in armed.permit(seq=6)
    assert armed.permit(seq=8) is None


def test_a_refused_permit_does_not_use_up_its_number(armed):
    """Else whoever may publish nonsense could lock out the monitor by one huge number."""
    armed.permit(seq=2**53, boot="b000")
    assert armed.permit(seq=3) is None


def test_a_state_older_than_ten_seconds_is_no_ground(armed):
    named = armed.newest_seq
    published_ms = armed.now_ms
    armed.look()
    while armed.now_ms - published_ms <= 10_000:
        armed.step()
    assert "older than 10 s" in armed.permit(state_seq=named, lease_s=60)


def test_the_lease_counts_from_the_state_not_from_the_arrival(armed):
    """A permit that waited anywhere is worth less: 30 s less the 8 that it took."""
    named = armed.newest_seq
    armed.step(8.0)
    assert armed.permit(state_seq=named) is None
    assert armed.controller.book.living.ends_ms - armed.now_ms <= 22_000


def test_a_lease_that_ran_out_on_its_way_is_refused(armed):
    named = armed.newest_seq
    armed.step(8.0)
    assert "ran out" in armed.permit(state_seq=named, lease_s=5)


def test_anything_while_tripped_is_refused(armed):
    armed.cutout_ok = False
    armed.step()
    assert armed.permit() == "tripped"


def test_not_armed_is_refused():
    """B-10: somebody must have stood at the oven."""
    bench = Bench()
    bench.step(20.0)
    assert "not armed" in bench.permit()


def test_without_an_arming_input_a_permit_is_enough():
    """B-11: attended start; the state says so by armed_s null."""
    bench = Bench(has_arming=False)
    assert bench.permit() is None
    bench.step()
    assert bench.states[-1]["armed_s"] is None


def test_an_open_door_is_refused(armed):
    armed.door_open = True
    armed.step()
    assert "door" in armed.permit()


def test_another_cycle_beside_a_living_one_is_refused(armed):
    """B-18, H39: two controllers must not fight over one oven."""
    assert armed.permit() is None
    assert "another cycle" in armed.permit(cycle="c2")


def test_a_cycle_that_was_stopped_never_heats_again(armed):
    """B-28: whoever renews on, not knowing of the stop, must not undo it."""
    assert armed.permit() is None
    armed.order("stop", b'{"cycle": "c1", "why": "smell"}')
    armed.step(10.0)
    assert "has ended" in armed.permit()
    assert armed.permit(cycle="c2") is None


def test_a_permit_decided_before_the_stop_is_refused(armed):
    """It was on its way when somebody stopped: B-16, the state version."""
    named = armed.newest_seq
    armed.order("stop", b'{"cycle": "*", "why": "smell"}')
    assert "before heat was last taken away" in armed.permit(cycle="c9", state_seq=named)


def test_after_a_lapse_the_same_cycle_may_go_on_for_five_minutes(armed):
    """B-22: off remains, until somebody who knows of the lapse permits again; later it is a new start."""
    assert armed.permit() is None
    armed.step(60.0)
    assert not armed.is_permitted
    assert armed.permit() is None
    armed.step(30.0 + 301.0)
    assert "has ended" in armed.permit()


def test_no_run_outlasts_the_longest():
    """R15: whatever renews it."""
    bench = Bench(run_most_h=0.1)
    bench.arm()
    for _ in range(60):
        bench.permit()
        bench.step(10.0)
        if not bench.is_permitted:
            break
    assert 350 <= bench.now_ms / 1000.0 <= 380
    assert "has ended" in bench.permit()


def test_the_book_stays_small(armed):
    """A node has kilobytes: hours of renewals and hundreds of cycles leave no more behind than minutes."""
    for number in range(300):
        armed.arm()
        assert armed.permit(cycle=f"c{number}") is None
        armed.step()
        armed.order("stop", b"{}")
        armed.step()
    book = armed.controller.book
    assert len(book._ended) <= 8
    assert len(book._published) <= 24


def test_numbers_stay_exact_in_json(armed):
    assert armed.permit(seq=2**53) is None
    armed.step()
    assert json.loads(json.dumps(armed.states[-1]))["permit"]["seq"] == 2**53
