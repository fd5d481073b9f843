"""Ovens in plain words: what one does, whether it is hot, what a stop has done, how a cycle ended."""

from monitor.model.cycle import EndedCycle, Ending
from monitor.model.oven_look import OvenLook
from monitor.oven import hard, proof

# B-51, word for word, wherever heat is started.
B51 = "Software here is class A; it lowers risk, the thermal cut-out is what makes it safe."
NO_CUTOUT = "No cut-out confirmed: attended only."
FOOD = "An oven used for plastics is never used for food again."  # B-42
PLUG_AFTER_S = 15.0  # the node's lease is longer, but a hand at the plug is surer than waiting for it
IS_ON = ("preheat_check", "heating", "drying", "hold")
_PHASES = {
    "idle": "Off.",
    "armed": "Off, and armed at the oven.",
    "preheat_check": "Checking itself before it heats.",
    "heating": "Heating up.",
    "drying": "Drying.",
    "cooling": "Cooling down, heat off.",
    "done": "Done.",
    "hold": "Holding: heat is off for now.",
    "tripped": "Locked after a fault.",
}
_ENDINGS = {
    Ending.TIME_UP: "ran its {whole}",
    Ending.DRY: "ended because it was dry, at {ran} of {whole}",
    Ending.STOPPED: "stopped at {ran} of {whole}",
    Ending.STOPPED_BY_RULE: "ended by a safety rule at {ran} of {whole}",
    Ending.LINK_LOST: "interrupted at {ran} of {whole}: the connection was lost",
    Ending.RESTARTED: "interrupted at {ran} of {whole}: something restarted, or the power was away",
    Ending.TRIPPED: "ended by a trip at {ran} of {whole}",
}


def lasting(seconds: float) -> str:
    """'2 h 10', '6 h', '12 min', '40 s'."""
    if seconds < 90:
        return f"{max(seconds, 0.0):.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d}" if rest else f"{hours} h"


def celsius(value: float | None) -> str:
    return "not known" if value is None else f"{value:.1f} °C"


def is_heating(look: OvenLook) -> bool:
    """Whether heat is on, may come on, or was asked to stop without effect: then stop is on every page."""
    is_fed = (look.heater or 0.0) > 0.0 or (look.power_w or 0.0) > 5.0 or (look.permit_left_s or 0.0) > 0.0
    return look.phase in IS_ON or is_fed or look.stop_asked_s is not None


def ends_s(look: OvenLook, now_s: float) -> float:
    """When what runs ends [Unix s]; now where nothing does."""
    return look.ends_at_s if look.ends_at_s is not None else now_s + (look.left_s or 0.0)


def short(look: OvenLook) -> str:
    """Whether the confirmed time will do, by the water (D-13); empty where it will, or that is not known."""
    if look.progress is None or (look.cycle is not None and look.cycle.dry_since_wall_s is not None):
        return ""
    return look.progress.short


def is_interrupted(look: OvenLook) -> bool:
    return look.ended is not None and look.ended.ending in (Ending.LINK_LOST, Ending.RESTARTED)


def headline(look: OvenLook) -> str:
    """What it does, in one sentence."""
    if look.trip is not None:
        return f"Locked after a fault: {look.trip.what.rstrip('.')}."
    if look.age_s is None:
        return "Never heard: what it does is not known."
    if not look.is_fresh:
        return f"Not heard for {lasting(look.age_s)}: what it does now is not known."
    if look.is_out_of_service:
        return "Out of service until it is proof-tested."
    said = _PHASES.get(look.phase, "In a state that is not known: treat it as hot.")
    if look.phase == "preheat_check" and look.cycle is not None and not look.cycle.is_acknowledged:
        return "Asked to start; not confirmed by the oven yet."
    if look.phase in ("heating", "drying") and look.cycle is not None:
        said = (
            f"{said.rstrip('.')}{' to' if look.phase == 'heating' else ' at'} {look.cycle.setpoint_c:g} °C."
        )
    return said


