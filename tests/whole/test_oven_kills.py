"""Heat ends within one lease of a kill, and at once when a smoke detector alarms; real processes, real time."""

import random
import signal
import time

import pytest
from support.oven_kills import INVENTORY, LEASE_S, LOOP_S, RELAY, Plug, Site, heat_after_s, kill
from support.waiting import wait_for

pytestmark = [pytest.mark.broker, pytest.mark.whole]


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    yield made
    made.close()


def test_a_killed_monitor_leaves_no_heat_past_a_lease_of_two_seconds(site):
    """B-21, B-22, H06: nor does it come back with the monitor; all five kills are in the benchmark `kills`."""
    found = kill(site, "monitor", random.Random(11), back_s=3.0)
    assert found.heated_before
    assert 0.0 < found.heat_s <= LEASE_S + LOOP_S
    assert not found.came_back
    assert found.ended == "restarted"


def test_an_alarm_of_the_rooms_detector_ends_the_heat_at_once(site):
    """B-44: from the broker to the heater, before anything of it is committed or the lease runs out."""
    site.smoke(alarms=False)
    site.heat()
    time.sleep(1.5)
    assert site.lines()[-1]["heated"]
    at_s = time.monotonic()
    site.smoke(alarms=True)
    wait_for(lambda: not site.lines()[-1]["heated"], 5, "the heat to end")
    time.sleep(0.5)
    assert heat_after_s(site.lines(), at_s) < 1.0
    assert wait_for(lambda: site.look()["trip"], 5, "the trip")["rule"] == "B-44"


def test_a_relay_is_renewed_and_goes_off_by_itself_when_the_monitor_is_killed(tmp_path):
    """B-24, B-21, H07: ten seconds at most, by its own countdown; a new monitor switches it off, never on."""
    site = Site(tmp_path, inventory=INVENTORY + RELAY, has_controller=False)
    plug = Plug(site.broker.port)
    try:
        wait_for(lambda: site.look()["chamber_c"] and site.look()["chamber_c"][0], 20, "a temperature")
        time.sleep(3)
        answer = site.start()
        assert answer == 200, answer
        wait_for(lambda: len(plug.ons) >= 3, 30, "three ONs")
        site.program.process.send_signal(signal.SIGKILL)
        at_s = time.monotonic()
        assert plug.is_on
        wait_for(lambda: not plug.is_on, 12, "the countdown")
        assert time.monotonic() - at_s <= 10.2
        assert all(0 < for_s <= 10 and not retained for _, for_s, retained in plug.ons)
        site.program.kill()
        site.start_monitor()
        wait_for(lambda: site.look()["ended"], 20, "the end")
        time.sleep(3)
        assert site.look()["ended"]["ending"] == "restarted"
        assert max(when for when, _, _ in plug.ons) < at_s + 0.5
    finally:
        plug.close()
        site.close()
