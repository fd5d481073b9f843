"""Commissioning runs on the simulated chamber: a good control, or a kitchen oven's thermostat."""

import random
from dataclasses import replace

from monitor.model.cycle import Ending
from monitor.model.oven_run import OvenRun, RunKind, TracePoint
from monitor.simulator.oven_thermal import Drive, OvenParameters, OvenThermal, Room

STEP_S = 2.0
GOOD = OvenParameters()
LIGHT = replace(GOOD, heater_w=250.0, wall_j_k=2500.0, wall_room_w_k=2.0, air_j_k=300.0)
HEAVY = replace(GOOD, heater_w=500.0, wall_j_k=9000.0, wall_room_w_k=3.5)
# A kitchen oven: a strong, heavy element, and a capillary thermostat that feels it late.
KITCHEN = replace(
    GOOD, heater_w=700.0, element_j_k=500.0, element_air_w_k=(14.0, 5.0), air_wall_w_k=(18.0, 5.0),
    wall_j_k=12000.0, wall_room_w_k=6.0, cutout_c=140.0, fuse_c=190.0,
)  # fmt: skip


class Thermostat:
    """On and off about the set-point, by a bulb that lags."""

    def __init__(self, setpoint_c, *, band_c=6.0, lag_s=40.0):
        self.setpoint_c, self.band_c, self.lag_s = setpoint_c, band_c, lag_s
        self.bulb_c, self.is_on = None, True

    def duty(self, air_c):
        self.bulb_c = air_c if self.bulb_c is None else self.bulb_c
        self.bulb_c += (air_c - self.bulb_c) * STEP_S / self.lag_s
        if self.bulb_c >= self.setpoint_c + self.band_c / 2.0:
            self.is_on = False
        elif self.bulb_c <= self.setpoint_c - self.band_c / 2.0:
            self.is_on = True
        return 1.0 if self.is_on else 0.0


class Proportional:
    """Full on until near, then proportional with a slow integral."""

    def __init__(self, setpoint_c):
        self.setpoint_c, self.sum = setpoint_c, 0.0

    def duty(self, air_c):
        short_c = self.setpoint_c - air_c
        if abs(short_c) < 4.0:
            self.sum = min(max(self.sum + short_c * STEP_S / 2500.0, 0.0), 1.0)
        return min(max(0.10 * short_c + self.sum, 0.0), 1.0)


def commissioned(
    parameters=GOOD,
    *,
    control=None,
    setpoint_c=50.0,
    duration_s=3600.0,
    spools=0,
    room_c=21.0,
    seed=1,
    noise_c=0.02,
    lag_s=15.0,
    each=None,
    offset_c=0.3,
    every_s=4.0,
    **members,
):
    """A run as it is recorded; `each(time_s)` may name a disturbance: "door", "silent" or nothing."""
    oven = OvenThermal(parameters, Room(temperature_c=room_c), spools=spools)
    control = control or Proportional(setpoint_c)
    dice = random.Random(seed)
    felt_c, points, time_s = room_c, [], 0.0
    owed, powers = 0.0, []
    while time_s < duration_s + 3600.0:
        what = each(time_s) if each else None
        heats = 40.0 <= time_s < duration_s
        duty = control.duty(felt_c) if heats else 0.0
        owed += duty  # the switch pays it back in whole steps
        is_on = owed >= 0.5
        owed -= 1.0 if is_on else 0.0
        oven.step(STEP_S, Drive(heated=is_on, fan=True, door_open=what == "door"))
        felt_c += (oven.air_c - felt_c) * STEP_S / lag_s
        time_s += STEP_S
        powers.append(oven.power_w)
        if what != "silent" and (not points or time_s - points[-1].at_s >= every_s):
            chamber = (felt_c + dice.gauss(0.0, noise_c), felt_c - offset_c + dice.gauss(0.0, noise_c))
            points.append(TracePoint(
                at_s=time_s, chamber_c=chamber, heater=duty, power_w=sum(powers) / len(powers),
                door_open=None,
            ))  # fmt: skip
            powers.clear()
        if time_s > duration_s and felt_c < 40.0:
            break
    usual = {
        "oven": "kiln", "run": "c1", "at_s": 1_795_000_000.0, "who": "Ada", "kind": RunKind.EMPTY,
        "setpoint_c": setpoint_c, "room_c": room_c, "heated_s": duration_s, "ending": Ending.TIME_UP,
    }  # fmt: skip
    return OvenRun(trace=tuple(points), **(usual | members))


def truth(parameters, *, spools=0):
    """Gain [K at full power] by a long run at constant duty, heat content [J/K], and what follows from them."""
    oven = OvenThermal(
        replace(parameters, cutout_c=900.0, fuse_c=900.0), Room(temperature_c=21.0), spools=spools
    )
    share, time_s, begun_j = 0.2, 0.0, oven.stored_j()
    while time_s < 60_000.0:
        oven.step(STEP_S, Drive(heated=(time_s / STEP_S) % 5.0 < 1.0, fan=True))
        time_s += STEP_S
    gain_c = (oven.air_c - 21.0) / share
    p = parameters
    # What all lumps hold once settled, by degree of the air: walls stay cooler, the element is hotter.
    heat_j_k = (oven.stored_j() - begun_j) / (oven.air_c - 21.0)
    rate_c_s = p.heater_w / heat_j_k
    return {"gain_c": gain_c, "rate_c_s": rate_c_s, "time_constant_s": gain_c / rate_c_s}


# What passes on an oven of 80 °C with a cut-out of 95 °C.
PASSING = {
    "cutout": ({"gone_c": 94.0}, ("stays_off", "own_button")),
    "sensor": ({"off_s": 3.0, "trip_s": 8.0}, ()),
    "lease": ({"gone_s": 28.0}, ("stays_off",)),
    "power": ({"waited_s": 12.0}, ("stays_off", "not_armed")),
    "stop": ({"page_s": 1.5}, ("button", "plug")),
}


def fit_cutout(site, oven="kiln", **members):
    """The inventory's oven gets a cut-out, or is changed otherwise."""
    inventory = site.queries.inventory()
    entry = replace(inventory.ovens[oven], **({"cutout_c": 95.0} | members))
    site.engine.change_inventory(replace(inventory, ovens={oven: entry}), site.now)
    site.commit()


def prove(site, oven="kiln", who="mara"):
    """All five steps, passed, and the whole concluded."""
    fit_cutout(site, oven)
    for key, (numbers, ticks) in PASSING.items():
        assert site.acts.proof.tell(oven, key, numbers, ticks, who).is_passed
        site.run(2)
    site.acts.proof_tested(oven, who)
