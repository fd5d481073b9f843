"""A small controller that keeps to section 3 of the contract, on a chamber with faults to inject."""

import random
from dataclasses import dataclass

from monitor.model.cycle import Permit
from monitor.model.oven import LivingPermit, OvenPhase, OvenState, Refusal, Trip

HARD_C = 120.0


@dataclass
class Chamber:
    """First order: what the duty gives, less what the walls lose."""

    temperature_c: float = 22.0
    room_c: float = 22.0
    rate_c_s: float = 0.04
    time_constant_s: float = 2400.0
    rated_w: float = 150.0

    def pass_time(self, duty: float, seconds: float) -> None:
        loss = (self.temperature_c - self.room_c) / self.time_constant_s
        self.temperature_c += (duty * self.rate_c_s - loss) * seconds


@dataclass
class Faults:
    """What is wrong with the hardware."""

    is_welded: bool = False  # the switch stays closed
    is_fan_dead: bool = False
    frozen: tuple[int, ...] = ()  # sensors whose value never changes again, though they count on
    silent: tuple[int, ...] = ()  # sensors whose sample number stands still
    dead: tuple[int, ...] = ()  # sensors that give nothing
    in_room: tuple[int, ...] = ()  # sensors that hang outside
    offsets_c: tuple[float, ...] = (0.0, -0.3)
    heater_dead: bool = False


