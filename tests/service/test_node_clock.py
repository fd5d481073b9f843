"""A node without a clock has its readings dated right, through queues, reboots, drift and copies."""

import random
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.model.reading import TimeQuality
from monitor.service.node_clock import (
    BUCKET_S,
    DRIFT_ERROR_S,
    DRIFT_LIMIT,
    KEEP_S,
    NodeClock,
    dump_clock,
    load_clock,
    placed,
)

START_S = 1.77e9
# Over this much of a node's uptime the clock promises to remember its least delayed pack.
REMEMBERED_S = (DRIFT_ERROR_S - BUCKET_S * DRIFT_LIMIT) / (2 * DRIFT_LIMIT) - BUCKET_S


@dataclass(frozen=True)
class Sent:
    boot: int
    uptime_s: float
    true_s: float
    rx_s: float


def prompt_with_outages(rng, packs):
    """Nearly at once, but for outages of up to an hour that are caught up with afterwards."""
    delays, back_s = [], 0.0
    for true_s in packs:
        if true_s > back_s and rng.random() < 0.004:
            back_s = true_s + rng.uniform(60, 3600)
        delays.append(max(back_s - true_s, 0.0) + rng.expovariate(1 / 0.3))
    return delays


def anything_up_to_an_hour(rng, packs):
    """Every pack waits on its own and so they overtake each other."""
    return [rng.uniform(0, 3600) for _ in packs]


def mostly_minutes(rng, packs):
    return [min(rng.expovariate(1 / 600), 3600.0) for _ in packs]


def never_less_than_a_minute(rng, packs):
    return [60 + min(rng.expovariate(1 / 20), 3540.0) for _ in packs]


def network(seed, drift, delays_of, hours=60):
    """Packs of one node as they arrive: rebooted now and then, some of them twice."""
    rng = random.Random(seed)
    sent, true_s, boot, boot_at_s = [], START_S, 0, START_S
    times, boots = [], []
    reboot_s = START_S + rng.uniform(2, 30) * 3600
    while true_s < START_S + hours * 3600:
        if true_s > reboot_s:
            boot, boot_at_s, reboot_s = boot + 1, true_s + 5, true_s + rng.uniform(0.5, 40) * 3600
        true_s += 60 + rng.uniform(-1, 1) + 6 * (boot_at_s > true_s)
        times.append(true_s)
        boots.append((boot, boot_at_s))
    for true_s, (boot, boot_at_s), delay_s in zip(times, boots, delays_of(rng, times), strict=True):
        uptime_s = (true_s - boot_at_s) / (1 + drift)
        sent.append(Sent(boot, uptime_s, true_s, true_s + delay_s))
        if rng.random() < 0.1:
            sent.append(Sent(boot, uptime_s, true_s, true_s + delay_s + rng.uniform(0, 3600)))
    return sorted(sent, key=lambda pack: pack.rx_s)


def least_delay_s(heard, pack):
    """Of what has arrived of this boot within the time that the clock promises to remember."""
    return min(
        (other.rx_s - other.true_s)
        for other in heard
        if other.boot == pack.boot and abs(other.uptime_s - pack.uptime_s) <= REMEMBERED_S
    )


@pytest.mark.parametrize("drift", [-100e-6, -30e-6, 0.0, 45e-6, 100e-6])
@pytest.mark.parametrize(
    "delays_of", [prompt_with_outages, anything_up_to_an_hour, mostly_minutes, never_less_than_a_minute]
)
def test_every_time_is_within_two_seconds_or_the_least_delay_of_the_truth(drift, delays_of):
    """C-14, with 0 to 3600 s of queueing, reboots, 100 ppm of drift and duplicates."""
    clocks, heard = {}, []
    for pack in network(f"{drift} {delays_of.__name__}", drift, delays_of):
        position = placed(clocks.get(pack.boot), pack.rx_s, pack.uptime_s)
        clocks[pack.boot] = position.clock
        heard = [other for other in heard[-300:] if other.rx_s > pack.rx_s - 20_000] + [pack]
        error_s = position.offset_s + pack.uptime_s - pack.true_s
        assert abs(error_s) <= max(2.0, least_delay_s(heard, pack)) + 1e-3, (pack, position)
        is_ordinary = pack.rx_s - pack.true_s <= 3600.0
        assert position.quality is (TimeQuality.ESTIMATED if is_ordinary else position.quality)
    assert len(clocks) > 1


@pytest.mark.parametrize("drift", [-80e-6, 15e-6, 95e-6])
def test_the_drift_is_known_after_six_hours(drift):
    """C.3: from then on an evening without a prompt pack does not date it wrong."""
    rng, clock = random.Random(drift), None
    for n in range(24 * 60):
        true_s = 60.0 * n
        clock = placed(clock, START_S + true_s + rng.expovariate(1 / 0.2), true_s / (1 + drift)).clock
    assert clock.drift_low - 1e-12 <= drift <= clock.drift_high + 1e-12
    assert clock.drift_high - clock.drift_low < 25e-6
    late_s = 60.0 * 24 * 60 + 10 * 3600
    position = placed(clock, START_S + late_s + 3000, late_s / (1 + drift))
    assert abs(position.offset_s + late_s / (1 + drift) - START_S - late_s) < DRIFT_ERROR_S


