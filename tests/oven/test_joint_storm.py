"""Storms over the pair: links, kills, doors, hands, clocks and broken sensors in any order; heat only under a live permit."""

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from support.oven_joint import LOADS, Joint

from monitor.model.oven import OvenPhase
from monitor.oven.effects import PublishPermit, PublishStop
from monitor.oven.load_limit import allowed
from monitor.oven.verdict import HEATED, RUNNING
from monitor.simulator.oven_faults import SensorFault


class JointStorm(RuleBasedStateMachine):
    """Both sides are the real ones; the oracle keeps the contract's sums (`Joint.check`) in every step of two seconds."""

    def __init__(self) -> None:
        super().__init__()
        self.joint = Joint(seed=5)
        self.seen = 0
        self.over: set[str] = set()  # cycles that were stopped, at either side
        self.seqs: dict[str, int] = {}
        self._run(40.0)

    def _run(self, seconds: float) -> None:
        self.joint.run(seconds, lambda _: self._look())

    def _look(self) -> None:
        self.joint.check()
        for effect in self.joint.log[self.seen :]:
            if isinstance(effect, PublishPermit):
                self._permit(effect.permit)
            elif isinstance(effect, PublishStop) and effect.cycle != "*":
                self.over.add(effect.cycle)
        self.seen = len(self.joint.log)

    def _permit(self, permit) -> None:
        """Each permit that was given, whatever became of it on its way."""
        assert permit.cycle not in self.over, "a stopped cycle is permitted again (B-17)"
        assert permit.seq > self.seqs.get(permit.boot, 0)
        assert permit.ceiling_c <= self.joint._loosest_limit_c() - self.joint.parameters.sensor_error_c + 1e-9
        assert 0.0 < permit.lease_s <= 60.0
        self.seqs[permit.boot] = permit.seq

    @rule(steps=st.integers(1, 60) | st.just(300))
    def time_passes(self, steps):
        self._run(2.0 * steps)

    @rule(
        lose=st.sampled_from([0.0, 0.1, 0.5]),
        hold=st.sampled_from([0.0, 0.2, 0.7]),
        double=st.sampled_from([0.0, 0.3]),
    )
    def link_gets_worse_or_better(self, lose, hold, double):
        for link in (self.joint.up, self.joint.down):
            link.lose, link.hold, link.double, link.hold_s = lose, hold, double, 70.0

    @rule(up=st.booleans(), down=st.booleans())
    def link_is_cut(self, up, down):
        self.joint.up.is_cut, self.joint.down.is_cut = up, down

    @rule()
    def all_is_well_again(self):
        joint = self.joint
        self.link_gets_worse_or_better(0.0, 0.0, 0.0)
        self.link_is_cut(False, False)
        joint.rig.faults.sensors, joint.rig.faults.door_open, joint.rig.stop_pressed = {}, False, False
        if not joint.is_alive:
            joint.restart()
        self._run(60.0)

    @precondition(lambda self: self.joint.is_alive)
    @rule()
    def monitor_is_killed(self):
        self.joint.kill()

    @precondition(lambda self: not self.joint.is_alive)
    @rule()
    def monitor_comes_back(self):
        self.joint.restart()
        assert self.joint.phase not in RUNNING

    @precondition(lambda self: self.joint.phase not in RUNNING and self.joint.is_alive)
    @rule(load=st.sampled_from(LOADS), below_c=st.sampled_from([0.0, 8.0]))
    def armed_and_started(self, load, below_c):
        """Otherwise a storm would seldom find an oven at work."""
        self.all_is_well_again()
        self.joint.put_in(load)
        self.joint.rig.press_arm()
        self._run(14.0)
        bound = allowed(load, self.joint.parameters)
        self.joint.start(setpoint_c=bound.setpoint_c - below_c)
        self._run(120.0)

    @precondition(lambda self: self.joint.is_alive)
    @rule(load=st.sampled_from(LOADS))
    def load_is_changed(self, load):
        self.joint.put_in(load)

    @rule()
    def stopped_from_afar(self):
        self.joint.stop()
        assert not self.joint.is_alive or self.joint.phase not in RUNNING

    @rule(is_pressed=st.booleans())
    def stopped_at_the_oven(self, is_pressed):
        self.joint.rig.stop_pressed = is_pressed

    @rule(is_open=st.booleans())
    def door(self, is_open):
        self.joint.rig.faults.door_open = is_open

    @rule(place=st.integers(0, 1), kind=st.sampled_from([None, None, *SensorFault]))
    def sensor(self, place, kind):
        self.joint.rig.faults.sensors = {} if kind is None else {place: kind}

    @rule()
    def board_restarts(self):
        self.joint.rig.reboot()

    @rule(by_s=st.sampled_from([-86_400.0, -3.0, 3.0, 1e7]))
    def wall_clock_jumps(self, by_s):
        self.joint.wall_ahead_s += by_s

    @precondition(lambda self: self.joint.phase is OvenPhase.TRIPPED and self.joint.is_alive)
    @rule()
    def somebody_looks_and_resets(self):
        self.all_is_well_again()
        self.joint.rig.press_arm()
        self._run(14.0)
        self.joint.reset()
        self._run(14.0)

    @invariant()
    def a_tripped_side_heats_nothing(self):
        """B-03: at once at the controller; within a lease after the monitor latched."""
        controller = self.joint.rig.controller
        assert controller.lock.trip is None or not self.joint.rig.outputs.switch_1
        if self.joint.phase in HEATED:
            assert self.joint.state.trip is None


JointStorm.TestCase.settings = settings(
    max_examples=14,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)
TestJointStorm = JointStorm.TestCase
