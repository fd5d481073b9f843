"""Which figures an oven's rules and plans go by: the inventory's, and what its commissioning runs told."""

import json
import logging
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace

from monitor.model.inventory import Oven
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.oven.fitness import Learned, with_learned
from monitor.oven.parameters import OvenParameters, parameters_of

log = logging.getLogger(__name__)

YEAR_S = 365 * 86_400.0
Facts = Mapping[tuple[str, FactKind], OvenFact]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is known of an oven from its runs."""

    measured: Learned | None  # by the newest run without problems
    accepted: Learned | None  # by a person; it counts instead of the inventory's overshoot
    accepted_fact: OvenFact | None
    in_force: Learned | None


def mark_of(entry: Oven) -> str:
    """What a run holds for: another heater, volume, fan or highest temperature is another oven."""
    return f"{entry.heater_w}/{entry.volume_l}/{entry.fan}/{entry.max_c}"


def told_of(entry: Oven, facts: Facts) -> Told:
    """Until a person accepts a run, the larger overshoot counts, of the inventory and of the newest run."""
    accepted_fact, measured_fact = (
        facts.get((entry.key, FactKind.LEARNED)),
        facts.get((entry.key, FactKind.MEASURED)),
    )
    accepted, measured = _read(accepted_fact), _read(measured_fact)
    base = accepted if accepted is not None and accepted.oven == mark_of(entry) else None
    in_force = base
    is_newer = (
        measured is not None
        and measured_fact is not None
        and (base is None or accepted_fact is None or measured_fact.at_s > accepted_fact.at_s)
    )
    if measured is not None and is_newer and measured.oven == mark_of(entry):
        least_c = entry.overshoot_c if base is None else base.overshoot_c
        start = Learned(run=measured.run, overshoot_c=least_c, oven=measured.oven) if base is None else base
        in_force = replace(
            start,
            overshoot_c=max(least_c, measured.overshoot_c),
            swing_c=max(start.swing_c, measured.swing_c),
            unfit=measured.unfit,
        )
    return Told(
        measured=measured,
        accepted=accepted,
        accepted_fact=accepted_fact if accepted is not None else None,
        in_force=in_force,
    )


def parameters_for(entry: Oven, facts: Facts, lease_s: float = 30.0) -> OvenParameters:
    """The figures of the rules: the start values, the inventory's, and what was learned over both."""
    return with_learned(parameters_of(entry, lease_s), told_of(entry, facts).in_force)


def as_learned(entry: Oven, facts: Facts) -> Oven:
    """The inventory's entry with the overshoot that counts, so that a plan asks what a start is granted."""
    known = told_of(entry, facts).in_force
    return entry if known is None else replace(entry, overshoot_c=known.overshoot_c)


def due(entry: Oven, told: Told, now_s: float) -> str:
    """Why a run should be done, again or at last; empty = none is due."""
    known = told.accepted
    if known is None or told.accepted_fact is None:
        return "No commissioning run of this oven was accepted yet."
    if known.oven != mark_of(entry):
        return "Heater, volume, fan or highest temperature have changed since its run: do it again."
    if not 0.0 <= now_s - told.accepted_fact.at_s <= YEAR_S:
        return "Its commissioning run is more than a year old: do it again."
    return ""


def to_text(known: Learned) -> str:
    return json.dumps(asdict(known), separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _read(fact: OvenFact | None) -> Learned | None:
    if fact is None or not fact.value:
        return None
    try:
        return Learned(**json.loads(fact.value))
    except (TypeError, ValueError):
        log.error("what was learned of an oven cannot be read oven=%s", fact.oven)
        return None