def test_the_drift_is_not_guessed_from_queues():
    """Waits of minutes make any slope; the clock then keeps to what a crystal can do."""
    rng, clock = random.Random(5), None
    for n in range(24 * 60):
        clock = placed(clock, START_S + 60.0 * n + rng.uniform(0, 3600), 60.0 * n).clock
    assert (clock.drift_low, clock.drift_high) == (-DRIFT_LIMIT, DRIFT_LIMIT)


def test_a_late_pack_is_dated_by_what_was_heard_around_it():
    """C-03: late by a day, it is placed where it belongs, and marked as beyond an ordinary queue."""
    clock = None
    for n in range(30 * 60):
        clock = placed(clock, START_S + 60.0 * n + 0.1, 60.0 * n).clock
    for uptime_s in (12 * 3600.0, 3 * 3600.0):
        position = placed(clock, START_S + uptime_s + 86_400, uptime_s)
        assert position.offset_s + uptime_s == pytest.approx(START_S + uptime_s, abs=2.0)
        assert position.quality is TimeQuality.SUSPECT
        assert position.clock is clock


def test_a_second_copy_teaches_nothing():
    """C-03: a duplicate must not cost a write either."""
    clock = placed(placed(None, START_S, 100.0).clock, START_S + 60, 160.0).clock
    for copy_rx_s in (START_S + 60, START_S + 3000):
        position = placed(clock, copy_rx_s, 160.0)
        assert position.clock is clock
        assert position.offset_s + 160.0 == pytest.approx(START_S + 60, abs=0.3)


def test_a_first_pack_is_dated_by_its_arrival_and_says_how_little_that_is():
    """Nothing else is known of that boot yet."""
    position = placed(None, START_S, 86_400.0)
    assert position.offset_s == START_S - 86_400.0
    assert position.quality is TimeQuality.ESTIMATED
    assert position.error_s >= 10.0


def test_prompt_packs_shrink_the_stated_error():
    """Estimated means: give or take what is said."""
    clock, position = None, None
    for n in range(300):
        position = placed(clock, START_S + 60.0 * n + 0.05 * (n % 3), 60.0 * n)
        clock = position.clock
    assert position.error_s < DRIFT_ERROR_S + 0.2
    assert abs(position.offset_s - START_S) <= position.error_s


@pytest.mark.parametrize("jump_s", [-49.7 * 86_400, 2 * 3600.0])
def test_a_counter_that_jumps_is_suspect_and_learned_anew(jump_s):
    """A 32-bit count of milliseconds wraps after 49.7 days; one that runs ahead of time is as wrong."""
    clock = None
    for n in range(100):
        clock = placed(clock, START_S + 60.0 * n, 50 * 86_400 + 60.0 * n).clock
    jumped = placed(clock, START_S + 6000, 50 * 86_400 + 6000 + jump_s)
    assert jumped.quality is TimeQuality.SUSPECT
    assert jumped.offset_s + 50 * 86_400 + 6000 + jump_s == START_S + 6000
    after = placed(jumped.clock, START_S + 6060, 50 * 86_400 + 6060 + jump_s)
    assert after.quality is TimeQuality.ESTIMATED
    assert after.offset_s + 50 * 86_400 + 6060 + jump_s == pytest.approx(START_S + 6060, abs=0.3)


def test_our_own_clock_may_be_set_without_losing_what_was_learned():
    """R19, B-25: the step is ours, not the node's."""
    clock = placed(placed(None, START_S, 0.0).clock, START_S + 60, 60.0).clock
    position = placed(clock.stepped(5000.0), START_S + 120 + 5000 + 30, 120.0)
    assert position.offset_s == pytest.approx(START_S + 5000, abs=0.3)
    assert position.quality is TimeQuality.ESTIMATED


def test_the_state_stays_small():
    """It is stored with every commit that changes it."""
    clock, changes = None, 0
    for n in range(7 * 24 * 60):
        position = placed(clock, START_S + 60.0 * n + 0.1 * (n % 7 + 1), 60.0 * n)
        changes += position.clock is not clock
        clock = position.clock
    assert len(clock.points) <= KEEP_S / BUCKET_S + 1
    assert len(dump_clock(clock)) < 1800
    # Once per half hour, or a few times where a better pack follows.
    assert changes < 7 * 48 * 4


finite = st.floats(-1e7, 1e10)


@given(st.lists(st.tuples(finite, st.floats(0, 1e10)), min_size=1, max_size=30))
def test_no_uptime_or_arrival_breaks_the_clock(heard):
    """All input is hostile; whatever is heard, a time and an error come out, and the state can be kept."""
    clock: NodeClock | None = None
    for rx_s, uptime_s in heard:
        position = placed(clock, rx_s, uptime_s)
        clock = position.clock
        assert position.error_s >= 0.0
        assert -DRIFT_LIMIT <= clock.drift_low < clock.drift_high <= DRIFT_LIMIT
        assert list(clock.points) == sorted(clock.points)
    kept = load_clock(dump_clock(clock))
    assert [u for u, _ in kept.points] == pytest.approx([u for u, _ in clock.points], abs=1e-3)
