"""What must not go into an oven, or not together, and why (P09)."""

from collections.abc import Sequence

from monitor.estimate.plan_course import LoadSpool
from monitor.estimate.plan_limits import guard_c, least, least_useful_c, oven_limits, spool_limits
from monitor.estimate.plan_outcome import Leads, Outcome, outcome_at
from monitor.estimate.plan_words import LONGEST_CYCLE_H, useless_words
from monitor.estimate.spool_track import means
from monitor.model.inventory import Oven
from monitor.model.plan import Goal, LimitedBy, Refusal, Refused, RoomAir

_WARMER_C = 2.0  # alone it would be allowed at least so much more


def refusal_at_sight(
    load: Sequence[LoadSpool], oven: Oven, room: RoomAir, temperature_c: float, limited: LimitedBy
) -> Refused | None:
    """Why this load gets no plan at all, whatever its course would be; None = it may."""
    if oven.spools_max is not None and len(load) > oven.spools_max:
        return _refused(
            "Too many spools",
            f"{oven.name} takes {oven.spools_max} at once, not {len(load)}: split the load.",
        )
    if oven.vent_m3_h == 0.0:
        return _refused(
            "A closed chamber does not dry", "The water that is given off has to leave: open the vent."
        )
    for each in load:
        if each.spoiled is not None or _is_ruined(each):
            why = each.spoiled or "it holds so much water that its windings grow together"
            return _refused(
                "Beyond saving",
                f"{each.body.spool.name} is not worth drying: {why}; drying does not undo that.",
            )
    guard = guard_c(oven)
    if temperature_c < least_useful_c(room.temperature_c):
        detail = useless_words(limited, guard, temperature_c, room.temperature_c)
        return _refused("Nothing useful is possible in this oven", detail, limited)
    return None


def wetting(each: LoadSpool, outcome: Outcome, number: int, limited: LimitedBy) -> Refused:
    """P35: the air in there holds more water than the spool does."""
    room, name = outcome.chamber.room, each.body.spool.name
    floor = 100.0 * float(outcome.floors[number, 0])
    now = 100.0 * float(outcome.course.judged[0, number, 0])
    return _refused(
        "Drying here and now would gain nothing",
        f"{name} holds {now:.2g} %, and room air of {room.humidity_pct:.0f} %RH at {room.temperature_c:.0f} "
        f"°C, "
        f"heated to {outcome.temperature_c:g} °C, leaves {floor:.2g} % in it: it would stay as it is or take "
        f"up "
        "water. Use dry desiccant in a closed chamber, or wait for drier air.",
        limited,
    )


def refusal_of_company(
    load: Sequence[LoadSpool], oven: Oven, goal: Goal, together: Outcome, limited: LimitedBy
) -> Refused | None:
    """Who would be held back by the others' limit, or wetted by their water; None = they may go together."""
    room, temperature_c = together.chamber.room, together.temperature_c
    for number, each in enumerate(load if len(load) > 1 else ()):
        name = each.body.spool.name
        aim = together.aims[number]
        if aim.leads is Leads.DRY_ALREADY:
            if (together.course.judged[:, number, 0] > aim.target).any():
                return _refused(
                    "These must not go together",
                    f"{name} is dry already; what the others give off would take it over its target. "
                    "Leave it out.",
                    limited,
                )
            continue
        if aim.leads is Leads.TARGET and together.hours[number, 0] <= LONGEST_CYCLE_H:
            continue
        alone_c = _alone_c(each, oven)
        if alone_c < temperature_c + _WARMER_C:
            continue
        alone = outcome_at([each], oven, room, goal, alone_c, LONGEST_CYCLE_H)
        if alone.reaches():
            return _refused(
                "These must not go together",
                f"{limited.item} stands {limited.limit_c:g} °C, so that together they get {temperature_c:g} "
                f"°C: "
                f"at that {name} does not get to {100.0 * aim.target:.2g} % within {LONGEST_CYCLE_H:g} h. "
                f"Alone, at {alone_c:g} °C, it takes about {alone.hours[0, 0]:.0f} h.",
                limited,
            )
    return None


def _alone_c(each: LoadSpool, oven: Oven) -> float:
    body = each.body
    limits = [*spool_limits(body.spool.name, body.material, body.reel), *oven_limits(oven)]
    return min(least(limits).limit_c - guard_c(oven), body.material.dry_c)


def _is_ruined(each: LoadSpool) -> bool:
    ruined = each.body.material.ruined_content
    return ruined is not None and means(each.body, each.belief)[0] > ruined


def _refused(title: str, detail: str, limited: LimitedBy | None = None) -> Refused:
    return Refused(
        refused=Refusal(
            title=title,
            detail=detail,
            limiting_item=None if limited is None else limited.item,
            limit_c=None if limited is None else limited.limit_c,
        )
    )