def hot_words(look: OvenLook) -> str:
    """B-45."""
    if look.is_hot is None or not look.is_fresh:
        return "May be hot"
    if look.is_hot:
        return "Hot: chamber and door burn"
    return "Warm" if (look.hottest_c or 0.0) >= hard.COOL_C else "Not hot"


def level(look: OvenLook) -> str:
    """What needs a person at once, soon, or not."""
    if look.trip is not None or (look.stop_asked_s is not None):
        return "now"
    if look.is_out_of_service or is_interrupted(look) or (look.cycle is not None and not look.is_fresh):
        return "check"
    return ""


def arming(look: OvenLook) -> str:
    """B-10 to B-12."""
    if look.armed_s is None:
        return "It has no arming input: attended start only, and the log says “not locally armed”."
    if look.armed_s <= 0.0:
        return "Not armed. Press the arm button at the oven; it lapses in 30 min, or when the door opens."
    return f"Armed at the oven: a start from here is possible for {lasting(look.armed_s)}."


def stop_effect(look: OvenLook, change_c: float | None) -> tuple[str, ...]:
    """B-17: what is seen of a stop, sentence by sentence; empty where none is on its way."""
    if look.stop_asked_s is None:
        return ()
    said = [
        "Stop asked.",
        "Its effect is not yet seen." if look.is_fresh else "Its effect is not yet seen: it is silent.",
    ]
    if look.heater is not None:
        power = "" if look.power_w is None else f", {look.power_w:.0f} W"
        said.append(f"Heater {100.0 * look.heater:.0f} %{power} when last heard.")
    said.append(temperature_course(look, change_c))
    if look.stop_asked_s >= PLUG_AFTER_S:
        said.append("Pull the plug now.")
    return tuple(sentence for sentence in said if sentence)


def temperature_course(look: OvenLook, change_c: float | None) -> str:
    """Whether it falls, as far as was watched."""
    if look.hottest_c is None:
        return ""
    if change_c is None:
        return f"{celsius(look.hottest_c)}."
    way = "steady"
    if abs(change_c) >= 0.1:
        way = f"{'falling' if change_c < 0.0 else 'rising'}, {abs(change_c):.1f} °C in the last minute"
    return f"{celsius(look.hottest_c)}, {way}."


def ended(cycle: EndedCycle) -> str:
    """B-21: "interrupted at 2 h 10 of 6 h"."""
    ran = "a time not known" if cycle.ran_s is None else lasting(cycle.ran_s)
    said = _ENDINGS[cycle.ending].format(ran=ran, whole=lasting(cycle.duration_s))
    return f"{said[0].upper()}{said[1:]}, at {cycle.setpoint_c:g} °C."


def can_resume(look: OvenLook, now_s: float) -> bool:
    """B-22: after a lost link, within five minutes, with nothing changed; the start itself checks again."""
    cycle = look.ended
    if cycle is None or cycle.ending is not Ending.LINK_LOST or cycle.ran_s is None or look.trip is not None:
        return False
    is_soon = 0.0 <= now_s - cycle.ended_wall_s <= hard.RESUME_WITHIN_S
    same = sorted(item.key for item in look.load) == sorted(cycle.load)
    return is_soon and same and not cycle.has_door_opened


def unattended_missing(look: OvenLook, now_s: float) -> tuple[str, ...]:
    """P31: what speaks against leaving it alone; the order itself is judged by the supervision."""
    said = []
    if look.armed_s is None:
        said.append("This oven has no button to arm it at.")
    if look.trip is not None or look.is_out_of_service:
        said.append("It is locked after a fault, or out of service.")
    if not look.is_cutout_confirmed:
        said.append(NO_CUTOUT)
    said += [f"Not ticked: {item.words}." for item in look.checklist if not item.is_ticked]
    if look.checklist_at_s is None or not look.checklist:
        said.append("The checklist has never been gone through.")
    elif not 0.0 <= now_s - look.checklist_at_s <= hard.CHECKLIST_VALID_S:
        said.append("The checklist is more than 90 days old.")
    if look.proof_tested_s is None:
        said.append("It was never proof-tested.")
    elif not proof.is_valid(look.proof_tested_s, now_s):
        said.append("The yearly proof test is due.")
    return tuple(said)
