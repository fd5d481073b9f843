"""Many cycles of the pair, one a number: those in which nothing is wrong, and those in which something is killed."""

import random
from dataclasses import dataclass, replace

from support.oven_joint import LEARNED, LOADS, Joint

from monitor.model.cycle import Ending
from monitor.model.oven import OvenPhase
from monitor.oven.load_limit import allowed

VICTIMS = ("monitor", "broker", "uplink", "downlink", "board's network", "monitor, restarted", "board")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """One nominal cycle; `wrong` = why it did not run to its end, or what rule spoke without reason."""

    wrong: str | None
    peak_above_c: float  # true chamber over the set-point
    below_limit_c: float  # least distance of the true chamber to the load's limit
    hours: float
    doors: int


def healthy(number: int) -> tuple[Joint, random.Random]:
    """An oven, a room, a load and a link, none of them quite as they were when its figures were learned."""
    dice = random.Random(f"{number}/nominal")
    load = dice.choice(LOADS)
    joint = Joint(seed=number, load=load, room_c=round(dice.uniform(8.0, 33.0), 1), spools=dice.randint(1, 5))
    oven = joint.rig.oven
    p = oven.parameters
    oven.parameters = replace(
        p,
        heater_w=p.heater_w * dice.uniform(0.81, 1.1),  # mains at 90 to 105 %
        wall_j_k=p.wall_j_k * dice.uniform(0.8, 1.2),
        wall_room_w_k=p.wall_room_w_k * dice.uniform(0.85, 1.2),
        vent_m3_s=p.vent_m3_s * dice.uniform(0.5, 1.5),
    )
    joint.rig.water_kg_s = dice.choice([0.0, 3e-8, 2e-7])
    # The room's sensor is not the oven's place.
    joint.site = replace(joint.site, room_c=joint.site.room_c + dice.uniform(-2.0, 2.0))
    for link in (joint.up, joint.down):
        link.lose, link.double, link.hold, link.hold_s = 0.02, 0.02, 0.05, 3.0
    return joint, dice


def nominal(number: int, hours: float | None = None) -> Ran:
    """Confirmed, dried, looked into now and then, cooled."""
    joint, dice = healthy(number)
    bound = allowed(joint.site.load, LEARNED)
    lowest_c = max(joint.rig.oven.room.temperature_c + 8.0, 38.0)
    setpoint_c = round(dice.uniform(min(lowest_c, bound.setpoint_c - 1.0), bound.setpoint_c), 1)
    duration_s = 3600.0 * (hours or dice.uniform(0.7, 1.5))
    joint.started(setpoint_c=setpoint_c, duration_s=duration_s)
    doors = sorted(dice.uniform(0.3, 0.95) * duration_s for _ in range(dice.choice([0, 0, 1, 2])))
    begun_s, opened = joint.time_s, 0
    while joint.state.ended is None and joint.state.trip is None:
        joint.run(20.0, lambda j: j.check())
        if doors and joint.time_s - begun_s > doors[0] and joint.phase is OvenPhase.DRYING:
            doors.pop(0)
            opened += 1
            joint.rig.faults.door_open = True
            joint.run(2.0 * dice.randint(2, 20), lambda j: j.check())
            joint.rig.faults.door_open = False
    joint.run(600.0)
    return Ran(
        wrong=_wrong(joint, opened),
        peak_above_c=joint.peak_c - setpoint_c,
        below_limit_c=bound.limit_c - joint.peak_c,
        hours=joint.time_s / 3600.0,
        doors=opened,
    )


def _wrong(joint: Joint, doors: int) -> str | None:
    ended, trip = joint.state.ended, joint.rig.controller.lock.trip
    if joint.state.trip is not None or trip is not None:
        return f"tripped: {joint.why()}"
    if ended is None or ended.ending is not Ending.TIME_UP:
        return f"ended: {joint.why()}"
    cycle = joint.state.cycle
    if cycle is not None and cycle.holds > doors:
        held = [record.what for record in joint.records("held")]
        return f"held {cycle.holds} times for {doors} doors: {held}"
    said = joint.records("notice")
    return f"notice: {said[0].rule} {said[0].what}" if said else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Killed:
    """What a kill at a random moment left behind."""

    victim: str
    heat_s: float  # from the kill to the last heat
    came_back: bool  # heat once more, after it had ended and nobody had confirmed anything
    peak_c: float
    limit_c: float


def kill(number: int) -> Killed:
    """Any moment of warming up, drying, or a pulse; what was killed comes back later, or does not."""
    dice = random.Random(f"{number}/kill")
    joint = Joint(seed=number, load=dice.choice(LOADS), room_c=dice.uniform(8.0, 33.0))
    joint.started(duration_s=4 * 3600.0)
    joint.run(dice.uniform(0.0, 1200.0), lambda j: j.check())
    victim = VICTIMS[number % len(VICTIMS)]
    begun_s = joint.heated_s = joint.time_s
    _take(joint, victim)
    back_s = dice.choice([60.0, 200.0, 600.0])
    joint.run(back_s, lambda j: j.check())
    heat_s = joint.heated_s - begun_s
    _give_back(joint, victim)
    returned_s = joint.time_s
    joint.run(400.0, lambda j: j.check())
    return Killed(
        victim=victim,
        heat_s=heat_s,
        came_back=joint.heated_s > returned_s,
        peak_c=joint.peak_c,
        limit_c=allowed(joint.site.load, LEARNED).limit_c,
    )


def _take(joint: Joint, victim: str) -> None:
    if victim.startswith("monitor"):
        joint.kill()
    elif victim == "broker":
        joint.cut()
    elif victim == "uplink":
        joint.up.is_cut = True
    elif victim == "downlink":
        joint.down.is_cut = True
    elif victim == "board":
        joint.rig.reboot()
    else:
        joint.rig.faults.network_gone = True


def _give_back(joint: Joint, victim: str) -> None:
    if victim.startswith("monitor"):
        joint.restart()
    joint.cut(False)
    joint.rig.faults.network_gone = False
