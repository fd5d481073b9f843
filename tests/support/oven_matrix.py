"""Every fault that software has a barrier for, injected into the living pair: what ends the heat, when, how hot."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace

from support.oven_joint import PETG, PLA, Joint

from monitor.model.cycle import Ending, Permit
from monitor.model.oven import OvenPhase
from monitor.oven.site import Detector
from monitor.simulator.oven_faults import SensorFault

S = SensorFault
CUTOUT_C = 95.0
_CALM_S = 1500.0  # after the set-point was reached


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """`rules`: one of them must have fired at either side. Limits in s to the last heat, and in °C at most."""

    name: str
    rows: str  # of ovens.md: R1 to R20, H01 to H40
    act: Callable[[Joint], None]
    rules: frozenset[str]
    within_s: tuple[float, ...]  # in the rise, in the calm; for an idle oven one figure
    most_c: float = 65.0  # the load's limit; the cut-out's where only hardware is left
    moments: tuple[str, ...] = ("rise", "calm")
    load: tuple = (PETG,)
    order: tuple = ()  # changes to the start
    look_s: float = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What came of one fault."""

    rules: tuple[str, ...]  # as they fired, the monitor's and the controller's
    found_s: float | None  # until the first of them
    off_s: float  # until the last heat
    peak_c: float

    def misses(self, fault: Fault, moment: str) -> list[str]:
        """What is not as it must be; empty = all is well."""
        within_s = fault.within_s[min(fault.moments.index(moment), len(fault.within_s) - 1)]
        out = []
        if fault.rules and not fault.rules & set(self.rules):
            out.append(f"none of {sorted(fault.rules)} fired but {self.rules}")
        if self.off_s > within_s:
            out.append(f"last heat after {self.off_s:.0f} s, not {within_s:g}")
        if self.peak_c > fault.most_c:
            out.append(f"{self.peak_c:.1f} °C, above {fault.most_c:g}")
        return out


def at_moment(fault: Fault, moment: str, seed: int = 1) -> Joint:
    """A healthy pair at the moment at which something breaks."""
    joint = Joint(seed=seed, load=fault.load)
    changes = dict(fault.order)
    if moment == "idle":
        return joint.run(600.0)
    if moment == "cooling":
        joint.drying(**changes).stop()
        return joint.run(360.0)
    if moment == "start":
        return joint.started(**changes)
    if moment == "rise":
        joint.started(**changes).until(OvenPhase.HEATING, at_most_s=200.0)
        return joint.run(70.0)
    return joint.drying(**changes).run(_CALM_S)


def inject(fault: Fault, moment: str, seed: int = 1) -> Found:
    """Break it, look on for an hour, tell."""
    joint = at_moment(fault, moment, seed)
    begun_s, joint.heated_s, joint.peak_c = joint.time_s, joint.time_s, joint.rig.oven.air_c
    joint.log.clear()
    joint.told.clear()
    fault.act(joint)
    tripped_s: float | None = None
    until_s = begun_s + fault.look_s
    while joint.time_s < until_s:
        joint.tick()
        if fault.name not in _BROKEN_CONTROLLER:
            joint.check()
        if joint.rig.controller.lock.trip is not None and tripped_s is None:
            tripped_s = joint.time_s
    found_s = min(
        [at_s for at_s, _ in joint.told] + ([tripped_s] if tripped_s is not None else []), default=None
    )
    off_s = joint.heated_s - begun_s
    return Found(
        rules=_fired(joint),
        found_s=None if found_s is None else found_s - begun_s,
        off_s=off_s,
        peak_c=joint.peak_c,
    )


def _fired(joint: Joint) -> tuple[str, ...]:
    """What each side said, in the order in which it was said; once each."""
    latched, ended, trip = joint.state.trip, joint.state.ended, joint.rig.controller.lock.trip
    out = [rule for _, rule in joint.told]
    out += [fired.rule for fired in latched.fired] if latched else []
    if ended is not None and ended.ending is Ending.LINK_LOST:
        out.append("R20")
    if trip is not None:
        out.append(str(trip["rule"]))
    return tuple(dict.fromkeys(out))


