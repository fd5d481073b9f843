"""B-20, B-24: a network relay that counts each ON down by itself stands in for a controller."""

from dataclasses import replace

from support.oven_controller import ModelController
from support.oven_pair import RELAY_PARAMETERS, Bench, site

from monitor.model.cycle import Ending
from monitor.model.oven import LivingPermit, OvenPhase
from monitor.oven.effects import PublishPermit, PublishStop, RelayOff, RelayOnFor
from monitor.oven.site import Relay


class ModelRelay(ModelController):
    """A plug and a thermometer; what a service would compose of them is its state."""

    def __init__(self) -> None:
        super().__init__(has_arming=False)
        self.left_s = 0.0

    def _duty(self) -> float:
        return 1.0 if self.left_s > 0.0 else 0.0

    def pass_time(self, seconds: float) -> None:
        super().pass_time(seconds)
        self.left_s = max(self.left_s - seconds, 0.0)
        self.duty = self._duty()

    def state(self):
        on = LivingPermit(cycle="relay", seq=self.seq, left_s=self.left_s) if self.left_s > 0.0 else None
        return replace(super().state(), permit=on and replace(on, cycle=self.cycle), fan=self.left_s > 0.0)

    cycle = ""


class RelayBench(Bench):
    def __init__(self) -> None:
        super().__init__(parameters=RELAY_PARAMETERS, has_arming=False)
        self.controller = ModelRelay()

    def _deliver(self, effect) -> None:
        if isinstance(effect, RelayOnFor):
            self.controller.left_s = effect.on_s
            self.controller.cycle = self.state.cycle.id
        elif isinstance(effect, RelayOff):
            self.controller.left_s = 0.0


def started():
    bench = RelayBench().ready()
    assert bench.start().problem is None
    return bench


def test_a_hold_switches_a_relay_off_without_a_stop():
    """B-04, B-24."""
    bench = started()
    bench.run(60.0)
    bench.log.clear()
    bench.controller.faults.silent = (0,)
    bench.until(OvenPhase.HOLD, at_most_s=60.0)
    assert isinstance(bench.log[0], RelayOff | RelayOnFor)
    assert not [e for e in bench.log if isinstance(e, PublishStop | PublishPermit)]
    assert bench.controller.left_s == 0.0


def test_a_relay_is_switched_on_for_a_lease_at_a_time_and_regulated():
    """B-24: each ON carries its own off; never a permit, never an ON without an end."""
    bench = started()
    bench.until(OvenPhase.DRYING, at_most_s=3600.0)
    bench.run(1800.0)
    on = [e for e in bench.log if isinstance(e, RelayOnFor)]
    assert bench.phase is OvenPhase.DRYING, bench.why()
    assert all(0.0 < e.on_s <= 60.0 for e in on)
    assert not [e for e in bench.log if isinstance(e, PublishPermit)]
    assert 53.5 < bench.controller.chamber.temperature_c < 56.5


def test_a_relay_goes_off_by_itself_when_the_monitor_dies():
    """H07: within one lease."""
    bench = started()
    bench.run(60.0)
    for _ in range(15):
        bench.controller.pass_time(2.0)
    assert not bench.controller.is_heating


def test_a_stop_switches_the_relay_off_at_once():
    """B-17."""
    bench = started()
    bench.run(60.0)
    bench.stop()
    assert bench.controller.left_s == 0.0


def test_its_own_button_is_a_stop_at_the_oven():
    """B-17: it is not switched on again."""
    bench = started()
    bench.run(63.0)
    while bench.mono_s - bench.state.given.given_mono_s < 6.0:
        bench.run(2.0)
    bench.controller.left_s = 0.0
    bench.log.clear()
    bench.run(30.0)
    assert bench.state.ended.ending is Ending.STOPPED
    assert not [e for e in bench.log if isinstance(e, RelayOnFor)]


def test_a_relay_that_lost_its_countdown_ends_the_cycle():
    """B-24."""
    bench = started()
    bench.run(60.0)
    bench.site = site(relay=Relay(counts_down=False, stays_off_after_power_loss=True))
    bench.run(60.0)
    assert bench.state.ended.ending is Ending.STOPPED_BY_RULE
