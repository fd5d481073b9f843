"""An oven as a process of its own: the real controller on a simulated chamber, over a real broker, in real time.

`python -m support.oven_process PORT SITE OVEN RECORD`: each step writes a line to RECORD, the oven's own account
of when current may flow, on the monotonic clock that all processes of one board share.
"""

import json
import queue
import sys
import threading
import time

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from controller.limits import OvenLimits
from monitor.simulator.oven_rig import OvenRig

STEP_S = 0.1


def main(port, site, oven, record_path):
    base = f"sorbwatch/{site}/oven/{oven}/"
    orders = queue.SimpleQueue()
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id=f"oven-{oven}")
    client.reconnect_delay_set(0.2, 0.5)
    client.on_connect = lambda *_: client.subscribe(
        [(base + leaf, 1) for leaf in ("permit", "stop", "reset")]
    )
    client.on_message = lambda _client, _data, said: orders.put(
        (said.topic.removeprefix(base), said.payload, said.retain)
    )
    client.connect_async("127.0.0.1", int(port), keepalive=5)
    client.loop_start()
    limits = OvenLimits(hard_c=85.0, has_arming=False, step_ms=int(STEP_S * 1000), relay_rest_ms=1000)
    rig = OvenRig(limits=limits, seed=7, on_state=lambda said: client.publish(base + "state", said, qos=1))
    rig.faults.meter_dead = (
        True  # without a meter the look before heat takes three seconds, not half a minute
    )
    run(rig, orders, record_path)


def run(rig, orders, record_path):
    """For ever: its time is the board's, however late a step comes."""
    pause, began_s = threading.Event(), time.monotonic()
    with open(record_path, "a", buffering=1) as record:
        while True:
            while not orders.empty():
                leaf, payload, retained = orders.get()
                rig.receive(leaf, payload, retained=retained)
            rig.step(max(time.monotonic() - began_s - rig.time_s, 0.001))
            living = rig.controller.book.living
            line = {
                "mono_s": time.monotonic(),
                "heated": rig.is_heated,
                "seq": living.seq if living else None,
                "trip": rig.controller.lock.trip,
                "chamber_c": rig.oven.air_c,
            }
            record.write(json.dumps(line) + "\n")
            pause.wait(STEP_S)


if __name__ == "__main__":
    main(*sys.argv[1:])
