"""The trial broker lets a demo run where mosquitto is missing; of delivery it promises nothing."""

import time

import pytest
from support.processes import free_port
from support.waiting import wait_for

from monitor.edge.clock import SystemClock
from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting
from monitor.edge.mqtt_node import NodeLink
from monitor.edge.trial_broker import TrialBroker


@pytest.mark.whole
def test_a_reading_passes_over_the_trial_broker():
    """It is labelled as what it is, listens on this machine alone and speaks MQTT 3.1.1."""
    broker = TrialBroker(port=free_port())
    broker.start()
    assert (broker.kind, broker.host) == ("trial", "127.0.0.1")
    address = Address(host=broker.host, port=broker.port, protocol="3.1.1")
    heard = []
    link = Link(
        address,
        client_id="monitor",
        filters=["sorbwatch/lab/node/+/#"],
        parting=Parting(topic="sorbwatch/lab/monitor/online", birth=b"{}", will=b"{}"),
        echo_topic="sorbwatch/lab/monitor/echo",
        put=heard.append,
        clock=SystemClock(),
        pace_s=time.monotonic,
        heartbeat_s=0.5,
    )
    link.start()
    wait_for(lambda: link.state().connected, what="the link")
    node = NodeLink(
        address,
        client_id="n1",
        parting=Parting(topic="sorbwatch/lab/node/n1/online", birth=b"{}", will=b"{}"),
    )
    node.start()
    assert node.wait_connected(5)
    node.publish("sorbwatch/lab/node/n1/senml", b"[1]")
    wait_for(lambda: any(a.payload == b"[1]" for a in heard), what="the reading")
    node.close()
    link.stop()
    broker.stop()
