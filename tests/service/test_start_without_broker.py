"""Report 4: a start while the broker dies in the middle of it is answered at once, and not called confirmed."""

import json
import signal
import time

import pytest
from support.oven_site import OVEN
from support.planned_pages import Pages, text_of
from support.planned_site import planned_site
from support.waiting import wait_for

from monitor.edge.mqtt import Link
from monitor.edge.mqtt_client import Address, Parting

pytestmark = pytest.mark.broker


@pytest.fixture
def link(broker):
    made = Link(
        Address(host="127.0.0.1", port=broker.port),
        client_id="monitor",
        filters=["sorbwatch/attic/oven/+/#"],
        parting=Parting(topic="sorbwatch/attic/monitor/online", birth=b"{}", will=b"{}"),
        echo_topic="sorbwatch/attic/monitor/echo",
        put=lambda _: None,
        clock=type("Clock", (), {"wall_s": lambda _: time.time(), "mono_s": lambda _: time.monotonic()})(),
        pace_s=time.monotonic,
        heartbeat_s=0.5,
        keepalive_s=3,
    )
    made.start()
    wait_for(lambda: made.state().connected, what="the link")
    yield made
    made.stop()


@pytest.mark.parametrize("how", ["killed", "frozen"])
def test_a_start_is_answered_within_three_seconds_and_not_called_confirmed(tmp_path, broker, link, how):
    """C: nobody waits for a publish; what the oven has not shown, the page does not claim."""
    (tmp_path / "site").mkdir()
    with planned_site(tmp_path / "site") as made:
        site, pages = made.site, Pages(made)
        site.arm()
        sent = pages.fields(pages.page(f"/ovens/{OVEN}/dry?spool=grey"), f"/ovens/{OVEN}/start")
        published = []

        def publish(topic, payload, expiry_s):
            if topic.endswith("/permit"):  # in the very middle of it
                published.append(json.loads(payload)["cycle"])
                broker.stop(signal.SIGKILL) if how == "killed" else broker.freeze()
            return link.publish(topic, payload, expiry_s=expiry_s)

        site.world.publish = publish
        begun_s = time.monotonic()
        response = pages.send(f"/ovens/{OVEN}/start", sent)
        assert time.monotonic() - begun_s < 3.0
        site.run(12.0)  # a permit rests on the oven's next state
        begun_s = time.monotonic()
        shown = text_of(pages.client.get(f"/ovens/{OVEN}").get_data(as_text=True))
        assert time.monotonic() - begun_s < 3.0
        assert response.status_code == 303
        assert published
        assert "not confirmed" in shown
        assert "Heating" not in shown
        site.run(90.0)
        assert not site.rig.is_heated
        assert site.look().ended is not None
