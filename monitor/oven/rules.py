"""The table of all rules: what is judged, and while what."""

from collections.abc import Callable
from dataclasses import dataclass

from monitor.model.oven import OvenPhase
from monitor.oven import rules_course, rules_heat, rules_plant, rules_sensors
from monitor.oven.verdict import HEATED, RUNNING, Level, Scene, Verdict

_Judge = Callable[[Scene], Verdict | None]
_ALWAYS = frozenset(OvenPhase)
_WARM = RUNNING | {OvenPhase.COOLING}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One row: `judge` is pure; None or a verdict below NOTICE means that all is well."""

    id: str
    detects: str
    judge: _Judge
    phases: frozenset[OvenPhase]


def _rule(id_: str, detects: str, judge: _Judge, phases: frozenset[OvenPhase]) -> Rule:
    return Rule(id=id_, detects=detects, judge=judge, phases=phases)


# Those that can show heat which nobody commands hold always; those that judge a heated chamber only
# while it may be heated; in a hold the sensors must still be sane, or it would not clear by itself.
RULES: tuple[Rule, ...] = (
    _rule("R1", "sensor open, short or out of its box", rules_sensors.implausible, RUNNING),
    _rule("R2", "sensor stale", rules_sensors.stale, RUNNING),
    _rule("R3", "sensor stuck", rules_sensors.stuck, HEATED),
    _rule("R4", "sensor out of place", rules_sensors.out_of_place, HEATED),
    _rule("R5", "heater on, no rise", rules_heat.no_rise_from_cold, HEATED),
    _rule("R6", "rise with the heater off", rules_heat.switch_stuck, _ALWAYS),
    _rule("R7", "too fast", rules_heat.too_fast, HEATED),
    _rule("R8", "over the load's limit", rules_heat.over_load_limit, _WARM),
    _rule("R9", "over the absolute limit", rules_heat.over_hard_limit, _ALWAYS),
    _rule("R10", "sensors disagree", rules_sensors.disagree, RUNNING),
    _rule("R11", "set-point not reached", rules_course.not_reaching, HEATED),
    _rule("R12", "sagging", rules_course.sagging, HEATED),
    _rule("R13", "overshoot", rules_course.overshooting, HEATED),
    _rule("R14", "fan lost", rules_plant.fan_lost, HEATED),
    _rule("R15", "on for too long", rules_course.too_long, RUNNING),
    _rule("R16", "too much energy", rules_course.too_much_energy, RUNNING),
    _rule("R17", "switch chatter", rules_course.chattering, HEATED),
    _rule("R18", "dew point nonsense", rules_sensors.odd_dew_point, _WARM),
    _rule("R19", "clock step, late loop", rules_plant.late, _ALWAYS),
    _rule("R20", "heat without a lease", rules_plant.heats_without_permit, _ALWAYS),
    _rule("B-04", "door open", rules_plant.door_open, RUNNING),
    _rule("B-14", "load that does not stand it", rules_plant.load_too_weak, RUNNING),
    _rule("B-19", "cooling without fan", rules_plant.cooling_without_fan, frozenset({OvenPhase.COOLING})),
    _rule("B-24", "relay without countdown", rules_plant.relay_unfit, RUNNING),
    _rule("B-26", "no place to record", rules_plant.store_gone, RUNNING),
    _rule("B-44", "smoke or heat detector", rules_plant.detector_alarm, _ALWAYS),
    _rule("CUTOUT", "thermal cut-out open", rules_plant.cutout_open, _WARM),
    _rule("H39", "another program's permit", rules_plant.second_owner, RUNNING),
)


def judge(scene: Scene) -> tuple[Verdict, ...]:
    """What the rules of this phase say, worst first and in the table's order; nothing where all is well."""
    said = [rule.judge(scene) for rule in RULES if scene.phase in rule.phases]
    return tuple(sorted((v for v in said if v is not None and v.level > Level.FINE), key=lambda v: -v.level))
