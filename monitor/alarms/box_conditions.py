"""What may be wrong with a box, from its answer: condition, deadline, act. Delays are the alarms' own."""

from collections.abc import Mapping

from monitor.alarms import wording
from monitor.model.answers import BoxAnswer, Diagnosis, Freshness, SpoolAnswer, seconds_of
from monitor.model.catalogue import KEPT_HUMIDITY
from monitor.model.condition import Condition

# Whoever buys desiccant or waits for a free oven needs some days.
SOON_DAYS = 7.0
# A box whose desiccant is changed once a month is no burden: its charge is not too small.
ENOUGH_DAYS = 30.0
TYPES = (
    "humidity_high",
    "desiccant_spent",
    "desiccant_soon",
    "lid_open",
    "box_leaky",
    "wet_contents",
    "sensor_implausible",
    "charge_too_small",
    "contents_unannounced",
)
# The driest that a charge keeps a box for weeks: baked silica gel begins at 2 to 3 %RH, and takes up 0.4 % of
# its mass until 3.4 %RH (the limit of PLA) but 4 % until this. A limit below it is a wish that no change of
# desiccant meets; the list of needs tells of it, an alarm would only stand.
KEPT_PCT = 100.0 * KEPT_HUMIDITY
# A diagnosis is told as a condition when it is clearly likelier than not.
LIKELY = 0.7
OLD = (Freshness.STALE, Freshness.LOST, Freshness.NEVER)
_DAY_S = 86_400.0
_BY_CAUSE = {
    "leak": "box_leaky",
    "wet_contents": "wet_contents",
    "sensor_offset": "sensor_implausible",
    "charge_too_small": "charge_too_small",
}


def box_conditions(box: BoxAnswer, spools: Mapping[str, SpoolAnswer], now_s: float) -> tuple[Condition, ...]:
    """Every condition of one box; where nothing can be told `holds` is None.

    Args:
        box: As answered.
        spools: Answers of all spools, by key.
        now_s: Unix seconds.
    """
    deadline_s = _first_over(box, spools)
    return (
        _humidity(box, deadline_s),
        _spent(box, deadline_s),
        desiccant_soon(box, now_s),
        _lid(box, deadline_s, now_s),
        *_diagnosed(box, deadline_s),
        _unannounced(box),
    )


def _first_over(box: BoxAnswer, spools: Mapping[str, SpoolAnswer]) -> float | None:
    """When the first of what is inside may be over its limit."""
    times = [
        seconds_of(answer.use_before)
        for key in box.spools
        if (answer := spools.get(key)) is not None and answer.use_before is not None
    ]
    return min(times, default=None)


def kept_pct(limit_pct: float) -> float:
    """The humidity that a box is held to by its alarms [%RH]: never drier than desiccant keeps it."""
    return max(limit_pct, KEPT_PCT)


def _humidity(box: BoxAnswer, deadline_s: float | None) -> Condition:
    humidity_pct, limit_pct = box.air.humidity_pct, box.limit_humidity_pct
    if box.air.freshness in OLD or humidity_pct is None or limit_pct is None:
        return Condition(type="humidity_high", place=box.key, holds=None)
    what, act = wording.too_humid(box.name, humidity_pct, limit_pct, "What is")
    return Condition(
        type="humidity_high",
        place=box.key,
        holds=humidity_pct > kept_pct(limit_pct) + wording.SENSOR_ERROR_PCT,
        value=humidity_pct,
        limit=kept_pct(limit_pct) + wording.SENSOR_ERROR_PCT,
        deadline_s=deadline_s,
        what=what,
        why="What is inside takes up water until it no longer prints well.",
        act=act,
    )


def _spent(box: BoxAnswer, deadline_s: float | None) -> Condition:
    charge = box.desiccant
    if charge is None or charge.spent is None:
        return Condition(type="desiccant_spent", place=box.key, holds=None)
    settled_pct = None if charge.settled_pct is None else charge.settled_pct.p50
    # Told early rather than late, as the estimate does for limits that can be kept.
    early_pct = None if charge.settled_pct is None else charge.settled_pct.p90
    is_wish = _is_wish(box)
    holds = early_pct is not None and early_pct > KEPT_PCT if is_wish else charge.spent
    what, why, act = wording.spent(box.name, settled_pct, box.limit_humidity_pct or 0.0)
    return Condition(
        type="desiccant_spent",
        place=box.key,
        holds=holds,
        value=early_pct if is_wish else settled_pct,
        limit=kept_pct(box.limit_humidity_pct or 0.0),
        deadline_s=deadline_s,
        what=what,
        why=why,
        act=act,
    )


