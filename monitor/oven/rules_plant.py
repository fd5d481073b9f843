"""R14, R19, R20 and the facts around an oven: fan, loop, lease, door, cut-out, detector, store, load."""

from operator import itemgetter

from monitor.model.cycle import Actuator
from monitor.model.oven import OvenPhase
from monitor.oven import hard
from monitor.oven.load_limit import allowed
from monitor.oven.verdict import Level, Scene, Verdict
from monitor.oven.window import duties

# R14: layers need so long to show, and some heat in that time; a sensor that has moved by less is flat.
_LAYERS_S, _LAYERS_DUTY, _FLAT_C = 120.0, 0.05, 1.0
_LATE_HOLD, _LATE_TRIP = 3.0, 10.0  # R19: periods of the loop
_COOLING_FAN_S = 30.0  # B-19


def fan_lost(scene: Scene) -> Verdict | None:
    """R14: heat without moving air, told by the fan itself or by the layers that form."""
    figures = scene.parameters
    if not figures.has_fan:
        return None
    still_s = scene.window.since(lambda s: s.state.heater > 0.0 and not s.state.fan)
    if still_s >= figures.fan_lost_s:
        return Verdict(rule="R14", level=Level.TRIP, what="The heater is on and the fan stands still.")
    if _is_stratified(scene):
        what = "One sensor gets hot and another stays as it is: the fan no longer moves the air."
        return Verdict(rule="R14", level=Level.TRIP, what=what)
    return None


