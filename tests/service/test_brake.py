"""Guessing is slowed by waits that double; memory is bounded, and nobody is kept out for good."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.service.brake import FORGET_S, FREE_TRIES, LONGEST_WAIT_S, SLOTS, Brake, network_of


def fail_until_it_waits(brake, key="k", now_s=0.0):
    for _ in range(FREE_TRIES + 1):
        assert brake.begin([key], now_s) == 0.0


def test_some_tries_are_free_then_waits_double_up_to_the_longest():
    """People mistype; guessers go on."""
    brake, now_s, waits = Brake(secret=b"repeats"), 0.0, []
    for _ in range(FREE_TRIES):
        assert brake.begin(["k"], now_s) == 0.0
    for _ in range(12):
        assert brake.begin(["k"], now_s) == 0.0
        waits.append(brake.begin(["k"], now_s))
        now_s += waits[-1]
    assert waits[:4] == [2.0, 4.0, 8.0, 16.0]
    assert waits[-2:] == [LONGEST_WAIT_S, LONGEST_WAIT_S]


def test_a_try_during_the_wait_does_not_make_it_longer():
    """Else a stranger could keep the owner waiting for ever."""
    brake = Brake(secret=b"repeats")
    fail_until_it_waits(brake)
    first = brake.begin(["k"], 0.5)
    assert all(brake.begin(["k"], 0.5) == first for _ in range(100))
    assert brake.begin(["k"], 0.5 + first) == 0.0


def test_a_refused_try_does_not_count_against_the_other_key():
    """Waiting at one address must not slow the name down elsewhere."""
    brake = Brake(secret=b"repeats")
    fail_until_it_waits(brake, "address")
    for _ in range(50):
        assert brake.begin(["address", "name"], 0.5) > 0.0
    assert brake.begin(["name"], 0.5) == 0.0


def test_success_and_an_hour_of_quiet_start_afresh():
    """Yesterday's slips are forgotten."""
    brake = Brake(secret=b"repeats")
    fail_until_it_waits(brake)
    brake.passed(["k"])
    fail_until_it_waits(brake)
    assert brake.begin(["k"], FORGET_S + 10.0) == 0.0
    assert brake.begin(["k"], FORGET_S + 10.0) == 0.0


@given(keys=st.lists(st.text(), max_size=300))
def test_marks_never_outnumber_their_slots(keys):
    """Bounded memory, whatever is sent as a name."""
    brake = Brake(slots=16, secret=b"repeats")
    for key in keys:
        brake.begin([key, key + "x"], 0.0)
    assert brake.held() <= 16


def test_ten_thousand_keys_fit_and_push_no_mark_out():
    """An attacker must not wash his own failures away with other people's names."""
    brake = Brake(secret=b"repeats")
    fail_until_it_waits(brake, "mara")
    for number in range(10_000):
        brake.begin([f"name {number}"], 0.0)
    assert brake.held() <= SLOTS
    assert brake.begin(["mara"], 0.5) > 0.0


def test_a_household_counts_as_one_address():
    """One line has 2^64 addresses of version 6 to try from."""
    assert network_of("2001:db8::1") == network_of("2001:db8::ffff:1") != network_of("2001:db8:0:1::1")
    assert network_of("::ffff:192.0.2.7") == network_of("192.0.2.7") != network_of("192.0.2.8")
    assert network_of("fe80::1%eth0") == network_of("fe80::2%eth0")
    assert network_of("nonsense" * 100) == ("nonsense" * 100)[:64]
