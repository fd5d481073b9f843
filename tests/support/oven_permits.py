"""A stand-in for the monitor: renews a permit from the states it hears, at a third of the lease, and no more."""

import json


class Renewer:
    """Put on a rig's `on_state`; `speaks` off is a monitor that was killed."""

    def __init__(self, rig, *, cycle="c1", setpoint_c=55.0, ceiling_c=60.0, lease_s=30.0, delay_s=0.0):
        self.rig, self.cycle, self.lease_s = rig, cycle, lease_s
        self.setpoint_c, self.ceiling_c = setpoint_c, ceiling_c
        self.speaks, self.delay_s = True, delay_s
        self.states: list[dict] = []
        self.named_s: list[float] = []  # when the states that its permits named were published
        self.seq, self._next_s = 0, 0.0
        rig.on_state = self.heard

    def heard(self, payload):
        state = json.loads(payload)
        self.states.append(state)
        if self.speaks and self.rig.time_s >= self._next_s:
            self._next_s = self.rig.time_s + self.lease_s / 3.0
            self.named_s.append(self.rig.time_s)
            self.send(state_seq=state["seq"], boot=state["boot"])

    def send(self, **changes):
        """One permit now, valid unless changed."""
        self.rig.receive("permit", self.permit(**changes))

    def permit(self, **changes):
        self.seq += 1
        newest = self.states[-1] if self.states else {"boot": "none", "seq": 0}
        said = {
            "cycle": self.cycle,
            "seq": self.seq,
            "boot": newest["boot"],
            "state_seq": newest["seq"],
            "setpoint_c": self.setpoint_c,
            "ceiling_c": self.ceiling_c,
            "lease_s": self.lease_s,
        }
        return json.dumps(said | changes).encode()

    @property
    def last(self):
        return self.states[-1]


def started(rig, **more):
    """A rig armed by hand and under way."""
    renewer = Renewer(rig, **more)
    renewer.speaks = False
    rig.run(12.0)
    rig.press_arm()
    renewer.speaks = True
    return renewer
