"""The controller itself: one step from what is seen to what is driven, and one ear for orders."""

from controller.arming import Arming
from controller.check import PreheatCheck
from controller.heat import Pulser, Regulator
from controller.limits import MESSAGES_PER_STEP, NO_HEAT_C, OVERSHOOT_CUT_C, OvenLimits
from controller.messages import BadOrder, read_permit, read_reset, state_payload
from controller.permits import Living, PermitBook
from controller.phase import phase_of
from controller.report import Reporter, permit_said, seen_said
from controller.rules import Commanded, Rules, Verdict
from controller.sensors import Sensor
from controller.signals import Inputs, Outputs
from controller.trips import Lock

_LATE_STEPS, _LOST_STEPS = 3, 10
# Without heat the fan runs until the chamber is this much below "cooling".
_FAN_BACK_C = 3.0
_REACHED_C = 2.0
_STOP_KEPT_BYTES = 200


class Controller:
    """One oven. `now_ms` is monotonic, whole milliseconds, the same clock in every call."""

    def __init__(self, limits: OvenLimits, boot: str, now_ms: int, *, kept: bytes | None = None) -> None:
        """`boot` is drawn afresh at each start; `kept` is what `to_keep` gave last, from before it."""
        if not 1 <= len(boot) <= 32:
            raise ValueError("boot must be 1 to 32 characters")
        self.limits = limits
        self.boot = boot
        self.sensors = [Sensor(now_ms, limits.hard_c) for _ in range(limits.sensors)]
        self.book = PermitBook(limits, boot)
        self.arming = Arming()
        self.lock = Lock(boot, kept)
        self.refused: dict[str, object] | None = None
        self.dropped = 0  # messages that a flood cost, unread
        self.last_stop = b""  # as it came, for the board's log
        self.phase = "idle"
        self.outputs = Outputs()
        self._rules = Rules(limits)
        self._verdict = Verdict("no step yet", None)
        self._regulator = Regulator(limits)
        self._pulser = Pulser(limits.window_ms, limits.least_on_ms)
        self._reporter = Reporter(now_ms)
        self._check: PreheatCheck | None = None
        self._asked = Commanded()
        self._seen: Inputs | None = None
        self._begun_ms = self._last_ms = now_ms
        self._told_ms = 0  # uptime as last published
        self._read_since_step = 0
        self._is_cut = False
        self._is_reached = False
        self._has_run = False
        self._held_by_door = False
        self._opened_ms: int | None = None  # since when the relay has been open

    def hear(self, now_ms: int, leaf: str, payload: bytes, *, retained: bool) -> bool:
        """An order arrived on `<oven>/<leaf>`; True when the board should step at once, to obey it now."""
        if leaf == "stop":
            # Obeyed whatever it says, however late, repeated or retained: nothing in it is read first.
            self._end_run(now_ms, for_good=True)
            self.last_stop = bytes(payload[:_STOP_KEPT_BYTES])
            return True
        self._read_since_step += 1
        if self._read_since_step > MESSAGES_PER_STEP:
            self.dropped += 1
            self.refused = {"seq": None, "why": "too many messages at once"}
            return False
        try:
            if leaf == "permit":
                self._hear_permit(now_ms, payload, retained)
            elif leaf == "reset":
                self._hear_reset(now_ms, payload, retained)
        except BadOrder as bad:
            self.refused = {"seq": bad.seq, "why": leaf + ": " + bad.why}
        return False

    def step(self, now_ms: int, seen: Inputs) -> Outputs:
        """What to drive from now until the next step."""
        is_late = self._look_at_clock(now_ms)
        self._read_since_step = 0
        self._take_in(now_ms, seen)
        if self.book.expire(now_ms) is not None:
            self._end_run(now_ms, for_good=False)
        self._verdict = self._rules.judge(now_ms, seen, self.sensors, self._asked)
        if self._verdict.trip is not None:
            self._trip(now_ms, *self._verdict.trip)
        self.outputs = self._drive(now_ms, is_late)
        self._remember(now_ms)
        self.phase = self._phase(now_ms)
        if self._reporter.is_due(now_ms, self._key(), self.book.living):
            self.outputs.state = self._publish(now_ms)
        return self.outputs

    def to_keep(self) -> bytes:
        """For non-volatile memory, written whenever it differs from what stands there."""
        return self.lock.to_keep()

    def hottest_c(self) -> float | None:
        """None unless every sensor is trusted: one that is not might be the hotter one."""
        good = [s.good_c for s in self.sensors if s.good_c is not None and s.is_trusted(self._last_ms)]
        return max(good) if len(good) == len(self.sensors) else None

    def _hear_permit(self, now_ms: int, payload: bytes, retained: bool) -> None:
        permit = read_permit(payload)
        why = self._why_no_heat() or self.book.why_not(permit, now_ms, retained=retained)
        is_new = permit.cycle != self.book.run
        is_armed = self.arming.is_armed(now_ms) or self.book.may_resume()
        if why is None and is_new and self.limits.has_arming and not is_armed:
            why = "the oven is not armed: press its button"
        if why is not None:
            self.refused = {"seq": permit.seq, "why": why}
            return
        if self.book.take(permit, now_ms):
            self._is_reached = False
        self._held_by_door = False

    def _why_no_heat(self) -> str | None:
        """What of the oven itself forbids any permit."""
        if self.lock.trip is not None:
            return "tripped"
        if self._seen is None:
            return "no step yet"
        if self._seen.stop_pressed:
            return "the stop button at the oven is pressed"
        return "the door is open" if self._seen.door_open else None

    def _hear_reset(self, now_ms: int, payload: bytes, retained: bool) -> None:
        why = self.lock.why_not_reset(
            read_reset(payload),
            retained=retained,
            is_cleared=self._verdict.trip is None,
            hottest_c=self.hottest_c(),
            is_somebody=self.limits.has_arming and self.arming.is_somebody_there(now_ms),
        )
        if why is not None:
            self.refused = {"seq": None, "why": "reset: " + why}
            return
        self.lock.open()
        self.arming.forget_presence()
        self._has_run = False
        self._end_run(now_ms, for_good=True)

    def _look_at_clock(self, now_ms: int) -> bool:
        """R19: a loop that comes late holds the heat; one that comes very late or early locks it."""
        gap_ms, self._last_ms = now_ms - self._last_ms, now_ms
        if gap_ms < 0 or gap_ms > _LOST_STEPS * self.limits.step_ms:
            self._trip(now_ms, "R19", "the control loop stood still or its clock jumped")
        return gap_ms < 0 or gap_ms > _LATE_STEPS * self.limits.step_ms

    def _take_in(self, now_ms: int, seen: Inputs) -> None:
        self._seen = seen
        for place, sensor in enumerate(self.sensors):
            if place < len(seen.samples):
                sensor.take(now_ms, *seen.samples[place])
            sensor.note_duty(now_ms, self._asked.duty)
        may_arm = not seen.door_open and not seen.stop_pressed and self.lock.trip is None
        self.arming.step(now_ms, pressed=seen.arm_pressed, may_arm=may_arm)
        if seen.stop_pressed:
            self._end_run(now_ms, for_good=True)
        elif seen.door_open:
            # What lies inside may have changed: it goes on only with a permit given after the door was shut.
            self._held_by_door = self._held_by_door or self.book.living is not None
            self._end_run(now_ms, for_good=False)
            self.book.opened = True

    def _end_run(self, now_ms: int, *, for_good: bool) -> None:
        self.book.end(now_ms, for_good=for_good)
        self._check = None

    def _trip(self, now_ms: int, rule: str, what: str) -> None:
        if self.lock.close(rule, what):
            self.arming.forget_presence()  # whoever armed it has not seen this yet
        self._end_run(now_ms, for_good=True)

    def _drive(self, now_ms: int, is_late: bool) -> Outputs:
        out = Outputs()
        living, hottest_c = self.book.living, self.hottest_c()
        out.local_alarm = self.lock.trip is not None
        out.fan = self.limits.has_fan and (living is not None or self._is_warm(hottest_c))
        self._asked = Commanded()
        self._asked.fan = out.fan
        if living is not None:
            self._has_run = True
            self._asked.run, self._asked.ceiling_c = living.cycle, living.ceiling_c
            self._asked.setpoint_c = None if self._is_asked_to_hold() else living.setpoint_c
            self._heat(now_ms, out, hottest_c, is_late or self._verdict.hold is not None)
        if not out.switch_1:
            self._regulator.forget()
            self._pulser.forget()
        self._asked.duty = out.duty
        self._asked.both_closed = out.switch_1 and out.switch_2
        self._asked.relay_closed = out.switch_1
        return out

    def _heat(self, now_ms: int, out: Outputs, hottest_c: float | None, is_held: bool) -> None:
        """Heat under the living permit, where nothing speaks against it."""
        living, seen = self.book.living, self._seen
        assert living is not None
        assert seen is not None
        # What is driven now lasts until the next step: it must not outlast the lease.
        if self.lock.trip is not None or living.ends_ms - now_ms < self.limits.step_ms:
            return
        if self._is_asked_to_hold():
            self._check = None  # the monitor holds: when heat comes back it is checked afresh
            return
        if self._check is None:
            self._check = PreheatCheck(has_meter=seen.power_w is not None)
        if not self._check.is_passed:
            out.switch_1, out.switch_2 = self._check.step(now_ms, not is_held)
            return
        self._asked.is_cut = self._cuts(hottest_c, living)
        if is_held or hottest_c is None or self._is_cut:
            return
        if self._opened_ms is not None and now_ms - self._opened_ms < self.limits.relay_rest_ms:
            return
        self._is_reached = self._is_reached or hottest_c >= living.setpoint_c - _REACHED_C
        out.duty = self._regulator.duty(now_ms, hottest_c, living.setpoint_c)
        out.switch_1 = True
        out.switch_2 = self._pulser.is_on(now_ms, out.duty)

    def _cuts(self, hottest_c: float | None, living: Living) -> bool:
        """R8, R13: at the ceiling, or far above the set-point, heat is cut until it is below it again."""
        cut_c = min(living.ceiling_c, living.setpoint_c + OVERSHOOT_CUT_C)
        if hottest_c is not None:
            self._is_cut = hottest_c >= (living.setpoint_c if self._is_cut else cut_c)
        return self._is_cut

    def _is_warm(self, hottest_c: float | None) -> bool:
        """What is not known counts as hot, once there has been heat."""
        if hottest_c is None:
            return self._has_run or self.lock.trip is not None
        return hottest_c >= self.limits.cooling_c - (_FAN_BACK_C if self.outputs.fan else 0.0)

    def _remember(self, now_ms: int) -> None:
        if self.outputs.switch_1:
            self._opened_ms = None
        elif self._opened_ms is None:
            self._opened_ms = now_ms

    def _phase(self, now_ms: int) -> str:
        if self.book.run is None:
            self._held_by_door = False
        return phase_of(
            is_tripped=self.lock.trip is not None,
            is_permitted=self.book.living is not None,
            is_held=self._held_by_door or self._verdict.hold is not None or self._is_asked_to_hold(),
            is_checked=self._is_asked_to_hold() or (self._check is not None and self._check.is_passed),
            is_reached=self._is_reached,
            is_held_by_door=self._held_by_door,
            is_warm=self._is_warm(self.hottest_c()),
            is_armed=self.arming.is_armed(now_ms),
            has_run=self._has_run,
        )

    def _is_asked_to_hold(self) -> bool:
        living = self.book.living
        return living is not None and living.setpoint_c <= NO_HEAT_C

    def _key(self) -> tuple[object, ...]:
        """What is worth saying at once when it changes."""
        living, trip = self.book.living, self.lock.trip
        assert self._seen is not None
        return (
            self.phase,
            living.seq if living is not None else None,
            trip["id"] if trip is not None else None,
            self._seen.door_open,
            str(self.refused),
        )

    def _armed_s(self, now_ms: int) -> int:
        """While tripped, the button arms nothing but the reset: the monitor sees that somebody is there."""
        return self.arming.left_s(now_ms) if self.lock.trip is None else self.arming.there_s(now_ms)

    def _publish(self, now_ms: int) -> bytes:
        seq = self._reporter.published(now_ms, self._key())
        self.book.note_published(seq, now_ms)
        seen = self._seen
        assert seen is not None
        said = seen_said(self.sensors, seen, self.outputs)
        said["boot"], said["seq"], said["state"] = self.boot, seq, self.phase
        # Never backwards, whatever the clock did: the monitor would take it for an old message and stay deaf.
        self._told_ms = max(self._told_ms, now_ms - self._begun_ms)
        said["uptime_s"] = self._told_ms / 1000.0
        said["armed_s"] = self._armed_s(now_ms) if self.limits.has_arming else None
        said["permit"] = permit_said(self.book.living, now_ms)
        said["refused"], said["trip"] = self.refused, self.lock.trip
        return state_payload(said)
