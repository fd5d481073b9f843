"""Why a box is as it is: changes dated in its half-day history, and conditions read from the belief."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from monitor.estimate.box_belief import LEAK, LUMPS, OFFSET, PACE, SKIN, BoxBelief, square
from monitor.estimate.box_changes import Change, changes
from monitor.estimate.box_forecast import Forecast, forecast
from monitor.estimate.box_model import LUMP_SHARES, BoxModel
from monitor.model.catalogue import KEPT_HUMIDITY

DAY_S = 86_400.0
REPORT_AT = 0.5  # what is less likely than not is no finding
_LEAKY_1_H = 0.15


class Cause(StrEnum):
    SATURATED = "desiccant_saturated"
    LEAK = "leak"
    WET_CONTENTS = "wet_contents"
    SENSOR_OFFSET = "sensor_offset"
    CHARGE_TOO_SMALL = "charge_too_small"
    LID_OPEN = "lid_open"


_CAUSED = {
    Change.LEAK: Cause.LEAK,
    Change.CHARGE: Cause.CHARGE_TOO_SMALL,
    Change.WET: Cause.WET_CONTENTS,
    Change.SENSOR: Cause.SENSOR_OFFSET,
}
_ACTS = {
    Cause.SATURATED: "Replace the desiccant or dry it in the oven.",
    Cause.LEAK: "Check the seal, the clips and any cable or tube hole.",
    Cause.WET_CONTENTS: "Dry the spool in the oven, or take cardboard out of the box.",
    Cause.SENSOR_OFFSET: "Check the sensor over a saturated salt, or swap it with another box's.",
    Cause.CHARGE_TOO_SMALL: "Put in more desiccant, and enter how much is inside.",
    Cause.LID_OPEN: "Shut the lid.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    cause: Cause
    probability: float
    evidence: str
    act: str


def diagnose(
    model: BoxModel, belief: BoxBelief, ahead: Forecast | None = None, *, least: float = REPORT_AT
) -> tuple[Finding, ...]:
    """Causes with probabilities of at least `least`, the likeliest first; empty while nothing is wrong.

    `ahead` is the forecast of this belief, where it was worked out before.
    """
    if belief.lid.phase == "open" and belief.lid.is_told:
        hours = (belief.seen_s - belief.lid.since_s) / 3600.0
        return (_finding(Cause.LID_OPEN, 0.97, f"The air has been like the room's for {hours:.0f} h."),)
    changes = _changes(model, belief)
    calm = 1.0 - sum(finding.probability for finding in changes)
    merged: dict[Cause, Finding] = {finding.cause: finding for finding in changes}
    for finding in _conditions(model, belief, ahead or forecast(model, belief)):
        change = merged.get(finding.cause)
        probability = min(finding.probability * calm + (change.probability if change else 0.0), 0.99)
        evidence = (
            change.evidence if change and change.probability > finding.probability else finding.evidence
        )
        merged[finding.cause] = _finding(finding.cause, probability, evidence)
    likely = [_without_oven(model, item) for item in merged.values() if item.probability >= least]
    # A full desiccant is what most causes end in: a cause that is likelier than not goes before it.
    has_cause = any(item.probability >= 0.5 for item in likely if item.cause is not Cause.SATURATED)
    return tuple(
        sorted(likely, key=lambda item: (has_cause and item.cause is Cause.SATURATED, -item.probability))
    )


def _finding(cause: Cause, probability: float, evidence: str) -> Finding:
    return Finding(cause=cause, probability=probability, evidence=evidence, act=_ACTS[cause])


def _without_oven(model: BoxModel, finding: Finding) -> Finding:
    """Some kinds must not be heated: none of them is sent to an oven."""
    if finding.cause is not Cause.SATURATED or (model.kind.regenerate_c and not model.kind.oven_refusal):
        return finding
    return replace(finding, act="Replace the desiccant; this kind must not go into an oven.")


def _conditions(model: BoxModel, belief: BoxBelief, ahead: Forecast) -> list[Finding]:
    """What holds now, whenever it began."""
    state, spread = belief.state, np.sqrt(square(belief.covariance, len(belief.state)).diagonal())
    leaky = math.log(_LEAKY_1_H / 3600.0 * model.volume_m3)
    changes = ahead.air_changes_per_h.p50
    leak_kg = max(ahead.leak_kg_per_day.p50, 0.0)
    given_kg, wet_kg = _given_off_kg_per_day(model, belief)
    fills = ahead.fill_kg_30_days
    return [
        _finding(
            Cause.SATURATED,
            ahead.spent_probability,
            f"The bed settles at {100 * ahead.settled_humidity.p50:.0f} %RH and "
            f"{100 * model.limit_humidity:.0f} %RH is the limit.",
        ),
        _finding(
            Cause.LEAK,
            _above(state[LEAK], spread[LEAK], leaky),
            f"The box exchanges its air {24 * changes:.1f} times a day.",
        ),
        _finding(
            Cause.WET_CONTENTS,
            _above(wet_kg - 2.0 * leak_kg, 0.3 * wet_kg + 0.1e-3, 0.2e-3),
            f"The contents give off about {1000 * given_kg:.1f} g a day, the leak {1000 * leak_kg:.1f} g.",
        ),
        _finding(
            Cause.SENSOR_OFFSET,
            _above(abs(state[OFFSET]), spread[OFFSET], 0.02),
            f"The sensor reads about {100 * state[OFFSET]:+.0f} %RH off what the water balance allows.",
        ),
        _finding(
            Cause.CHARGE_TOO_SMALL,
            _above(fills.p50, (fills.p90 - fills.p10) / 2.56 + 1e-3, model.dry_kg),
            f"30 days need about {1000 * fills.p50:.0f} g; {1000 * model.dry_kg:.0f} g are inside.",
        ),
    ]


def _above(value: float, spread: float, limit: float) -> float:
    return 0.5 * math.erfc((limit - value) / (math.sqrt(2.0) * max(spread, 1e-12)))


def _given_off_kg_per_day(model: BoxModel, belief: BoxBelief) -> tuple[float, float]:
    """What the contents give off to the air as it is, and to air as humid as a box may be.

    Only the second tells of wet contents: over a fresh charge dry ones give off a little, too, for some days.
    """
    if not model.tables.spools:
        return 0.0, 0.0
    # For a day the fast lumps give back what the last opening let in: then the slow ones alone tell.
    is_settled = belief.seen_s >= belief.settle_until_s
    told = slice(0, None, 1 if is_settled else len(LUMP_SHARES))
    state = np.array(belief.state)[:, None]
    over_skin = model.tables.humidity(state[SKIN], belief.usual_temperature_c)
    lump_s = model.tables.lump_s * np.exp(state[PACE])
    allowed = np.maximum(over_skin, max(model.limit_humidity, KEPT_HUMIDITY))
    given, wet = (
        model.tables.lump_kg * (state[LUMPS:] - model.tables.contents(air)) / lump_s
        for air in (over_skin, allowed)
    )
    return float(given[told].sum()) * DAY_S, float(wet[told].sum()) * DAY_S


def _changes(model: BoxModel, belief: BoxBelief) -> list[Finding]:
    found = changes(model, belief)
    return [
        _finding(cause, found[kind].probability, _words(cause, found[kind].days_ago))
        for kind, cause in _CAUSED.items()
        if kind in found
    ]


def _words(cause: Cause, days_ago: float) -> str:
    what = {
        Cause.LEAK: "Water has come in several times faster, in step with the room's humidity,",
        Cause.WET_CONTENTS: "Something began to give off water, ever more slowly,",
        Cause.SENSOR_OFFSET: "The reading stepped and stayed, without water to explain it,",
        Cause.CHARGE_TOO_SMALL: "The same water has moved the humidity about twice as far",
    }[cause]
    return f"{what} since about {days_ago:.0f} days ago."
