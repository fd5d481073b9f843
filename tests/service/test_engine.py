"""The engine: one input at a time, the same end whatever order, copies or rubbish came in between."""

import json
import random
from dataclasses import replace

import pytest
from support.packs import pack

from monitor.model.arrival import Arrival
from monitor.model.history import Stored
from monitor.model.reading import TimeQuality
from monitor.service.engine import MAX_BOOTS_PER_NODE, QUARANTINED_PER_BATCH, Engine

NOW_S = 1_795_600_000.0


def arrival(payload, at_s=NOW_S, topic="node/n1/senml", **more):
    text = payload if isinstance(payload, bytes) else payload.encode()
    return Arrival(topic=f"sorbwatch/lab/{topic}", payload=text, wall_s=at_s, mono_s=at_s, **more)


def engine():
    return Engine("lab", Stored())


def readings(batch):
    return {(r.channel, r.quantity, r.time_ms, r.value) for r in batch.readings}


def without_clock(uptime_s, ago_s, boot="7f3a", seq=1, uptime=True):
    records = [
        {"n": "b1/humidity", "u": "%RH", "v": 14, "t": -ago_s},
        {"n": "seq", "v": seq},
        {"n": "boot", "vs": boot},
    ]
    if uptime:
        records.append({"n": "uptime", "u": "s", "v": uptime_s})
    return json.dumps(records)


def test_disturbed_delivery_ends_where_the_clean_run_ends():
    """C-03: duplicates, reordering, a day's delay and truncated copies change nothing."""
    clean, disturbed = engine(), engine()
    messages = [arrival(pack(seq, NOW_S - 7200 + 60 * seq, seq % 50)) for seq in range(100)]
    for message in messages:
        clean.handle(message)
    dice = random.Random(3)
    again = messages + dice.sample(messages, 40)
    again += [
        replace(m, payload=m.payload[: dice.randrange(1, len(m.payload))]) for m in dice.sample(messages, 40)
    ]
    dice.shuffle(again)
    for message in again:
        disturbed.handle(replace(message, wall_s=NOW_S + 86_400 * dice.random()))
    one, other = clean.take_batch(), disturbed.take_batch()
    assert readings(one) == readings(other)
    assert len(other.readings) == 200
    assert one.seen == other.seen
    assert other.counters["duplicates"] == 40
    assert other.counters["quarantined"] == 40


def test_what_was_seen_is_remembered_over_a_restart():
    """A pack that comes again after a restart is still known."""
    first = engine()
    first.handle(arrival(pack(4711, NOW_S)))
    second = Engine("lab", Stored(seen=first.take_batch().seen))
    second.handle(arrival(pack(4711, NOW_S)))
    assert second.take_batch().readings == []


def test_a_node_without_a_clock_is_placed_by_its_uptime():
    """C.3: the least delayed pack tells the offset; one that waited an hour is placed where it belongs."""
    e = engine()
    e.handle(arrival(without_clock(100, 0, seq=1), NOW_S))
    e.handle(arrival(without_clock(200, 30, seq=2), NOW_S + 100))
    e.handle(arrival(without_clock(300, 0, seq=3), NOW_S + 3_600))  # was on its way for 57 minutes
    times = [r.time_ms / 1000 - NOW_S for r in e.take_batch().readings]
    assert times == pytest.approx([0, 70, 200], abs=2.0)


def test_the_clock_of_a_node_is_kept_over_a_restart_and_follows_ours_when_it_is_set():
    """B-25: setting this board's clock must not move the nodes' readings."""
    first = engine()
    first.handle(arrival(without_clock(100, 0, seq=1), NOW_S))
    second = Engine("lab", Stored(clocks=first.take_batch().clocks))
    second.handle(arrival(without_clock(150, 0, seq=2), NOW_S + 50))
    stepped = Arrival(
        topic="sorbwatch/lab/node/n1/senml",
        payload=without_clock(160, 0, seq=3).encode(),
        wall_s=NOW_S + 60 + 1_000,
        mono_s=NOW_S + 60,
    )
    second.handle(stepped)
    times = [r.time_ms / 1000 - NOW_S for r in second.take_batch().readings]
    assert times == pytest.approx([50, 1_060], abs=2.0)


def test_without_uptime_a_reading_counts_from_its_arrival_and_says_so():
    """C.3: the worst quality is told, never hidden."""
    e = engine()
    e.handle(arrival(without_clock(0, 30, uptime=False)))
    (reading,) = e.take_batch().readings
    assert reading.time_ms == (NOW_S - 30) * 1000
    assert reading.quality is TimeQuality.ARRIVAL


@pytest.mark.parametrize(("at_s", "said"), [(NOW_S + 600, "future"), (1_000_000_000, "before 2020")])
def test_readings_from_another_time_are_quarantined(at_s, said):
    """A node whose clock is wrong must not become the newest reading for years."""
    e = engine()
    e.handle(arrival(pack(1, at_s)))
    batch = e.take_batch()
    assert batch.readings == []
    assert all(said in row.reason for row in batch.quarantined)
    assert len(batch.quarantined) == 2


@pytest.mark.parametrize(
    ("topic", "payload", "said"),
    [
        ("node/n1/senml", "[", "JSON"),
        ("node/n1/senml", '[{"n":"b1/humidity","u":"%RH","v":1},{"n":"boot","vs":"a"}]', "seq"),
        ("node/n1/online", "{}", "online"),
        ("oven/o1/state", '{"boot":"a"}', "uptime_s"),
        ("node/N1/senml", "[]", "not a key"),
    ],
)
def test_a_message_that_cannot_be_used_is_kept_with_its_reason(topic, payload, said):
    """Never guessed, never in silence: a person can see what the device sent."""
    e = engine()
    e.handle(arrival(payload, topic=topic))
    (row,) = e.take_batch().quarantined
    assert said in row.reason
    assert "\n" not in row.reason


def test_a_flood_of_rubbish_is_counted_and_its_rows_bounded():
    """One broken device must not wear out the card."""
    e = engine()
    for _ in range(1_000):
        e.handle(arrival(b"\xff" * 60_000))
    batch = e.take_batch()
    assert batch.counters["quarantined"] == 1_000
    assert len(batch.quarantined) == QUARANTINED_PER_BATCH
    assert all(len(row.payload) <= 2_048 for row in batch.quarantined)


def test_a_node_that_restarts_without_end_is_bounded():
    """Its oldest boots are forgotten, the newest kept."""
    e = engine()
    for number in range(3 * MAX_BOOTS_PER_NODE):
        e.handle(arrival(pack(1, NOW_S - number, boot=f"b{number}")))
    batch = e.take_batch()
    assert len(e._seen) == MAX_BOOTS_PER_NODE
    assert len(batch.forgotten) == 2 * MAX_BOOTS_PER_NODE


def test_another_site_on_the_same_broker_changes_nothing():
    """Site is part of every key."""
    e = engine()
    e.handle(replace(arrival(pack(1, NOW_S)), topic="sorbwatch/other/node/n1/senml"))
    batch = e.take_batch()
    assert batch.readings == []
    assert batch.counters["foreign"] == 1


def test_what_nothing_was_learned_from_writes_nothing():
    """Messages of our own and of others' making that carry no reading cost the card nothing."""
    e = engine()
    e.handle(arrival("{}", topic="box/b1/summary"))
    e.handle(arrival("{}", topic="monitor/online"))
    assert e.take_batch().is_empty()
