"""May it be left alone (P31), the checklist, the proof test in short, a reset, smoke and smell."""

from dataclasses import dataclass

from monitor.model.oven_look import OvenLook
from monitor.oven import hard, proof
from web.ovens.words import lasting, unattended_missing
from web.present import Presenter

_DAY = "%d %b %Y"
# B-50, from firmware_notes/oven-proof-test.md.
PROOF_RULE = (
    "Never bridge a safety part to make a step pass. What fails is replaced, and all steps are done again."
)
PROOF_STEPS = (
    (
        "Before",
        "Two people, daylight, an empty chamber, a thermometer beside the cut-out's bulb, and "
        "something that shows whether the element has current. Mains off whenever a cover is open.",
    ),
    (
        "Cut-out",
        "The step that counts. Supervised and empty, a licensed person heats the element through the "
        "cut-out alone, slowly. Current vanishes within 5 °C of its rating and at least 10 °C above "
        "the highest set-point; it stays off when cooled and comes back only by its own button.",
    ),
    (
        "Sensors",
        "While heating at 50 °C pull sensor 1, later sensor 2: no current within 4 s, a trip within 10 s.",
    ),
    ("Fallen out", "Lay one probe into the room: no current within 30 s, a trip within 5 min."),
    (
        "Lease",
        "Stop the monitor, pull the network, stop the broker: current gone within one lease, and it "
        "stays gone.",
    ),
    ("Power cut", "Pull the plug while heating, wait 10 s, put it back: it stays off and is not armed."),
    ("Stop", "By phone within 3 s, by the oven's button and by the main switch at once."),
    (
        "Door and fan",
        "Door open: no current at once. Fan stopped: no current within 4 s, a trip within 15 s.",
    ),
    (
        "Each switch",
        "A licensed person bridges one switch as a weld would: a trip before any heat; then the "
        "other. Take both bridges out, look twice.",
    ),
    ("Arming", "A start without the button, after 31 min, after opening the door: refused three times."),
    (
        "Temperatures",
        "Hold 50 °C and the highest set-point for 30 min: sensors within their error, overshoot below"
        " the guard, handle under 55 °C.",
    ),
)
# B-30: what may be ticked as looked at; the words go into the record.
RESET_CHECKS = {
    "heater_cold": "the heater is off and the chamber is cold",
    "inside": "nothing inside has melted, burnt or come near the heater",
    "sensors": "the sensors sit where they belong, leads whole",
    "fan": "the fan turns freely",
    "door": "the door shuts",
    "wiring": "plug, cable and switch show no heat marks",
}
SMELL_CHECKS = (
    (
        "Smoke or flame: leave the room, shut its door, call the fire brigade. Do not open the oven: "
        "air feeds a fire."
    ),
    "No flame to be seen: pull the oven's plug if you reach it without breathing the fumes.",
    "Open the windows from where the air is good, and leave until the smell is gone.",
    "Leave the oven shut until it is below 45 °C.",
    (
        "Then look: windings stuck or discoloured, something against the heater, a fan that stands "
        "still, plastic of the reel gone soft."
    ),
    (
        "Do not start again before you know what it was. Headache, cough or burning eyes that stay: "
        "see a doctor and name the material."
    ),
)
NO_ALARM = "This program is not a fire alarm: a smoke detector in the room is."


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    """P31: yes or no, with every reason."""

    is_allowed: bool
    answer: str
    reasons: tuple[str, ...]
    checklist: str
    cutout: str
    proof: str


def alone(look: OvenLook, present: Presenter, now_s: float) -> Alone:
    """May it be left alone, overnight as well?"""
    reasons = (*_just_now(look), *unattended_missing(look, now_s))
    answer = "Yes: everything that unattended use asks for is there."
    if reasons:
        answer = "No. Somebody stays with it for as long as it heats."
    return Alone(
        is_allowed=not reasons,
        answer=answer,
        reasons=reasons,
        checklist=_checklist(look, present),
        cutout=_cutout(look),
        proof=_proof(look, present),
    )


def _just_now(look: OvenLook) -> tuple[str, ...]:
    """What speaks against it for as long as it is so."""
    said = []
    if not look.is_fresh:
        said.append("It is not heard just now.")
    if look.stop_asked_s is not None:
        said.append("A stop was asked for, and its effect is not yet seen.")
    if look.cycle is not None and not look.cycle.is_unattended:
        said.append("What runs was started with somebody staying with it.")
    return tuple(said)


def _checklist(look: OvenLook, present: Presenter) -> str:
    if look.checklist_at_s is None:
        return "Never gone through."
    again = present.clock(look.checklist_at_s + hard.CHECKLIST_VALID_S, _DAY)
    done = present.clock(look.checklist_at_s, _DAY)
    return f"Gone through by {look.checklist_who} on {done}; again by {again}."


def _cutout(look: OvenLook) -> str:
    if look.is_cutout_confirmed:
        return "A thermal cut-out is confirmed."
    return "No cut-out confirmed: attended only."


def _proof(look: OvenLook, present: Presenter) -> str:
    due_s = proof.due_s(look.proof_tested_s)
    if look.proof_tested_s is None or due_s is None:
        return "Never proof-tested: attended only until it is."
    due = present.clock(due_s, _DAY)
    return f"Proof-tested on {present.clock(look.proof_tested_s, _DAY)}; due again by {due}."


def fired(look: OvenLook) -> tuple[tuple[str, str, str], ...]:
    """A-25: the rules in the order in which they fired; the first is the cause."""
    trip = look.trip
    if trip is None:
        return ()
    return tuple(
        ("first" if number == 0 else f"{lasting(each.after_ms / 1000.0)} later", each.rule, each.what)
        for number, each in enumerate(trip.fired)
    )


def reset_barriers(look: OvenLook) -> tuple[str, ...]:
    """B-30: what stands against a reset just now, so that nobody presses in vain."""
    said = []
    if look.trip is None:
        return ()
    if look.trip.is_safety and not (look.armed_s or 0.0) > 0.0:
        said.append(
            "This was a safety trip: it cannot be reset from afar. Somebody goes to the oven, looks, and "
            "presses its button; then it can be reset here."
        )
    if look.hottest_c is None or not look.is_fresh:
        said.append("How hot it is cannot be seen just now; below 45 °C it can be reset.")
    elif look.hottest_c >= hard.COOL_C:
        said.append(f"It is at {look.hottest_c:.0f} °C: wait until it is below {hard.COOL_C:g} °C.")
    if look.is_out_of_service:
        said.append("Three safety trips within 30 days: out of service until a proof test is recorded.")
    return tuple(said)