def broken(**changes):
    def act(joint):
        for name, value in changes.items():
            setattr(joint.rig.faults, name, value)

    return act


def sensors(*kinds):
    def act(joint):
        joint.rig.faults.sensors = {place: kind for place, kind in enumerate(kinds) if kind}

    return act


def thermal(**changes):
    """Another oven from now on: a heater of other strength, an element that lost a strand."""

    def act(joint):
        joint.rig.oven.parameters = replace(joint.rig.oven.parameters, **changes)

    return act


def unseen_still_air(joint):
    """The fan stands still and says that it turns; the air lies in layers, the element in the upper one."""
    thermal(layers_w_k=0.5)(joint)
    broken(fan_dead=True, tacho_lies=True)(joint)


def told(**changes):
    def act(joint):
        joint.site = replace(joint.site, **changes)
        joint._site_s = -1e9

    return act


def frozen(seconds):
    """SIGSTOP: the monitor stands still, then goes on as if nothing had been."""

    def act(joint):
        joint.is_alive = False
        joint.run(seconds, lambda j: j.check())
        joint.is_alive = True

    return act


def regulator(wrong):
    """A firmware whose regulator is wrong: the duty it gives for (time in ms, measured, set-point)."""

    def act(joint):
        joint.rig.controller._regulator.duty = lambda *asked: min(max(wrong(asked), 0.0), 1.0)

    return act


def ignores_permits(joint):
    """A controller that closes both switches whatever it is told: only the cut-out is left; the monitor shouts."""
    drive = joint.rig.controller._drive

    def always(now_ms, is_late):
        out = drive(now_ms, is_late)
        out.switch_1 = out.switch_2 = True
        out.duty = 1.0
        return out

    joint.rig.controller._drive = always


def forged(**changes):
    """H15: somebody on the network publishes a permit that is good by its form."""

    def act(joint):
        controller = joint.rig.controller
        permit = Permit(
            cycle="x",
            seq=10**9,
            boot=controller.boot,
            state_seq=controller._reporter._seq,
            setpoint_c=60.0,
            ceiling_c=70.0,
            lease_s=60.0,
        )
        joint.rig.receive("permit", json.dumps(asdict(permit) | changes).encode())

    return act


def armed_and_forged(joint):
    joint.rig.press_arm()
    joint.run(4.0)
    forged()(joint)


def late_flood(joint):
    """H10: an hour after the end the broker delivers what it had kept."""
    permit = asdict(joint.state.given.permit)
    joint.stop()
    joint.run(3000.0)
    for number in range(50):
        old = json.dumps(permit | {"seq": permit["seq"] + number}).encode()
        joint.rig.receive("permit", old, retained=bool(number % 2))
        joint.run(2.0)


def stop_is_lost(joint):
    """H09: what is said first never arrives."""
    joint.down.lose = 1.0
    joint.stop()
    joint.run(4.0)
    joint.down.lose = 0.0


def power_cut(joint):
    joint.rig.faults.mains_off = True
    joint.run(20.0)
    joint.rig.faults.mains_off = False


def restarted(joint):
    joint.kill()
    joint.run(4.0)
    joint.restart()


def never_ends(joint):
    """A cycle whose end was lost: nothing else in the program may keep it going."""
    joint.state = replace(joint.state, cycle=replace(joint.state.cycle, duration_s=40 * 3600.0))


def humid(joint):
    joint.site = replace(joint.site, room_dew_point_c=8.0)
    joint.rig.oven.relative_humidity = lambda: 0.85


def door(seconds):
    def act(joint):
        joint.rig.faults.door_open = True
        joint.run(seconds, lambda j: j.check())
        joint.rig.faults.door_open = False

    return act


def hangs(seconds):
    """The board's program stands still until its watchdog bites, and starts anew."""

    def act(joint):
        joint.rig.faults.loop_hangs = True
        joint.run(seconds)
        joint.rig.faults.loop_hangs = False

    return act


