"""A simulated oven under the very controller that a board runs, on a clock that is handed in.

`receive` takes what MQTT would deliver, `on_state` gets what the controller publishes: put them on a real
broker, or on nothing at all for thousands of simulated hours.
"""

import random
from collections.abc import Callable

from controller.core import Controller
from controller.limits import OvenLimits
from controller.signals import Inputs, Outputs
from monitor.simulator.oven_faults import Faults
from monitor.simulator.oven_sensor import ChamberSensor
from monitor.simulator.oven_thermal import Drive, OvenParameters, OvenThermal, Room

STEP_S = 2.0
# An external watchdog that was not served for so long takes the outputs away and starts the board anew.
WATCHDOG_S = 8.0
_METER_NOISE_W = 0.4
_SENSOR_LAGS_S = (12.0, 20.0, 25.0, 30.0)


def reference_limits(*, hard_c: float = 85.0, cooling_c: float = 45.0) -> OvenLimits:
    """The reference oven's own: 75 degC for loads, R9 above it, the cut-out at 95 above that."""
    return OvenLimits(hard_c=hard_c, cooling_c=cooling_c, step_ms=int(STEP_S * 1000.0))


class OvenRig:
    """Oven, sensors, faults and controller; all of its time is `step`."""

    def __init__(
        self,
        *,
        parameters: OvenParameters | None = None,
        limits: OvenLimits | None = None,
        room: Room | None = None,
        spools: int = 1,
        start_c: float | None = None,
        seed: int | str = 1,
        on_state: Callable[[bytes], None] | None = None,
    ) -> None:
        self.limits = limits or reference_limits()
        self.oven = OvenThermal(
            parameters or OvenParameters(), room or Room(), spools=spools, start_c=start_c
        )
        self.faults = Faults()
        self.on_state = on_state
        self.time_s = 0.0  # true time, which no fault touches
        self.arm_pressed = self.stop_pressed = False
        self.water_kg_s = 0.0
        self.outputs = Outputs()
        self._dice = random.Random(f"{seed}/oven")
        self._clock_offset_ms = 0
        self._kept = b""
        start_c = self.oven.air_c
        self.sensors = [
            ChamberSensor(
                self._dice, start_c, lag_s=_SENSOR_LAGS_S[place], offset_c=self._dice.gauss(0.0, 0.2)
            )
            for place in range(self.limits.sensors)
        ]
        self._hung_s = 0.0
        self.controller = self._booted()

    @property
    def is_heated(self) -> bool:
        """Whether current may flow through both switches, whatever was commanded."""
        out, faults = self.outputs, self.faults
        return (
            (out.switch_1 or faults.welded_1) and (out.switch_2 or faults.welded_2) and not faults.mains_off
        )

    def step(self, dt_s: float = STEP_S) -> None:
        """The controller looks and drives, then the oven lives under that for `dt_s`."""
        self._control(dt_s)
        faults, oven = self.faults, self.oven
        drive = Drive(
            heated=self.is_heated and not faults.element_dead,
            fan=self.outputs.fan and not faults.fan_dead and not faults.mains_off,
            door_open=faults.door_open,
            water_kg_s=self.water_kg_s,
        )
        oven.step(dt_s, drive)
        oven.cutout_ok = oven.cutout_ok or faults.cutout_dead
        oven.fuse_ok = oven.fuse_ok or faults.fuse_dead
        room_c = oven.room.temperature_c
        for place, sensor in enumerate(self.sensors):
            # The first hangs by the element, the second among the spools.
            felt_c = oven.air_c if place == 0 else oven.low_c
            sensor.pass_time(dt_s, felt_c, room_c, faults.sensors.get(place))
        self.time_s += dt_s

    def run(self, duration_s: float, each: Callable[["OvenRig"], None] | None = None) -> None:
        """Many steps; `each` is called after every one of them."""
        until_s = self.time_s + duration_s - STEP_S / 2.0
        while self.time_s < until_s:
            self.step()
            if each is not None:
                each(self)

    def receive(self, leaf: str, payload: bytes, *, retained: bool = False) -> None:
        """What the broker delivers below the oven's own name; a stop is obeyed before the next step."""
        if self.faults.network_gone or self.faults.loop_hangs or self.faults.mains_off:
            return
        if self.controller.hear(self._now_ms(), leaf, payload, retained=retained):
            self._look_and_drive()

    def press_arm(self) -> None:
        """Somebody presses the button and lets go of it."""
        for pressed in (False, True, False):
            self.arm_pressed = pressed
            self.step()

    def reboot(self) -> None:
        """Power or watchdog: outputs fall, another boot begins with what was kept in memory."""
        self.outputs = Outputs()
        self.controller = self._booted()

    def jump_clock(self, by_ms: int) -> None:
        """The board's monotonic clock is not what it should be."""
        self._clock_offset_ms += by_ms

    def _booted(self) -> Controller:
        boot = f"{self._dice.getrandbits(32):08x}"
        return Controller(self.limits, boot, self._now_ms(), kept=self._kept)

    def _now_ms(self) -> int:
        return round(self.time_s * 1000.0) + self._clock_offset_ms

    def _control(self, dt_s: float) -> None:
        if self.faults.mains_off:
            self.reboot()
        elif not self.faults.loop_hangs:
            self._hung_s = 0.0
            self._look_and_drive()
        else:
            self._hung_s += dt_s
            if self._hung_s > WATCHDOG_S and not self.faults.watchdog_dead:
                self.reboot()

    def _look_and_drive(self) -> None:
        self.outputs = self.controller.step(self._now_ms(), self._inputs())
        self._kept = self.controller.to_keep()
        if self.outputs.state is not None and self.on_state is not None and not self.faults.network_gone:
            self.on_state(self.outputs.state)

    def _inputs(self) -> Inputs:
        oven, faults = self.oven, self.faults
        power_w = (
            None if faults.meter_dead else max(oven.power_w + self._dice.gauss(0.0, _METER_NOISE_W), 0.0)
        )
        turns = self.outputs.fan and (faults.tacho_lies or not faults.fan_dead)
        return Inputs(
            [sensor.sample(faults.sensors.get(place)) for place, sensor in enumerate(self.sensors)],
            door_open=faults.door_open,
            arm_pressed=self.arm_pressed,
            stop_pressed=self.stop_pressed,
            cutout_ok=oven.cutout_ok and oven.fuse_ok,
            fan_share=1.0 if turns else 0.0,
            power_w=power_w,
            humidity_pct=100.0 * oven.relative_humidity(),
        )
