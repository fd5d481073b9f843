"""The node's own rules: from what is seen to a reason to hold the heat and a reason to lock it.

Here are R1 to R6, R8 to R10, R13, R14 and R19. R20 is the lease (`permits.py`), R15 and R17 are the run's and
the relay's bounds. R7, R11, R12, R16 and R18 need the load or a learned model: they are the monitor's.
"""

from controller import limits as at
from controller.sensors import Sensor
from controller.signals import Inputs

# B-30: nobody resets these from afar.
LOCAL_RESET = ("R3", "R4", "R5", "R6", "R7", "R9", "R14", "R20", "CUTOUT")


class Commanded:
    """What the node itself asks for at this moment: rules hold what is seen against it."""

    def __init__(self) -> None:
        self.both_closed = False  # power should flow
        self.relay_closed = False
        self.run: str | None = None  # the cycle it asks for
        self.duty = 0.0
        self.fan = False
        self.setpoint_c: float | None = None
        self.ceiling_c: float | None = None
        self.is_cut = False  # at its ceiling, until it is below the set-point again


class Verdict:
    """Why heat is held now, and why it must be locked; None where nothing speaks against it."""

    def __init__(self, hold: str | None, trip: tuple[str, str] | None) -> None:
        self.hold = hold
        self.trip = trip


class _Held:
    """For how long something has been so without a break."""

    def __init__(self) -> None:
        self._since_ms: int | None = None

    @property
    def is_running(self) -> bool:
        return self._since_ms is not None

    def ms(self, now_ms: int, is_so: bool) -> int:
        if not is_so:
            self._since_ms = None
            return 0
        if self._since_ms is None:
            self._since_ms = now_ms
        return now_ms - self._since_ms


