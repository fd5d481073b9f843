"""Links that drop, copy, delay and reorder; restarts, clock jumps, doors and people: the heater obeys a live permit."""

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from support.oven_pair import NYLON, PARAMETERS, PETG, Bench, site

from monitor.model.cycle import LoadItem
from monitor.model.oven import OvenPhase, OvenState
from monitor.oven import effects as fx
from monitor.oven.events import (
    Event,
    FoundDry,
    Heard,
    ProofTested,
    Restarted,
    SiteSaid,
    StartAsked,
    StopAsked,
    Ticked,
)
from monitor.oven.load_limit import allowed
from monitor.oven.saved import from_text, to_text
from monitor.oven.supervisor import step
from monitor.oven.verdict import HEATED, RUNNING

WEAK = LoadItem(key="s3", name="PLA", material_limit_c=50.0, body_limit_c=65.0)
LOADS = ((PETG,), (NYLON,), (NYLON, PETG), (WEAK, PETG))
LEASE_S = PARAMETERS.lease_s
FATES = st.lists(
    st.sampled_from(["now", "now", "now", "now", "drop", "twice", "late", "last"]), min_size=3, max_size=9
)
_TICK_S = 2.0


class Storm(RuleBasedStateMachine):
    """The monitor is the real one; the controller keeps to contract 3 and nothing more."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = Bench()
        self.controller = self.bench.controller
        self.saved = to_text(self.bench.state)
        self.is_alive = True
        self.alive_at_s = 0.0
        self.now_s = 0.0  # true time, of neither clock
        self.up: list[tuple[float, OvenState]] = []
        self.down: list[tuple[float, fx.Effect]] = []
        self.limits: list[tuple[float, float]] = [(0.0, 65.0)]  # since when, the least limit inside
        self.given: dict[str, int] = {}  # newest permit number per boot
        self.over: set[str] = set()  # cycles that ended
        self._say(SiteSaid(site=self.bench.site), ["now"])

    def _say(self, event: Event, fates: list[str]) -> None:
        """One step of the monitor; what it publishes goes on the line, what it records is saved."""
        if not self.is_alive:
            return
        bench, before = self.bench, self.bench.state
        bench.state, effects = step(before, event, bench.mono_s, bench.wall_s)
        self.alive_at_s = self.now_s
        kinds = [type(effect) for effect in effects]
        assert kinds == sorted(kinds, key=fx.ORDER.index), "heat before its record (H37)"
        if fx.Record in kinds:
            self.saved = to_text(bench.state)
        if before.phase in RUNNING and bench.phase not in RUNNING and before.cycle:
            self.over.add(before.cycle.id)
        for number, effect in enumerate(effects):
            if isinstance(effect, fx.PublishPermit):
                self._check(effect)
            if isinstance(effect, fx.PublishPermit | fx.PublishStop):
                self._post(self.down, effect, fates[number % len(fates)])

    def _check(self, effect: fx.PublishPermit) -> None:
        """Every permit at the moment it is given."""
        permit, state = effect.permit, self.bench.state
        bound = allowed(self.bench.site.load, PARAMETERS)
        if state.phase is OvenPhase.HOLD:
            assert permit.setpoint_c == 0.0, "a hold heats nothing (B-04)"
            assert permit.lease_s <= 6.0
        else:
            assert state.phase in HEATED
        assert state.trip is None
        assert permit.cycle not in self.over
        assert permit.seq > self.given.get(permit.boot, 0), "numbers rise strictly"
        assert permit.setpoint_c <= bound.setpoint_c
        assert permit.ceiling_c <= bound.ceiling_c
        assert 0.0 < permit.lease_s <= 60.0
        newest = state.window.newest
        assert (newest.state.boot, newest.state.seq) == (permit.boot, permit.state_seq)
        assert self.bench.mono_s - newest.heard_mono_s <= 10.0
        self.given[permit.boot] = permit.seq

    def _post(self, line, what, fate: str) -> None:
        if fate == "drop":
            return
        delay_s = {"late": 12.0, "last": 70.0}.get(fate, 0.0)
        line.append((self.now_s + delay_s, what))
        if fate == "twice":
            line.append((self.now_s + 6.0, what))

    def _due(self, line) -> list:
        due = [what for at_s, what in line if at_s <= self.now_s]
        line[:] = [entry for entry in line if entry[0] > self.now_s]
        return due

    def _deliver(self) -> None:
        for effect in self._due(self.down):
            if isinstance(effect, fx.PublishPermit):
                self.controller.take_permit(effect.permit)
            else:
                self.controller.take_stop()

    @rule(ticks=st.integers(1, 12), fates=FATES)
    def time_passes(self, ticks, fates):
        for number in range(ticks):
            self.now_s += _TICK_S
            self.bench.mono_s += _TICK_S
            self.bench.wall_s += _TICK_S
            self.controller.pass_time(_TICK_S)
            self._post(self.up, self.controller.state(), fates[number % len(fates)])
            heard = self._due(self.up)
            turned = fates[number % len(fates) :] + fates
            for state in heard:
                self._say(Heard(state=state), turned)
            if not heard:
                self._say(Ticked(), turned)
            if int(self.now_s) % 60 == 0:
                self._say(SiteSaid(site=self.bench.site), turned)
            self._deliver()
            self.heats_only_as_permitted()

    @rule()
    def calm_time_passes(self):
        self.time_passes(20, ["now"])

    @rule(ticks=st.integers(4, 40), is_far=st.booleans())
    def link_is_cut(self, ticks, is_far):
        """All is lost one way for up to 80 s; half the time what was on its way comes afterwards."""
        self.time_passes(ticks, ["last" if is_far else "drop"])

    @rule(dead=st.sampled_from([(), (0,), (0, 1)]))
    def sensors(self, dead):
        self.controller.faults.dead = dead

    @rule()
    def armed(self):
        self.controller.arm()

    @rule(setpoint_c=st.sampled_from([40.0, 45.0, 55.0, 58.0, 68.0]), minutes=st.sampled_from([2, 30, 240]))
    def started(self, setpoint_c, minutes):
        order = self.bench.order(setpoint_c=setpoint_c, duration_s=60.0 * minutes)
        self._say(StartAsked(order=order), ["now"])
        self._deliver()

    @precondition(lambda self: self.bench.phase not in HEATED)
    @rule(load=st.sampled_from(LOADS))
    def armed_and_started_as_it_should_be(self, load):
        """Otherwise a storm would seldom find an oven at work."""
        if not self.is_alive:
            return
        self._set_load(load)
        self.controller.door_open, self.controller.faults.dead = False, ()
        self.controller.arm()
        self.time_passes(3, ["now"])
        self.started(allowed(load, PARAMETERS).setpoint_c, 240)
        self.time_passes(5, ["now"])

    @rule(hold_c=st.sampled_from([None, -5.0, 0.0, 30.0, 45.0, 57.0, 90.0, 1e9, float("nan")]))
    def found_dry(self, hold_c):
        """Whatever an estimate says, it only takes heat away: no warmer, no longer, nothing begun (D-13)."""
        before = self.bench.state
        cycle = before.cycle.id if before.cycle else "none"
        self._say(FoundDry(cycle=cycle, hold_c=hold_c, why="dry"), ["now"])
        after = self.bench.state
        if before.cycle is not None and after.cycle is not None:
            assert after.cycle.setpoint_c <= before.cycle.setpoint_c
            assert after.cycle.ends_mono_s <= before.cycle.ends_mono_s
            assert after.cycle.ceiling_c <= before.cycle.ceiling_c
        if before.phase not in RUNNING:
            assert after.phase not in RUNNING
        self._deliver()

    def _set_load(self, load):
        self.bench.site = site(load=load)
        self.limits.append((self.now_s, allowed(load, PARAMETERS).limit_c))
        self._say(SiteSaid(site=self.bench.site), ["now"])

    @precondition(lambda self: self.is_alive)
    @rule(load=st.sampled_from(LOADS))
    def load_changed(self, load):
        self._set_load(load)

    @rule(fate=st.sampled_from(["now", "drop", "late"]))
    def stopped_from_afar(self, fate):
        if self.is_alive:
            self._say(StopAsked(who="Ada", why="enough"), [fate])
            assert self.bench.phase not in RUNNING

    @rule()
    def stopped_at_the_oven(self):
        self.controller.take_stop()

    @rule(is_open=st.booleans())
    def door(self, is_open):
        self.controller.door_open = is_open

    @rule()
    def controller_restarts(self):
        self.controller.reboot()

    @precondition(lambda self: self.is_alive)
    @rule()
    def monitor_dies(self):
        self.is_alive = False

    @precondition(lambda self: not self.is_alive)
    @rule()
    def monitor_comes_back(self):
        """With what was committed, on a monotonic clock that begins anew."""
        self.is_alive = True
        self.bench.mono_s = 17.0
        self.bench.state = from_text(self.saved)
        self._say(Restarted(parameters=PARAMETERS), ["now"])
        assert self.bench.phase not in RUNNING
        self._say(SiteSaid(site=self.bench.site), ["now"])

    @rule(by_s=st.sampled_from([-86_400.0, -3.0, 3.0, 3600.0, 1e7]))
    def wall_clock_jumps(self, by_s):
        self.bench.wall_s += by_s

    @rule()
    def reset_and_tested(self):
        if self.is_alive and self.bench.phase is OvenPhase.TRIPPED:
            self._say(ProofTested(who="Ada"), ["now"])
            self.controller.door_open = False
            self.controller.faults.dead = ()
            self.controller.arm()
            self.controller.chamber.temperature_c = 22.0
            self.time_passes(5, ["now"])
            self.bench.reset()
            self.saved = to_text(self.bench.state)

    @invariant()
    def heats_only_as_permitted(self):
        """What must hold in every moment, whatever failed."""
        controller = self.controller
        if controller.duty <= 0.0:
            return
        permit = controller.permit
        assert permit is not None
        assert controller.clock_s < controller.lease_ends_s
        assert self.now_s - self.alive_at_s <= LEASE_S, (
            "on for longer than a lease after the monitor fell silent"
        )
        assert permit.ceiling_c <= self._loosest_limit_c() - PARAMETERS.sensor_error_c
        assert controller.chamber.temperature_c <= permit.ceiling_c + 0.5

    def _loosest_limit_c(self) -> float:
        """The least limit inside; what was put in within the last lease may still meet the permit of before."""
        recent = [limit_c for at_s, limit_c in self.limits if at_s >= self.now_s - LEASE_S]
        before = [limit_c for at_s, limit_c in self.limits if at_s < self.now_s - LEASE_S][-1:]
        return max(recent + before)


Storm.TestCase.settings = settings(
    max_examples=60,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)
TestStorm = Storm.TestCase
