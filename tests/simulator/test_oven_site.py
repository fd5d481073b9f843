"""The demonstration's ovens: cold without a permit, the controller's own code with one, over real MQTT."""

import json

import pytest
from support.waiting import wait_for

from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.mqtt_node import NodeLink
from monitor.simulator.connections import live_connect
from monitor.simulator.demo import DemoSite
from monitor.simulator.live import DeviceKind
from monitor.simulator.oven_site import limits_of, parameters_of
from monitor.wire.messages import parse_oven_state, parse_presence

LIVE_S = 1_795_000_200.0


class StoppedClock:
    def wall_s(self) -> float:
        return LIVE_S


@pytest.fixture
def site():
    demo = DemoSite(1, LIVE_S, StoppedClock(), history_days=0.02)
    demo.world.advance_to(LIVE_S)
    for oven in demo.ovens:
        oven.begin(LIVE_S)
    return demo


def states(oven, from_s, to_s):
    """All that is published while it reports every two seconds."""
    said = []
    for number in range(int(from_s), int(to_s), 2):
        said += [json.loads(payload) for payload in oven.report(LIVE_S + number)]
    return said


def permit(state, seq, setpoint_c=50.0):
    said = {
        "cycle": "c1",
        "seq": seq,
        "boot": state["boot"],
        "state_seq": state["seq"],
        "setpoint_c": setpoint_c,
        "ceiling_c": setpoint_c + 5.0,
        "lease_s": 30,
    }
    return json.dumps(said).encode()


def test_a_warm_chamber_is_cooling_and_then_idle(site):
    """The run that ended just before the demonstration: as warm as the world had it, and no jump after that."""
    oven, before_c = site.ovens[0], site.world.chamber_c("kiln-low")
    said = states(oven, 0, 7200)
    assert before_c > 40.0
    assert said[0]["state"] == "cooling"
    assert said[0]["chamber_c"][0] == pytest.approx(before_c, abs=1.0)
    assert said[-1]["state"] == "idle"
    assert site.world.chamber_c("kiln-low") < 35.0


def test_without_a_permit_nothing_heats(site):
    for oven in site.ovens:
        said = states(oven, 0, 3600)
        assert all(state["heater"] == 0.0 and state["permit"] is None for state in said)
        assert all(state["armed_s"] is None for state in said)
        assert oven._rig.oven.given_j == 0.0


def test_under_a_permit_both_ovens_heat_and_the_sites_sensors_feel_it(site):
    """What the nodes in the chamber read is the same chamber."""
    for oven in site.ovens:
        said = states(oven, 0, 20)
        for second in range(20, 5400, 10):
            oven.receive("permit", permit(said[-1], second), False)
            said += states(oven, second, second + 10)
        assert said[-1]["state"] == "drying", said[-1]
        assert said[-1]["trip"] is None
        assert max(max(state["chamber_c"]) for state in said) < 55.0
        assert site.world.air(oven.key).temperature_c == pytest.approx(50.0, abs=2.0)
        cold = states(oven, 5400, 5500)
        assert cold[-1]["heater"] == 0.0
        assert cold[-1]["permit"] is None


def test_a_stop_among_a_flood_is_obeyed(site):
    """The queue between the broker's thread and the oven is bounded; a stop is not pushed out of it."""
    oven = site.ovens[0]
    said = states(oven, 0, 20)
    oven.receive("permit", permit(said[-1], 1), False)
    said = states(oven, 20, 30)
    assert said[-1]["permit"] is not None
    oven.receive("stop", b"{}", False)
    for number in range(1000):
        oven.receive("permit", permit(said[-1], number + 2), False)
    said = states(oven, 30, 40)
    assert said[-1]["permit"] is None


def test_after_a_pause_of_the_program_only_the_newest_states_are_told(site):
    oven = site.ovens[0]
    states(oven, 0, 20)
    assert len(oven.report(LIVE_S + 7200.0)) == 5


def test_figures_stay_in_order_for_every_oven_of_the_site(site):
    """Set-point, hard limit, cut-out, fuse: each above the one before."""
    for oven in site.inventory.ovens.values():
        limits, parameters = limits_of(oven), parameters_of(oven)
        assert oven.max_c < limits.hard_c < parameters.cutout_c < parameters.fuse_c


@pytest.mark.broker
def test_over_a_real_broker_a_permit_heats_and_a_retained_stop_ends_it(site, broker):
    """Topics, retain flags and payloads as they really arrive."""
    address = Address(host="127.0.0.1", port=broker.port)
    oven, heard = site.ovens[1], []
    assert parse_presence(oven.presence()).online
    connection = live_connect(lambda _key: address, "lab")(DeviceKind.OVEN, oven.key, oven.presence())
    connection.listen(lambda *order: (heard.append(order), oven.receive(*order)))
    parting = Parting(topic="sorbwatch/lab/monitor/online", birth=b"{}", will=b"{}")
    monitor = NodeLink(address, client_id="monitor", parting=parting)
    monitor.start()
    try:
        assert connection._listener.subscribed.wait(10.0)
        assert monitor.wait_connected(10.0)
        said = states(oven, 0, 20)
        start = f"sorbwatch/lab/oven/{oven.key}"
        monitor.publish(f"{start}/permit", permit(said[-1], 1))
        wait_for(lambda: len(heard) == 1, what="the permit")
        said = states(oven, 20, 30)
        assert said[-1]["permit"] is not None
        assert connection.publish("state", json.dumps(said[-1]).encode())
        parse_oven_state(json.dumps(said[-1]).encode())
        monitor.publish(f"{start}/stop", b'{"cycle": "*", "why": "test"}', retain=True)
        wait_for(lambda: len(heard) == 2, what="the stop")
        assert states(oven, 30, 40)[-1]["permit"] is None
    finally:
        monitor.close()
        connection.close()