def desiccant_soon(box: BoxAnswer, now_s: float) -> Condition:
    """Whether its desiccant will be used up within a week."""
    charge = box.desiccant
    days = None if charge is None else charge.days_left
    if charge is None or charge.spent is None or days is None:
        return Condition(type="desiccant_soon", place=box.key, holds=None)
    if _is_wish(box):  # its days are those to a limit that it passes within days of any change
        return Condition(type="desiccant_soon", place=box.key, holds=False)
    if days.p10 is None or days.p50 is None or days.p90 is None:  # in no sight
        return Condition(type="desiccant_soon", place=box.key, holds=False)
    what, why, act = wording.spent_soon(box.name, days.p10, days.p90)
    return Condition(
        type="desiccant_soon",
        place=box.key,
        holds=not charge.spent and days.p50 <= SOON_DAYS,
        value=days.p50,
        limit=SOON_DAYS,
        deadline_s=now_s + _DAY_S * days.p10,
        what=what,
        why=why,
        act=act,
    )


def _lid(box: BoxAnswer, deadline_s: float | None, now_s: float) -> Condition:
    if box.estimate_at is None or box.air.freshness in OLD:
        return Condition(type="lid_open", place=box.key, holds=None)
    since_s = None if box.lid_open_since is None else seconds_of(box.lid_open_since)
    what, why, act = wording.lid_open(box.name)
    return Condition(
        type="lid_open",
        place=box.key,
        holds=since_s is not None,
        value=None if since_s is None else (now_s - since_s) / 60.0,
        deadline_s=deadline_s,
        what=what,
        why=why,
        act=act,
    )


def _diagnosed(box: BoxAnswer, deadline_s: float | None) -> list[Condition]:
    """The likeliest cause holds; others wait until it is mended, since one often makes the other."""
    first = next((item for item in box.diagnosis if item.cause in _BY_CAUSE), None)
    found = []
    for cause, kind in _BY_CAUSE.items():
        if box.estimate_at is None:
            found.append(Condition(type=kind, place=box.key, holds=None))
            continue
        is_it = first is not None and first.cause == cause and first.probability >= LIKELY
        # Of a wish no charge is large enough; and one that keeps its box for a month is.
        if kind == "charge_too_small" and (_is_wish(box) or _keeps_on(box)):
            is_it = False
        found.append(_of_cause(box, kind, first if is_it else None, deadline_s))
    return found


def _keeps_on(box: BoxAnswer) -> bool:
    days = None if box.desiccant is None else box.desiccant.days_left
    return days is not None and (days.p50 is None or days.p50 >= ENOUGH_DAYS)


def _is_wish(box: BoxAnswer) -> bool:
    return box.limit_humidity_pct is not None and box.limit_humidity_pct < KEPT_PCT


def _of_cause(box: BoxAnswer, kind: str, item: Diagnosis | None, deadline_s: float | None) -> Condition:
    if item is None:
        return Condition(type=kind, place=box.key, holds=False)
    what, why = wording.diagnosed(box.name, item.cause, item.evidence)
    return Condition(
        type=kind,
        place=box.key,
        holds=True,
        value=item.probability,
        limit=LIKELY,
        deadline_s=deadline_s,
        what=what,
        why=why,
        act=item.advice,
    )


def _unannounced(box: BoxAnswer) -> Condition:
    if box.estimate_at is None:
        return Condition(type="contents_unannounced", place=box.key, holds=None)
    first = box.questions[0] if box.questions else None
    return Condition(
        type="contents_unannounced",
        place=box.key,
        holds=first is not None,
        what="" if first is None else f"{box.name}: {first.words}",
        why="The estimate goes on from what was entered; a change that it does not know makes it wrong.",
        act="Enter what was done, or say that nothing was.",
    )
