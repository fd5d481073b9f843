"""Any sequence of orders, faults and hands: heat only under a permit that is good by the contract, never at a ceiling.

The oracle here shares nothing with the controller: it reads what is published and what is sent, and keeps the
contract's sums itself.
"""

import json
import math

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.simulator.oven_faults import SensorFault
from monitor.simulator.oven_rig import OvenRig

HARD_C = 85.0


class Oracle:
    """Until when heat may be on, by the contract alone."""

    def __init__(self, rig):
        self.rig, self.states, self.grants = rig, [], []
        self.published_s = {}
        rig.on_state = self.heard

    def heard(self, payload):
        state = json.loads(payload)
        self.states.append(state)
        self.published_s[state["boot"], state["seq"]] = self.rig.time_s

    def sent(self, said, retained):
        """A permit that might be good: it grants heat until one lease after the state it names."""
        published_s = self.published_s.get((said["boot"], said["state_seq"]))
        is_young = published_s is not None and self.rig.time_s - published_s <= 10.0
        bounded = said["lease_s"] <= 60.0 and said["ceiling_c"] <= HARD_C
        tripped = self.rig.controller.lock.trip is not None
        if is_young and bounded and not retained and not tripped and said["boot"] == self.rig.controller.boot:
            self.grants.append((published_s + said["lease_s"], said["ceiling_c"]))

    def check(self, rig):
        """After a step: what was commanded during it."""
        if not (rig.outputs.switch_1 and rig.outputs.switch_2):
            return
        assert rig.controller.lock.trip is None
        ceilings = [ceiling_c for until_s, ceiling_c in self.grants if rig.time_s <= until_s]
        assert ceilings, "heat without a permit that the contract would let live"
        shown = [sensor._sample[1] for sensor in rig.sensors]
        readings = [value for value in shown if value is not None and math.isfinite(value)]
        assert max(readings) <= max(ceilings) + 0.01, "heat at a ceiling"
        assert not rig.faults.door_open


permits = st.fixed_dictionaries(
    {},
    optional={
        "seq": st.sampled_from([0, 1, 5, 2**53]),
        "boot": st.just("other"),
        "back": st.integers(0, 8),
        "setpoint_c": st.sampled_from([20.0, 35.0, 55.0, 84.0, 90.0]),
        "ceiling_c": st.sampled_from([20.0, 25.0, 30.0, 60.0, 85.0, 86.0]),
        "lease_s": st.sampled_from([0, 1, 5, 10, 30, 60, 61, 1e9]),
        "cycle": st.sampled_from(["c1", "c2"]),
        "retained": st.booleans(),
    },
)
actions = st.one_of(
    st.tuples(st.just("permit"), permits),
    st.tuples(st.just("good"), st.none()),
    st.tuples(st.just("good"), st.none()),
    st.tuples(st.just("run"), st.integers(1, 40)),
    st.tuples(st.just("arm"), st.none()),
    st.tuples(
        st.just("raw"), st.tuples(st.sampled_from(["permit", "stop", "reset"]), st.binary(max_size=40))
    ),
    st.tuples(st.just("reset"), st.booleans()),
    st.tuples(st.just("door"), st.booleans()),
    st.tuples(st.just("network"), st.booleans()),
    st.tuples(st.just("sensor"), st.tuples(st.integers(0, 1), st.sampled_from([None, None, *SensorFault]))),
    st.tuples(st.just("reboot"), st.none()),
    st.tuples(st.just("clock"), st.sampled_from([-5000, 3000, 15_000, 10**7])),
    st.tuples(st.just("stop_button"), st.booleans()),
    st.tuples(st.just("fan"), st.booleans()),
)


class Storm:
    """Plays actions on a rig and asks the oracle after every step."""

    def __init__(self):
        self.rig = OvenRig(seed=1)
        self.oracle = Oracle(self.rig)
        self.seq = 10
        self.heated = False

    def steps(self, number):
        for _ in range(number):
            self.rig.step()
            self.oracle.check(self.rig)
            self.heated = self.heated or self.rig.oven.power_w > 0.0

    def permit(self, changes):
        changes = dict(changes or {})
        states = self.oracle.states or [{"boot": "none", "seq": 0}]
        back, retained = changes.pop("back", 0), changes.pop("retained", False)
        named = states[max(len(states) - 1 - back, 0)]
        self.seq += 1
        said = {
            "cycle": "c1",
            "seq": self.seq,
            "boot": named["boot"],
            "state_seq": named["seq"],
            "setpoint_c": 55.0,
            "ceiling_c": 60.0,
            "lease_s": 30,
        } | changes
        if not self.rig.faults.network_gone:
            self.oracle.sent(said, retained)
        self.rig.receive("permit", json.dumps(said).encode(), retained=retained)

    def play(self, action, value):
        rig, faults = self.rig, self.rig.faults
        if action == "permit" or action == "good":
            self.permit(value)
        elif action == "run":
            self.steps(value)
        elif action == "arm":
            for rig.arm_pressed in (False, True, False):
                self.steps(1)
        elif action == "raw":
            rig.receive(value[0], value[1])
        elif action == "reset":
            trip = rig.controller.lock.trip or {"id": "none"}
            said = {"trip": trip["id"], "boot": rig.controller.boot, "who": "x"}
            rig.receive("reset", json.dumps(said).encode(), retained=value)
        elif action == "door":
            faults.door_open = value
        elif action == "network":
            faults.network_gone = value
        elif action == "sensor":
            faults.sensors[value[0]] = value[1]
        elif action == "reboot":
            rig.reboot()
        elif action == "clock":
            rig.jump_clock(value)
        elif action == "stop_button":
            rig.stop_pressed = value
        elif action == "fan":
            faults.fan_dead = value
        self.steps(1)


@settings(max_examples=300, deadline=None)
@given(st.lists(actions, max_size=40))
def test_no_sequence_heats_without_a_permit_or_at_its_ceiling(sequence):
    """The heart of the controller: the permit is the only way to heat."""
    storm = Storm()
    for action, value in sequence:
        storm.play(action, value)


@settings(max_examples=250, deadline=None)
@given(st.lists(actions, max_size=12))
def test_no_sequence_breaks_a_run_in_a_way_that_heats_on(sequence):
    """The same from the middle of a run, where heat is on."""
    storm = Storm()
    storm.play("run", 5)
    storm.play("arm", None)
    for _ in range(14):
        storm.play("good", None)
        storm.steps(4)
    assert storm.heated
    for action, value in sequence:
        storm.play(action, value)
    storm.rig.faults.network_gone = True
    storm.steps(31)
    storm.steps(30)
    assert storm.rig.oven.power_w == 0.0