def _is_stratified(scene: Scene) -> bool:
    """Under heat the sensors draw apart by half the allowed spread: one is hot, another does not rise.

    Both halves of the time show it, with the door shut: after a look inside each follows at its own pace.
    The cooler one does not fall far: a sensor that jumps or lies in the room is R10's and R4's.
    """
    part = scene.window.covers(_LAYERS_S)
    if not part or any(sample.state.door_open for sample in part):
        return False
    if sum(duties(part)) < _LAYERS_DUTY * len(part):
        return False
    courses = [
        (first, middle, last)
        for first, middle, last in zip(
            *(part[at].state.chamber_c for at in (0, len(part) // 2, -1)), strict=False
        )
        if first is not None and middle is not None and last is not None
    ]
    if len(courses) < 2:
        return False
    high, low = max(courses, key=itemgetter(2)), min(courses, key=itemgetter(2))
    apart_c = [above - below for above, below in zip(high, low, strict=True)]
    spread_c = scene.parameters.spread_c
    return bool(
        apart_c[2] - apart_c[0] > spread_c / 2.0
        and min(apart_c[1] - apart_c[0], apart_c[2] - apart_c[1]) > spread_c / 8.0
        and -spread_c < low[2] - low[0] < _FLAT_C
        and high[2] - high[0] > -_FLAT_C
    )


def cooling_without_fan(scene: Scene) -> Verdict | None:
    """B-19: the fan stays on until the chamber is cool."""
    newest, figures = scene.newest, scene.parameters
    if newest is None or not figures.has_fan or (newest.hottest_c or 0.0) < hard.COOL_C:
        return None
    if scene.window.since(lambda s: not s.state.fan) < _COOLING_FAN_S:
        return None
    return Verdict(
        rule="B-19", level=Level.NOTICE, what="It cools without its fan: leave the door shut, wait."
    )


def late(scene: Scene) -> Verdict | None:
    """R19: this program was late, so what it should have seen it has not; a clock step is only marked."""
    periods = scene.late_s / scene.parameters.loop_s
    if scene.is_running and periods > _LATE_HOLD:
        level = Level.TRIP if periods > _LATE_TRIP else Level.HOLD
        what = f"This program did not look at the oven for {scene.late_s:.0f} s."
        return Verdict(rule="R19", level=level, what=what)
    if scene.clock_step_s:
        what = f"The wall clock moved by {scene.clock_step_s:+.0f} s; the cycle goes by its own time."
        return Verdict(rule="R19", level=Level.NOTICE, what=what)
    return None


def heats_without_permit(scene: Scene) -> Verdict | None:
    """R20: the lease has run out, or there never was one, and the heater is on."""
    newest = scene.newest
    if newest is None:
        return None
    if scene.window.since(lambda s: s.state.heater > 0.0 and s.state.permit is None) > 0.0:
        what = "It heats without a permit: its controller does not keep to its lease. Pull the plug."
        return Verdict(rule="R20", level=Level.TRIP, what=what)
    permit = newest.state.permit
    if permit is not None and permit.left_s > hard.MAX_LEASE_S:
        what = "It counts its lease wrongly: more is left than was ever given."
        return Verdict(rule="R20", level=Level.TRIP, what=what)
    return None


def door_open(scene: Scene) -> Verdict | None:
    """B-04: an open door holds the cycle."""
    newest = scene.newest
    if (newest is not None and newest.state.door_open) or (scene.site and scene.site.door_open):
        return Verdict(rule="B-04", level=Level.HOLD, what="The door is open.")
    if newest is None or newest.state.state is not OvenPhase.HOLD:
        return None
    # One that has lost its permit to a door that is shut again says "hold" until it is given another: that is
    # counted once, while it is heated, and must not keep back the permit it waits for.
    is_waiting = newest.state.permit is None and scene.phase not in (OvenPhase.HEATING, OvenPhase.DRYING)
    return None if is_waiting else Verdict(rule="B-04", level=Level.HOLD, what="The oven's controller holds.")


def cutout_open(scene: Scene) -> Verdict | None:
    """The hardware limiter has cut the heat: whatever the sensors say, it was too hot."""
    newest = scene.newest
    if newest is None or newest.state.cutout_ok:
        return None
    return Verdict(rule="CUTOUT", level=Level.TRIP, what="The oven's thermal cut-out has opened.")


def detector_alarm(scene: Scene) -> Verdict | None:
    """B-44: smoke or heat in the room trips every oven in it."""
    detector = scene.site.detector if scene.site else None
    if detector is None or not detector.is_alarming:
        return None
    what = "The smoke or heat detector of the room alarms. Look, and call for help if there is fire."
    return Verdict(rule="B-44", level=Level.TRIP, what=what)


def store_gone(scene: Scene) -> Verdict | None:
    """B-26: no book, no heat."""
    if scene.site is None or scene.site.is_storage_writable:
        return None
    return Verdict(
        rule="B-26", level=Level.STOP, what="Nothing can be recorded any more, so nothing is heated."
    )


def second_owner(scene: Scene) -> Verdict | None:
    """H39: the oven lives under a permit that is not ours: two programs fight over it."""
    newest, cycle = scene.newest, scene.cycle
    permit = newest.state.permit if newest else None
    owned = scene.site is None or scene.site.is_sole_owner
    if owned and (permit is None or cycle is None or permit.cycle == cycle.id):
        return None
    return Verdict(rule="H39", level=Level.STOP, what="Another program gives permits to this oven.")


def load_too_weak(scene: Scene) -> Verdict | None:
    """B-14: something was put in that does not stand the cycle. It ends; it is not quietly turned down."""
    cycle, site = scene.cycle, scene.site
    if cycle is None or site is None or not site.load:
        return None
    bound = allowed(site.load, scene.parameters)
    if cycle.setpoint_c <= bound.setpoint_c:
        return None
    what = f"{bound.limited_by} is inside and allows {bound.setpoint_c:g} °C at most."
    return Verdict(rule="B-14", level=Level.STOP, what=what)


def relay_unfit(scene: Scene) -> Verdict | None:
    """B-24: a relay that cannot count down by itself is not switched on, nor kept on."""
    if scene.parameters.actuator is not Actuator.RELAY:
        return None
    relay = scene.site.relay if scene.site else None
    stays_off = relay is not None and relay.stays_off_after_power_loss
    # B-20: not verified is enough only while somebody is there.
    is_attended = scene.cycle is None or not scene.cycle.is_unattended
    if stays_off is None and is_attended:
        stays_off = True
    if relay is not None and relay.counts_down and stays_off:
        return None
    return Verdict(rule="B-24", level=Level.STOP, what="The relay cannot be trusted to switch off by itself.")