class Rules:
    """All rules with the little each must remember."""

    def __init__(self, limits: at.OvenLimits) -> None:
        self._limits = limits
        self._unasked_ms = 0
        self._unasked_from_ms: int | None = None
        self._off, self._shut, self._full = _Held(), _Held(), _Held()
        self._over, self._ceiling, self._apart, self._fan = _Held(), _Held(), _Held(), _Held()
        self._ceiling_c: float | None = None
        self._was_below = False
        self._setpoint_c: float | None = None
        self._was_under = False
        self._closed = _Held()
        self._cuts, self._was_cut = 0, False
        self._run: str | None = None

    def judge(self, now_ms: int, seen: Inputs, sensors: list[Sensor], asked: Commanded) -> Verdict:
        """Every rule is asked at every step, so that each keeps its own time."""
        good = [sensor.good_c for sensor in sensors if sensor.good_c is not None]
        hottest_c = max(good) if good else None
        trips = [
            self._outside(seen),
            self._hard(sensors),
            self._unread(sensors),
            self._stale(now_ms, sensors),
            self._stuck(sensors),
            self._unasked_power(now_ms, seen, asked),
            self._unasked_rise(now_ms, seen, sensors, asked),
            self._over_setpoint(now_ms, sensors, asked),
            self._over_ceiling(now_ms, hottest_c, asked),
            self._cut_often(asked),
            self._fell_out(now_ms, seen, sensors, asked),
            self._no_rise(now_ms, sensors, asked),
        ]
        fan_hold, fan_trip = self._fan_lost(now_ms, seen, asked)
        apart_hold, apart_trip = self._disagree(now_ms, sensors, asked)
        first = None
        for trip in trips + [fan_trip, apart_trip]:
            first = first or trip
        untrusted = not all(sensor.is_trusted(now_ms) for sensor in sensors)
        hold = "a sensor is not to be trusted" if untrusted else fan_hold or apart_hold
        return Verdict(hold, first)

    def _outside(self, seen: Inputs) -> tuple[str, str] | None:
        if not seen.cutout_ok:
            return "CUTOUT", "the thermal cut-out or the fuse has opened"
        return None if seen.self_test_ok else ("R19", "the board's self test has failed")

    def _hard(self, sensors: list[Sensor]) -> tuple[str, str] | None:
        """R9: two samples above the hard limit."""
        if any(sensor.over_hard_in_row >= 2 for sensor in sensors):
            return "R9", "above the hard limit of " + str(self._limits.hard_c) + " C"
        return None

    def _unread(self, sensors: list[Sensor]) -> tuple[str, str] | None:
        """R1: three unusable readings in a row."""
        for number, sensor in enumerate(sensors):
            if sensor.bad_in_row >= 3:
                return "R1", "sensor " + str(number + 1) + " gives no usable reading"
        return None

    def _stale(self, now_ms: int, sensors: list[Sensor]) -> tuple[str, str] | None:
        """R2: the hold at 30 s lies in `Sensor.is_trusted`."""
        for number, sensor in enumerate(sensors):
            if now_ms - sensor.good_ms > at.STALE_TRIP_MS:
                return "R2", "sensor " + str(number + 1) + " has been silent for 60 s"
        return None

    def _stuck(self, sensors: list[Sensor]) -> tuple[str, str] | None:
        for number, sensor in enumerate(sensors):
            if sensor.is_stuck:
                return "R3", "sensor " + str(number + 1) + " does not move although the heat does"
        return None

    def _unasked_power(self, now_ms: int, seen: Inputs, asked: Commanded) -> tuple[str, str] | None:
        """R6 by the meter: power while at least one of the two switches should be open.

        It adds up over the pauses of a pulsed heater, each without its first look, for which a meter may be
        late. Only a pause without power clears it: with the relay open, or under heat, nothing is shown.
        """
        flows = seen.power_w is not None and seen.power_w > at.OFF_POWER_W
        if asked.both_closed or not flows:
            self._unasked_from_ms = None
            if asked.relay_closed and not asked.both_closed:
                self._unasked_ms = 0
            return None
        if self._unasked_from_ms is not None:
            self._unasked_ms += now_ms - self._unasked_from_ms
        self._unasked_from_ms = now_ms
        if self._unasked_ms >= at.OFF_POWER_MS:
            return "R6", "power flows although the heat is off: pull the plug"
        return None

    def _unasked_rise(
        self, now_ms: int, seen: Inputs, sensors: list[Sensor], asked: Commanded
    ) -> tuple[str, str] | None:
        """R6 by temperature: after the element's stored heat is gone nothing may warm the chamber.

        Walls and spools warm the air again that an open door let in: the door must be shut for as long.
        """
        off_ms = self._off.ms(now_ms, asked.duty == 0.0 and not asked.both_closed)
        shut_ms = self._shut.ms(now_ms, not seen.door_open)
        if min(off_ms, shut_ms) < at.OFF_LAG_MS + at.OFF_RISE_MS:
            return None
        rises = [sensor.rise_c(now_ms, at.OFF_RISE_MS) for sensor in sensors]
        if any(rise is not None and rise > at.OFF_RISE_C for rise in rises):
            return "R6", "it gets warmer although the heat is off: pull the plug"
        return None

    def _over_setpoint(self, now_ms: int, sensors: list[Sensor], asked: Commanded) -> tuple[str, str] | None:
        """R6: far above the set-point and not falling."""
        if asked.setpoint_c is None:
            self._over.ms(now_ms, False)
            return None
        limit_c = asked.setpoint_c + at.OVER_SETPOINT_C
        over = [sensor for sensor in sensors if sensor.good_c is not None and sensor.good_c > limit_c]
        if self._over.ms(now_ms, bool(over)) < at.OVER_SETPOINT_MS:
            return None
        rises = [sensor.rise_c(now_ms, at.OVER_SETPOINT_MS) for sensor in over]
        if any(rise is not None and rise > -at.FALLING_C for rise in rises):
            return "R6", "5 C above the set-point for 5 min and not falling"
        return None

    def _over_ceiling(self, now_ms: int, hottest_c: float | None, asked: Commanded) -> tuple[str, str] | None:
        """R8: it was below this ceiling and went far past it. One lowered onto a hot oven only holds."""
        if asked.ceiling_c != self._ceiling_c:
            self._ceiling_c, self._was_below = asked.ceiling_c, False
        if asked.setpoint_c is not None and asked.setpoint_c != self._setpoint_c:
            self._setpoint_c, self._was_under = asked.setpoint_c, False
        if asked.setpoint_c is not None and hottest_c is not None:
            self._was_under = self._was_under or hottest_c <= asked.setpoint_c
        if asked.ceiling_c is None or hottest_c is None:
            self._ceiling.ms(now_ms, False)
            return None
        self._was_below = self._was_below or hottest_c <= asked.ceiling_c
        far_over = self._was_below and hottest_c > asked.ceiling_c + at.CEILING_TRIP_C
        if self._ceiling.ms(now_ms, far_over) >= at.CEILING_TRIP_MS:
            return "R8", "3 C above the permit's ceiling"
        return None

    def _cut_often(self, asked: Commanded) -> tuple[str, str] | None:
        """R13: a heater under control stays below its ceiling, and near its set-point.

        A lease that lapses because the monitor withholds permits above the ceiling (R8) does not begin a new
        count; another cycle does.
        """
        if asked.run is None:
            return None
        if asked.run != self._run:
            self._run, self._cuts, self._was_cut = asked.run, 0, False
        if asked.is_cut and not self._was_cut and self._was_below and self._was_under:
            self._cuts += 1
        self._was_cut = asked.is_cut
        if self._cuts >= at.CEILING_CUTS:
            return "R13", "it went too far above its set-point three times"
        return None

    def _fell_out(
        self, now_ms: int, seen: Inputs, sensors: list[Sensor], asked: Commanded
    ) -> tuple[str, str] | None:
        """R4: a fast fall under heat. Without a door switch an opened door looks the same and trips, too."""
        shut_ms = self._closed.ms(now_ms, not seen.door_open)
        if asked.duty == 0.0 or shut_ms < 2 * at.FELL_OUT_MS:
            return None
        for number, sensor in enumerate(sensors):
            rise_c = sensor.rise_c(now_ms, at.FELL_OUT_MS)
            if rise_c is not None and rise_c < -at.FELL_OUT_C:
                return "R4", "sensor " + str(number + 1) + " falls although it is heated"
        return None

    def _no_rise(self, now_ms: int, sensors: list[Sensor], asked: Commanded) -> tuple[str, str] | None:
        """R5: full heat, far below the set-point, and a sensor that sees none of it."""
        full = asked.duty >= at.NO_RISE_DUTY and asked.setpoint_c is not None
        full_ms = self._full.ms(now_ms, full)
        if full_ms < at.NO_RISE_MS or asked.setpoint_c is None:
            return None
        for number, sensor in enumerate(sensors):
            rise_c = sensor.rise_c(now_ms, at.NO_RISE_MS)
            is_far = sensor.good_c is not None and sensor.good_c < asked.setpoint_c - at.NO_RISE_BELOW_C
            if is_far and rise_c is not None and rise_c < at.NO_RISE_C:
                return "R5", "sensor " + str(number + 1) + " does not rise at full heat"
        return None

    def _fan_lost(
        self, now_ms: int, seen: Inputs, asked: Commanded
    ) -> tuple[str | None, tuple[str, str] | None]:
        """R14: no heat at once, a trip after ten seconds. Without a tacho nothing can be told."""
        if not self._limits.has_fan or seen.fan_share is None:
            return None, None
        is_slow = seen.fan_share < at.FAN_LEAST
        slow_ms = self._fan.ms(now_ms, is_slow and asked.fan)
        trip = ("R14", "the fan does not turn") if slow_ms >= at.FAN_TRIP_MS else None
        return "the fan is not up to speed" if is_slow else None, trip

    def _disagree(
        self, now_ms: int, sensors: list[Sensor], asked: Commanded
    ) -> tuple[str | None, tuple[str, str] | None]:
        """R10. Without a fan the chamber is layered and sensors may differ."""
        good = [sensor.good_c for sensor in sensors if sensor.good_c is not None]
        apart = len(good) > 1 and max(good) - min(good) > at.DISAGREE_C
        is_stirred = asked.fan or not self._limits.has_fan
        # What was found under the fan is not forgotten because a hold has stopped it.
        apart_ms = self._apart.ms(now_ms, apart and (is_stirred or self._apart.is_running))
        trip = ("R10", "two sensors have disagreed for 5 min") if apart_ms >= at.DISAGREE_TRIP_MS else None
        return "the sensors disagree" if apart_ms >= at.DISAGREE_HOLD_MS else None, trip
