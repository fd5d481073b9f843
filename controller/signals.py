"""What the board hands in at each step, and what it gets back."""


class Inputs:
    """One look at the world. `samples` holds one (sample number, °C or None) per sensor."""

    def __init__(
        self,
        samples: list[tuple[int, float | None]],
        *,
        door_open: bool | None = None,
        arm_pressed: bool = False,
        stop_pressed: bool = False,
        cutout_ok: bool = True,
        fan_share: float | None = None,
        power_w: float | None = None,
        humidity_pct: float | None = None,
        self_test_ok: bool = True,
    ) -> None:
        self.samples = samples  # the number rises with each fresh sample; None: nothing usable
        self.door_open = door_open  # None: no switch
        self.arm_pressed = arm_pressed  # debounced level; only its rising edge arms
        self.stop_pressed = stop_pressed
        self.cutout_ok = cutout_ok  # False: the thermal cut-out or the fuse has opened
        self.fan_share = fan_share  # tacho over its figure at full speed; None: no tacho
        self.power_w = power_w  # the heater's own; None: not measured
        self.humidity_pct = humidity_pct
        self.self_test_ok = self_test_ok  # the board's memory, clock and converter checks


class Outputs:
    """What to drive until the next step. Everything is off in a new one, as at power-up (B-20)."""

    def __init__(self) -> None:
        self.switch_1 = False  # enabling relay
        self.switch_2 = False  # solid-state switch, time-proportioned
        self.duty = 0.0  # for a board that proportions by itself; 0 whenever switch_1 is open
        self.fan = False
        self.local_alarm = False
        self.state: bytes | None = None  # to be published now