def clock(by_s):
    def act(joint):
        joint.wall_ahead_s += by_s

    return act


def _f(name, rows, act, rules, within_s, **more) -> Fault:
    within = within_s if isinstance(within_s, tuple) else (within_s,)
    return Fault(name=name, rows=rows, act=act, rules=frozenset(rules.split()), within_s=within, **more)


_ALARM = Detector(is_heard=True, is_alarming=True)
_OVER = 1e6  # heat goes on rightly
FAULTS: tuple[Fault, ...] = (
    _f("sensor open", "R1 H03", sensors(S.OPEN), "R1", 4),
    _f("sensor shorted", "R1 H03", sensors(None, S.SHORT), "R1", 4),
    _f("sensor dead", "R1 H03", sensors(S.DEAD), "R1", 4),
    _f("sensor silent", "R2 H04", sensors(S.SILENT), "R2", 34),
    _f("both sensors silent", "R2 H04", sensors(S.SILENT, S.SILENT), "R2", 34),
    _f("sensor stuck", "R3 H04", sensors(S.STUCK), "R3 R4 R5 R10 R14", (660, 1000)),
    _f("both sensors stuck", "R3 R5 H04", sensors(S.STUCK, S.STUCK), "R3 R4 R5", (660, 1000)),
    _f("sensor fallen out", "R4 H02", sensors(S.FALLEN_OUT), "R4", 60),
    _f("both fallen out", "R4 H02", sensors(S.FALLEN_OUT, S.FALLEN_OUT), "R4", 60),
    _f("element dead", "R5", broken(element_dead=True), "R4 R5 R12", 4),
    _f("element dead, from cold", "R5", broken(element_dead=True), "R4 R5", 4, moments=("start",)),
    _f("relay welded", "R6 H01", broken(welded_1=True), "", _OVER),
    _f("relay welded before start", "R6 H01", broken(welded_1=True), "R6", 60, moments=("start",), most_c=40.0),
    _f("switch 2 welded", "R6 H01", broken(welded_2=True), "R6 R8 R13", (600, 60)),
    _f("switch 2 welded before start", "R6 H01", broken(welded_2=True), "R6", 60, moments=("start",), most_c=40.0),
    _f("switch 2 welded, no meter", "R6 R8 H01", broken(welded_2=True, meter_dead=True), "R6 R8 R13", (900, 600)),
    _f("both welded", "R6 H01", broken(welded_1=True, welded_2=True), "R6", (900, 400), most_c=CUTOUT_C),
    _f("both welded, cooling", "R6 H01", broken(welded_1=True, welded_2=True), "R6", 900, most_c=CUTOUT_C, moments=("cooling",)),
    _f("both welded, idle", "R6 H11", broken(welded_1=True, welded_2=True), "R6", 900, most_c=CUTOUT_C, moments=("idle",)),
    _f("both welded, no meter", "R8 R9 H01", broken(welded_1=True, welded_2=True, meter_dead=True), "R8 R9", (900, 400), most_c=CUTOUT_C),
    _f("both welded, no cut-out", "R9 H01", broken(welded_1=True, welded_2=True, cutout_dead=True), "R9", (1500, 1000), most_c=118.0),
    _f("heater of four times the power", "R7", thermal(heater_w=1400.0), "R7", 120, moments=("start",), most_c=CUTOUT_C),
    _f("sensor 10 °C low", "R10 H05", sensors(S.LOW), "R10", 140),
    _f("both sensors 10 °C low", "H05", sensors(S.LOW, S.LOW), "", _OVER, most_c=75.0),
    _f("heater too weak", "R11", thermal(heater_w=75.0), "R4 R5 R11", 4000, moments=("start",), look_s=5400.0),
    _f("heater grows weak", "R12", thermal(heater_w=60.0), "R4 R12", 3000, moments=("calm",)),
    _f("regulator 9 °C too high", "R13 H19", regulator(lambda asked: (asked[2] + 9.0 - asked[1]) / 12.0), "R8 R13", (3600, 3600)),
    _f("fan dead", "R14 H21", broken(fan_dead=True), "R14", 4),
    _f("fan dead, tacho lies: layers", "R14 R10 H21", unseen_still_air, "R14 R10", (180, 180)),
    _f("a cycle without its end", "R15", never_ends, "R15 R20 B-18", 40),
    _f("twice the energy", "R16", lambda _: None, "R16", 3600, moments=("calm",), order=(("learned_energy_wh", 60.0),)),
    _f("regulator chatters", "R17 H31", regulator(lambda asked: asked[0] // 2000 % 2), "R17", 700),
    _f("humidity sensor wrong", "R18 H34", humid, "R18", _OVER, moments=("calm",)),
    _f("monitor stands still for 20 s", "R19 H06", frozen(20.0), "R19 R20", _OVER),
    _f("monitor stands still for 60 s", "R19 H06", frozen(60.0), "R19 R20", 30),
    _f("board's clock an hour on", "R19", lambda j: j.rig.jump_clock(3_600_000), "R19", 2),
    _f("board's clock an hour back", "R19", lambda j: j.rig.jump_clock(-3_600_000), "R19", 2),
    _f("wall clock a year on", "R19 H13", clock(3.15e7), "", _OVER),
    _f("controller heats without permit", "R20", ignores_permits, "R20 R6 R8 R13", (1500, 900), most_c=CUTOUT_C),
    _f("program of the board hangs", "H06", hangs(20.0), "B-21", 12),
    _f("board hangs, watchdog dead", "H06", broken(loop_hangs=True, watchdog_dead=True), "R20", (900, 400), most_c=CUTOUT_C),
    _f("monitor killed", "R20 H07", lambda j: j.kill(), "", 30),
    _f("broker gone", "R20 H08", lambda j: j.cut(), "R20", 30),
    _f("nothing more is heard", "R20 H08", lambda j: setattr(j.up, "is_cut", True), "R20", 30),
    _f("nothing more gets through", "R20 H08", lambda j: setattr(j.down, "is_cut", True), "R20", 30),
    _f("first stop lost", "H09", stop_is_lost, "B-17", 12),
    _f("queued permits an hour late", "H10", late_flood, "B-17", 4, look_s=3600.0),
    _f("power cut", "B-20 H11", power_cut, "B-21", 4),
    _f("board restarts", "B-21 H12", lambda j: j.rig.reboot(), "B-21", 4),
    _f("monitor restarts", "B-21 H12", restarted, "B-21", 8),
    _f("forged permit, not armed", "H15", forged(), "", 0, moments=("idle",), most_c=40.0),
    _f("forged permit, armed", "H15 H39", armed_and_forged, "H39", 20, moments=("idle",), most_c=40.0),
    _f("second program's permit", "H39", forged(), "", _OVER),
    _f("weaker spool put in", "B-14 H16", lambda j: j.put_in((PLA, PETG)), "B-14 R8", 4),
    _f("smoke detector alarms", "B-44 H27", told(detector=_ALARM), "B-44", 4),
    _f("store full", "B-26 H37", told(is_storage_writable=False), "B-26", 4),
    _f("surroundings not told", "B-10", lambda j: setattr(j, "is_told", False), "B-10", 160),
    _f("cut-out opens", "B.4", lambda j: setattr(j.rig.oven, "cutout_ok", False), "CUTOUT", 4),
    _f("stop at the oven", "B-17 H40", lambda j: setattr(j.rig, "stop_pressed", True), "B-17", 4),
    _f("door open for 20 s", "B-04", door(20.0), "B-04", _OVER),
    _f("door left open", "B-04", broken(door_open=True), "B-04", 4),
)  # fmt: skip
_BROKEN_CONTROLLER = frozenset(
    {
        "controller heats without permit",
        "board hangs, watchdog dead",
    }
)
CASES = [(fault, moment) for fault in FAULTS for moment in fault.moments]
