"""What a node does on the wire: numbering, times, and an outage survived."""

import json
import threading

import pytest

from monitor.edge.node import Measured, NodeCore, Round, device_name, run_node, sample_all, send_next
from monitor.edge.sht4x import AirSample, Words
from monitor.model.reading import Quantity
from monitor.wire.messages import parse_pack

WALL_S = 1_795_000_000.0  # a clock that is set


def taken(uptime_s: float, humidity_pct: float = 12.3456) -> Round:
    return Round(
        uptime_s=uptime_s,
        measured=(
            Measured(channel="air", quantity=Quantity.TEMPERATURE, value=21.0),
            Measured(channel="air", quantity=Quantity.HUMIDITY, value=humidity_pct),
        ),
    )


def core_of(**options: float) -> NodeCore:
    return NodeCore(node="board", boot="7f3a", **{"sample_s": 60.0, **options})


def resolved(payload: bytes) -> list[dict[str, object]]:
    """Base name and base time put into each record; written anew here, not taken from the product."""
    base_name, base_s, records = "", 0.0, []
    for record in json.loads(payload):
        base_name, base_s = record.pop("bn", base_name), record.pop("bt", base_s)
        records.append({**record, "n": base_name + record["n"], "t": base_s + record.get("t", 0.0)})
    return records


def air_records(payload: bytes) -> list[dict[str, object]]:
    return sorted(
        (record for record in resolved(payload) if "/" in str(record["n"])),
        key=lambda record: (record["t"], str(record["n"])),
    )


def device_record(payload: bytes, name: str) -> dict[str, object]:
    return next(record for record in resolved(payload) if str(record["n"]).endswith(f":{name}"))


def sent(core: NodeCore, uptime_s: float, wall_s: float = WALL_S) -> bytes:
    payloads: list[bytes] = []
    assert send_next(core, lambda payload: payloads.append(payload) is None, uptime_s=uptime_s, wall_s=wall_s)
    return payloads[0]


def test_a_pack_has_the_contracts_shape():
    core = core_of()
    core.keep(taken(100.0))
    name, at_s = device_name("board"), WALL_S - 1.5
    assert resolved(sent(core, uptime_s=101.5)) == [
        {"n": f"{name}air/temperature", "u": "Cel", "t": at_s, "v": 21.0, "ut": 120.0},
        {"n": f"{name}air/humidity", "u": "%RH", "t": at_s, "v": 12.346, "ut": 120.0},
        {"n": f"{name}seq", "t": WALL_S, "v": 0},
        {"n": f"{name}boot", "t": WALL_S, "vs": "7f3a"},
        {"n": f"{name}uptime", "u": "s", "t": WALL_S, "v": 101.5},
    ]


def test_the_monitor_reads_what_the_node_wrote():
    """Round trip through the service's own door, with nothing rejected."""
    core = core_of()
    for uptime_s in (0.0, 60.0):
        core.keep(taken(uptime_s))
    pack = parse_pack("board", sent(core, uptime_s=61.0), None)
    assert (pack.boot, pack.seq, pack.uptime_s, pack.rejected) == ("7f3a", 0, 61.0, ())
    assert [(reading.time_s, reading.due_s) for reading in pack.readings] == [
        (WALL_S - 61.0, None),
        (WALL_S - 61.0, None),
        (WALL_S - 1.0, 120.0),
        (WALL_S - 1.0, 120.0),
    ]


def test_the_monitor_reads_ages_where_the_clock_is_not_set():
    core = core_of()
    core.keep(taken(0.0))
    pack = parse_pack("board", sent(core, uptime_s=61.0, wall_s=5.0), None)
    assert [(reading.time_s, reading.ago_s) for reading in pack.readings] == [(None, 61.0), (None, 61.0)]
    assert (pack.uptime_s, pack.rejected) == (61.0, ())


def test_a_lid_is_a_boolean_without_a_unit():
    core = core_of()
    core.keep(Round(uptime_s=0.0, measured=(Measured(channel="door", quantity=Quantity.LID, value=1.0),)))
    record = json.loads(sent(core, uptime_s=0.0))[0]
    assert record["vb"] is True
    assert "u" not in record


def test_without_a_set_clock_no_date_is_invented():
    """C.3: no clock, so no date; buffered samples say how long ago they were taken."""
    core = core_of()
    for uptime_s in (0.0, 60.0, 120.0):
        core.keep(taken(uptime_s))
    payload = sent(core, uptime_s=125.0, wall_s=12_345.0)
    assert [record["t"] for record in air_records(payload)] == [-125.0, -125.0, -65.0, -65.0, -5.0, -5.0]
    assert device_record(payload, "uptime") == {
        "n": f"{device_name('board')}uptime",
        "u": "s",
        "t": 0.0,
        "v": 125.0,
    }


def test_a_clock_set_during_the_outage_dates_what_was_taken_before():
    """C.3: the pending block is re-based once, when the time is known."""
    core = core_of()
    core.keep(taken(10.0))
    assert not send_next(core, lambda _: False, uptime_s=11.0, wall_s=50.0)
    times = [record["t"] for record in air_records(sent(core, uptime_s=100.0))]
    assert times == [WALL_S - 90.0, WALL_S - 90.0]


def test_only_the_newest_value_says_when_the_next_is_due():
    core = core_of()
    for uptime_s in (0.0, 60.0):
        core.keep(taken(uptime_s))
    assert [record.get("ut") for record in air_records(sent(core, uptime_s=60.0))] == [
        None,
        None,
        120.0,
        120.0,
    ]


