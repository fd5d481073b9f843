"""A controller on a bench: its inputs are set by hand, time passes by steps of two seconds."""

import json

from controller.core import Controller
from controller.limits import OvenLimits
from controller.signals import Inputs

STEP_MS = 2000


class Bench:
    """Cold, shut and healthy until a test says otherwise; sensors differ and never stand quite still."""

    def __init__(self, *, kept=None, boot="a91c", arm_pressed=False, **limits):
        self.limits = OvenLimits(hard_c=85.0, **limits)
        self.controller = Controller(self.limits, boot, 0, kept=kept)
        self.now_ms, self.number, self.permit_seq = 0, 0, 0
        self.chamber_c = [24.0, 24.0]
        self.door_open, self.cutout_ok, self.self_test_ok = False, True, True
        self.arm_pressed, self.stop_pressed = arm_pressed, False
        self.fan_share, self.power_w, self.humidity_pct = None, None, 20.0
        self.states = []
        self.out = None
        self.step()

    def step(self, seconds=2.0):
        for _ in range(round(seconds * 1000 / STEP_MS)):
            self.now_ms += STEP_MS
            self.look()

    def look(self):
        """One step now."""
        self.number += 1
        turning = self.out is not None and self.out.fan
        share = self.fan_share if self.fan_share is not None else float(turning)
        shift = 0.03 * (self.number % 3)
        samples = [(self.number, None if c is None else c + shift) for c in self.chamber_c]
        seen = Inputs(
            samples[: self.limits.sensors],
            door_open=self.door_open,
            arm_pressed=self.arm_pressed,
            stop_pressed=self.stop_pressed,
            cutout_ok=self.cutout_ok,
            fan_share=share,
            power_w=self.power_w,
            humidity_pct=self.humidity_pct,
            self_test_ok=self.self_test_ok,
        )
        self.out = self.controller.step(self.now_ms, seen)
        if self.out.state is not None:
            self.states.append(json.loads(self.out.state))

    def arm(self):
        for pressed in (False, True, False):
            self.arm_pressed = pressed
            self.step()

    def permit(self, *, retained=False, leave_out=None, **changes):
        """Send a permit that is valid unless changed; the refusal's reason, or None."""
        self.permit_seq += 1
        said = {
            "cycle": "c1",
            "seq": self.permit_seq,
            "boot": self.controller.boot,
            "state_seq": self.newest_seq,
            "setpoint_c": 55.0,
            "ceiling_c": 60.0,
            "lease_s": 30,
        } | changes
        said.pop(leave_out, None)
        return self.order("permit", json.dumps(said).encode(), retained=retained)

    def order(self, leaf, payload, *, retained=False):
        self.controller.refused = None
        if self.controller.hear(self.now_ms, leaf, payload, retained=retained):
            self.look()
        return self.controller.refused["why"] if self.controller.refused else None

    def reset(self, *, retained=False, **changes):
        trip = self.controller.lock.trip
        said = {"trip": trip["id"] if trip else "none", "boot": self.controller.boot, "who": "Ines"} | changes
        return self.order("reset", json.dumps(said).encode(), retained=retained)

    @property
    def newest_seq(self):
        return self.states[-1]["seq"]

    @property
    def is_permitted(self):
        return self.controller.book.living is not None

    @property
    def is_on(self):
        return self.out.switch_1 and self.out.switch_2

    @property
    def trip(self):
        return self.controller.lock.trip

    def heated(self, **changes):
        """Armed, permitted and past the look before heat."""
        self.arm()
        for _ in range(4):
            assert self.permit(**changes) is None
            self.step(10.0)
        assert self.permit(**changes) is None
        self.step()
        assert self.out.duty > 0.0
        return self