class ModelController:
    """Counts leases on its own clock, from the moment it published the state that a permit names."""

    def __init__(self, *, seed: int = 1, has_arming: bool = True, chamber: Chamber | None = None) -> None:
        self.chamber = chamber or Chamber()
        self.faults = Faults()
        self.dice = random.Random(seed)
        self.has_arming = has_arming
        self.clock_s = 5.0  # since its boot
        self.boots = 1
        self.seq = 0
        self.armed_until_s = 0.0
        self.door_open: bool | None = False
        self.cutout_ok = True
        self.trip: Trip | None = None
        self.refused: Refusal | None = None
        self.permit: Permit | None = None
        self.lease_ends_s = 0.0
        self.last_seq = 0
        self.ended: set[str] = set()  # cycles that a stop ended for good
        self.ground_seq = 0  # a permit decided on an earlier state does not know of that stop
        self.published_s: dict[int, float] = {}
        self.samples = 0
        self.duty = 0.0
        self._shown: dict[int, float] = {}

    @property
    def boot(self) -> str:
        return f"b{self.boots}"

    @property
    def is_heating(self) -> bool:
        """Whether current flows in the heater."""
        return (self.duty > 0.0 or self.faults.is_welded) and not self.faults.heater_dead and self.cutout_ok

    def arm(self) -> None:
        self.armed_until_s = self.clock_s + 1800.0

    def reboot(self) -> None:
        self.boots += 1
        self.clock_s, self.seq, self.armed_until_s, self.last_seq = 0.0, 0, 0.0, 0
        self.permit, self.refused, self.published_s = None, None, {}
        self.ended, self.ground_seq = set(), 0
        self.duty = 0.0

    def pass_time(self, seconds: float) -> None:
        self.duty = self._duty()
        power = 1.0 if self.faults.is_welded else self.duty
        if self.faults.heater_dead or not self.cutout_ok:
            power = 0.0
        self.chamber.pass_time(power, seconds)
        if self.door_open:
            self.chamber.temperature_c += (self.chamber.room_c - self.chamber.temperature_c) * 0.05
        self.clock_s += seconds
        self.samples += 1
        if self.permit is not None and self.clock_s >= self.lease_ends_s:
            self.permit = None
        self.duty = self._duty()

    def _duty(self) -> float:
        permit = self.permit
        hottest = max((v for v in self.readings() if v is not None), default=None)
        if permit is None or self.trip or self.door_open or hottest is None or hottest > permit.ceiling_c:
            return 0.0
        return min(max((permit.setpoint_c - hottest) / 2.0, 0.0), 1.0)

    def readings(self) -> tuple[float | None, ...]:
        return tuple(self._reading(sensor) for sensor in range(len(self.faults.offsets_c)))

    def _reading(self, sensor: int) -> float | None:
        faults = self.faults
        if sensor in faults.dead:
            return None
        if sensor in (*faults.frozen, *faults.silent) and sensor in self._shown:
            return self._shown[sensor]
        true_c = self.chamber.room_c if sensor in faults.in_room else self.chamber.temperature_c
        shown = round(true_c + faults.offsets_c[sensor] + self.dice.gauss(0.0, 0.013), 3)
        self._shown[sensor] = shown
        return shown

    def state(self) -> OvenState:
        """Published now."""
        self.seq += 1
        self.published_s[self.seq] = self.clock_s
        count = len(self.faults.offsets_c)
        for sensor in range(count):
            self._counts = getattr(self, "_counts", [0] * count)
            if sensor not in self.faults.silent:
                self._counts[sensor] = self.samples
        permit = self.permit
        return OvenState(
            boot=self.boot,
            uptime_s=round(self.clock_s, 3),
            seq=self.seq,
            state=self._phase(),
            chamber_c=self.readings(),
            sample_seq=tuple(self._counts),
            humidity_pct=None,
            heater=round(self.duty, 3),
            power_w=self.chamber.rated_w * (1.0 if self.faults.is_welded else self.duty)
            if self.cutout_ok and not self.faults.heater_dead
            else 0.0,
            fan=self._fan(),
            door_open=self.door_open,
            cutout_ok=self.cutout_ok,
            armed_s=max(self.armed_until_s - self.clock_s, 0.0) if self.has_arming else None,
            permit=LivingPermit(cycle=permit.cycle, seq=permit.seq, left_s=self.lease_ends_s - self.clock_s)
            if permit
            else None,
            refused=self.refused,
            trip=self.trip,
        )

    def _fan(self) -> bool:
        is_wanted = self.permit is not None or self.chamber.temperature_c > 40.0
        return is_wanted and not self.faults.is_fan_dead

    def _phase(self) -> OvenPhase:
        if self.trip:
            return OvenPhase.TRIPPED
        if self.permit:
            return OvenPhase.HOLD if self.door_open else OvenPhase.HEATING
        return OvenPhase.COOLING if self.chamber.temperature_c > 45.0 else OvenPhase.IDLE

    def take_permit(self, permit: Permit, *, retained: bool = False) -> None:
        why = self._why_refused(permit, retained=retained)
        if why is not None:
            self.refused = Refusal(seq=permit.seq, why=why)
            return
        self.permit, self.last_seq = permit, permit.seq
        self.lease_ends_s = self.published_s[permit.state_seq] + permit.lease_s
        if self.lease_ends_s <= self.clock_s:
            self.permit = None
        self.duty = self._duty()

    def _why_refused(self, permit: Permit, *, retained: bool) -> str | None:
        published_s = self.published_s.get(permit.state_seq)
        if retained:
            return "retained"
        if permit.boot != self.boot:
            return "another boot"
        if permit.seq <= self.last_seq:
            return "a number that is not above the last"
        if published_s is None or self.clock_s - published_s > 10.0:
            return "a state that is too old"
        if permit.lease_s > 60.0:
            return "a lease above 60 s"
        if permit.ceiling_c > HARD_C:
            return "a ceiling above the hard limit"
        if permit.state_seq < self.ground_seq:
            return "decided before heat was last taken away"
        if permit.cycle in self.ended:
            return "that cycle has ended here"
        return "tripped" if self.trip else None

    def take_stop(self) -> None:
        if self.permit is not None:
            self.ended.add(self.permit.cycle)
        self.ground_seq = self.seq + 1
        self.permit, self.duty = None, 0.0

    def take_reset(self, trip: str) -> None:
        if self.trip is not None and self.trip.id == trip:
            self.trip = None