def test_an_unconfirmed_pack_goes_again_under_its_own_number():
    """(node, boot, seq) identifies a pack: if the first copy did arrive, the second changes nothing."""
    core = core_of()
    core.keep(taken(0.0))
    payloads: list[bytes] = []

    def lost(payload: bytes) -> bool:
        payloads.append(payload)
        return False

    assert not send_next(core, lost, uptime_s=1.0, wall_s=WALL_S)
    core.keep(taken(60.0))
    assert not send_next(core, lost, uptime_s=61.0, wall_s=WALL_S + 60.0)
    assert air_records(payloads[0]) == air_records(payloads[1])
    assert device_record(payloads[0], "seq")["v"] == device_record(payloads[1], "seq")["v"] == 0


def test_numbers_rise_by_one_a_pack():
    core = core_of()
    seqs = []
    for minute in range(5):
        core.keep(taken(60.0 * minute))
        payload = sent(core, uptime_s=60.0 * minute)
        seqs.append(device_record(payload, "seq")["v"])
    assert seqs == [0, 1, 2, 3, 4]


def test_a_late_confirmation_of_an_old_pack_confirms_nothing_else():
    core = core_of()
    core.keep(taken(0.0))
    sent(core, uptime_s=0.0)
    core.keep(taken(60.0))
    core.outgoing()
    core.confirmed(0)
    assert core.waiting == 1


def test_a_day_without_a_broker_loses_nothing():
    """C-04: at least 24 h at 60 s, oldest first, each sample with its own time."""
    core = core_of()
    samples = 24 * 60
    for minute in range(samples):
        core.keep(taken(60.0 * minute, humidity_pct=minute / 20.0))
        assert not send_next(core, lambda _: False, uptime_s=60.0 * minute, wall_s=WALL_S)
    now_s = 60.0 * samples
    arrived: list[dict[str, object]] = []
    while core.waiting:
        payload = sent(core, uptime_s=now_s)
        assert len(payload) < 65_536
        arrived += [record for record in air_records(payload) if str(record["n"]).endswith("humidity")]
    assert [record["t"] for record in arrived] == [
        WALL_S - now_s + 60.0 * minute for minute in range(samples)
    ]
    assert [record["v"] for record in arrived] == [round(minute / 20.0, 3) for minute in range(samples)]
    assert core.lost_rounds == 0


def test_a_full_buffer_drops_the_oldest_and_counts_it():
    core = core_of(keep_s=600.0)
    for minute in range(13):
        core.keep(taken(60.0 * minute))
    assert (core.waiting, core.lost_rounds) == (10, 3)
    assert air_records(sent(core, uptime_s=720.0))[0]["t"] == WALL_S - 720.0 + 180.0


def test_a_round_without_any_value_is_not_sent():
    core = core_of()
    core.keep(Round(uptime_s=0.0, measured=()))
    assert core.outgoing() is None


def test_presence_says_boot_firmware_and_pace():
    assert json.loads(core_of().presence("1.2")) == {
        "online": True,
        "boot": "7f3a",
        "firmware": "1.2",
        "sample_s": 60.0,
    }


class Sensor:
    def __init__(self, *samples: AirSample | None) -> None:
        self.samples = list(samples)

    def read(self) -> AirSample | None:
        return self.samples.pop(0) if len(self.samples) > 1 else self.samples[0]


def air(humidity_pct: float | None) -> AirSample:
    return AirSample(
        temperature_c=20.0, humidity_pct=humidity_pct, words=Words(temperature=24341, humidity=9000), serial=1
    )


def test_a_silent_sensor_leaves_a_gap_and_the_others_are_sent():
    read = sample_all({"a": Sensor(None), "b": Sensor(air(None)), "c": Sensor(air(5.0))}, lambda: 3.0)
    assert [(value.channel, value.quantity) for value in read.measured] == [
        ("b", Quantity.TEMPERATURE),
        ("c", Quantity.TEMPERATURE),
        ("c", Quantity.HUMIDITY),
    ]


class SteppedClock:
    """Time that passes only while the node waits; after `end_s` the node is told to stop."""

    def __init__(self, end_s: float) -> None:
        self.now_s, self.end_s, self.stopped = 0.0, end_s, False

    def wall_s(self) -> float:
        return WALL_S + self.now_s

    def mono_s(self) -> float:
        return self.now_s

    def is_set(self) -> bool:
        return self.stopped

    def wait(self, duration_s: float) -> bool:
        assert duration_s > 0.0
        self.now_s += duration_s
        self.stopped = self.now_s >= self.end_s
        return self.stopped


def run(core: NodeCore, clock: SteppedClock, publish) -> None:
    stop: threading.Event = clock  # type: ignore[assignment]  # the clock stands in for the event
    run_node(core, {"air": Sensor(air(5.0))}, publish, clock, stop)


def test_the_loop_samples_on_time_and_sends_each_sample():
    arrived: list[float] = []
    core, clock = core_of(), SteppedClock(end_s=600.0)
    run(core, clock, lambda _: arrived.append(clock.now_s) is None)
    assert arrived == [60.0 * minute for minute in range(10)]


def test_the_backlog_of_an_outage_is_sent_at_a_bounded_rate():
    """C-04: rate limited, so that a whole site coming back does not drown the broker."""
    arrived: list[tuple[float, int]] = []
    core, clock = core_of(), SteppedClock(end_s=86_400.0 + 60.0)

    def publish(payload: bytes) -> bool:
        if clock.now_s < 86_400.0:
            return False
        arrived.append((clock.now_s, len(air_records(payload))))
        return True

    run(core, clock, publish)
    assert sum(records for _, records in arrived) == 2 * 1441
    gaps = [later - earlier for (earlier, _), (later, _) in zip(arrived, arrived[1:], strict=False)]
    assert min(gaps) == pytest.approx(0.25)
    assert arrived[-1][0] < 86_400.0 + 10.0
