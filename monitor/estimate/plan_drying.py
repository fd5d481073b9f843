"""The drying plan of a load of spools: how hot, how long, how far down, until when; or why not at all."""

import math
from collections.abc import Sequence

import numpy as np

from monitor.errors import FieldError
from monitor.estimate.ensemble import percent_spread, percentiles, three_digits
from monitor.estimate.plan_course import LONGEST_H, LoadSpool, chamber_of
from monitor.estimate.plan_energy import Energy, energy_of
from monitor.estimate.plan_hold import hold_after
from monitor.estimate.plan_limits import guard_c, hottest_c, least, oven_limits, spool_limits
from monitor.estimate.plan_mixed import refusal_at_sight, refusal_of_company, wetting
from monitor.estimate.plan_outcome import Aim, Leads, Outcome, aims_at, done_states, outcome_at, rewet_h
from monitor.estimate.plan_times import Timing, at_text, timing_of
from monitor.estimate.plan_words import (
    LONGEST_CYCLE_H,
    ageing_cautions,
    floor_cautions,
    load_cautions,
    safety_cautions,
    temperature_words,
)
from monitor.estimate.what_if_spread import low_and_high, percent, time_spread
from monitor.model.answers import Spread, unknown
from monitor.model.inventory import Oven
from monitor.model.plan import FallBack, Goal, LimitedBy, Plan, PlanPoint, Refused, RoomAir, SpoolPlan, When
from monitor.physics.constants import Array
from monitor.physics.spool_reading import wound_kg

_GENTLER_C = (10.0, 5.0)  # below the highest allowed: tried first when there is time
_LEAST_GENTLE_C = 40.0
_REEL_KG = 0.2


def plan_drying(
    load: Sequence[LoadSpool], oven: Oven, room: RoomAir, goal: Goal, when: When
) -> Plan | Refused:
    """The plan, or its refusal with what limits it; FieldError names a wish that is out of range."""
    outcome = hottest_outcome(load, oven, room, goal, when)
    if isinstance(outcome, Refused):
        return outcome
    gentler = _gentler(load, oven, room, goal, outcome)
    chosen = outcome
    if when.ready_by_s is not None:
        in_time = [each for each in gentler if timing_of(spread_of(each), when).is_in_time]
        chosen = in_time[0] if in_time else outcome
    others = [each for each in (*gentler, outcome) if each is not chosen]
    return _plan(load, oven, chosen, others, when)


def hottest_outcome(
    load: Sequence[LoadSpool], oven: Oven, room: RoomAir, goal: Goal, when: When
) -> Outcome | Refused:
    """What comes of it as hot as everything inside allows, which is the plan where nothing has to be ready
    by a time; refused and out of range as there."""
    _check(load, room, goal, when)
    limits = load_limits(load, oven)
    limited = least(limits)
    hottest = setpoint_c(load, limits, guard_c(oven))
    refused = refusal_at_sight(load, oven, room, hottest, limited)
    if refused is not None:
        return refused
    outcome = outcome_at(load, oven, room, goal, hottest)
    refused = refusal_of_company(load, oven, goal, outcome, limited)
    return refused or _refusal_of_wetting(load, outcome, limited) or outcome


def load_limits(load: Sequence[LoadSpool], oven: Oven) -> list[LimitedBy]:
    """Of everything that gets warm."""
    limits = []
    for each in load:
        limits += spool_limits(each.body.spool.name, each.body.material, each.body.reel)
    return limits + oven_limits(oven)


def setpoint_c(load: Sequence[LoadSpool], limits: Sequence[LimitedBy], guard: float) -> float:
    """As hot as every limit allows with its guard, but no hotter than the materials are usually dried "
    "[°C]."""
    return min(hottest_c(limits, guard), max(each.body.material.dry_c for each in load))


def spread_of(outcome: Outcome) -> Spread:
    """Hours until all of the load is done."""
    return _hours(outcome.load_hours())


def _hours(hours: Array) -> Spread:
    return time_spread(
        hours,
        never=f"it takes longer than {LONGEST_H:g} h",
        perhaps=f"null: it may take longer than {LONGEST_H:g} h, or not get there",
    )


def _check(load: Sequence[LoadSpool], room: RoomAir, goal: Goal, when: When) -> None:
    saturated = 100.0 * min(each.body.material.content_saturated for each in load)
    bounds = [
        ("room-rh", room.humidity_pct, 0.0, 100.0, "%RH"),
        ("room-temperature", room.temperature_c, 0.0, 45.0, "°C"),
        ("target-pct", saturated if goal.target_pct is None else goal.target_pct, 0.001, saturated, "%"),
        ("first-m", 1.0 if goal.first_m is None else goal.first_m, 1.0, 100_000.0, "m"),
    ]
    for name, value, lowest, highest, unit in bounds:
        if not lowest <= value <= highest:
            raise FieldError(name, f"is {value:g}; allowed are {lowest:g} to {highest:g} {unit}")
    if when.ready_by_s is not None and when.ready_by_s <= when.now_s:
        raise FieldError("ready-by", f"lies in the past: it is {at_text(when.now_s)} now")


def _refusal_of_wetting(load: Sequence[LoadSpool], outcome: Outcome, limited: LimitedBy) -> Refused | None:
    """P35, D-12: a dryer in a humid room can wet what is in it."""
    for number, aim in enumerate(outcome.aims):
        if aim.leads is Leads.WETTER:
            return wetting(load[number], outcome, number, limited)
    return None


def _gentler(
    load: Sequence[LoadSpool], oven: Oven, room: RoomAir, goal: Goal, outcome: Outcome
) -> list[Outcome]:
    """Cooler ways to the same end within one cycle, the coolest first (B-46)."""
    found = []
    hours, leads = outcome.load_hours()[0], [aim.leads for aim in outcome.aims]
    for less_c in _GENTLER_C if 0.0 < hours < LONGEST_CYCLE_H and outcome.reaches() else ():
        cooler_c = outcome.temperature_c - less_c
        chamber = chamber_of(oven, cooler_c, room)
        if cooler_c < _LEAST_GENTLE_C or [a.leads for a in aims_at(load, chamber, goal)] != leads:
            continue
        tried = outcome_at(load, oven, room, goal, cooler_c, LONGEST_CYCLE_H)
        if tried.reaches() and spread_of(tried).p90 is not None:
            found.append(tried)
    return found


def _plan(
    load: Sequence[LoadSpool],
    oven: Oven,
    outcome: Outcome,
    others: Sequence[Outcome],
    when: When,
) -> Plan:
    guard, limited = guard_c(oven), least(load_limits(load, oven))
    number, duration = outcome.leading(), spread_of(outcome)
    timing, spools = timing_of(duration, when), _spools(load, outcome)
    energy = _energy(load, oven, outcome, spools, duration)
    usual = max((each.body.material for each in load), key=lambda material: material.dry_c)
    # Cooler than the least limit and the usual temperature allow: chosen because there is time.
    is_eased = outcome.temperature_c < min(limited.limit_c - guard, usual.dry_c) - 1e-6
    return Plan(
        temperature_c=outcome.temperature_c,
        limited_by=limited,
        guard_c=guard,
        duration_h=duration,
        floor_pct=percent(float(outcome.floors[number, 0])),
        reaches_target=outcome.reaches(),
        reaches_target_why=_why_not(load, outcome),
        target_pct=spools[number].target_pct,
        start_at=at_text(timing.start_s),
        finish_at=at_text(timing.finish_s),
        energy_wh=None if energy is None else energy.used_wh,
        energy_wh_why="how long it takes is not known" if energy is None else None,
        energy_basis="" if energy is None else energy.basis,
        curve=_curve(outcome, number),
        cautions=_cautions(load, oven, outcome, timing, energy),
        temperature_why=temperature_words(limited, guard, outcome.temperature_c, usual, is_eased),
        run_h=timing.run_h,
        cool_h=timing.cool_h,
        chamber_humidity_pct=three_digits(100.0 * float(outcome.chamber.humidity()[0])),
        is_in_time=timing.is_in_time if when.ready_by_s is not None else None,
        hold=hold_after(load, outcome),
        spools=spools,
        fall_backs=tuple(_fall_back(each, outcome, when) for each in others),
    )


def _spools(load: Sequence[LoadSpool], outcome: Outcome) -> tuple[SpoolPlan, ...]:
    state, done = done_states(outcome)
    limits = [
        max(each.body.material.limit_content, aim.content)
        for each, aim in zip(load, outcome.aims, strict=True)
    ]
    wet_again = rewet_h(outcome, state, np.array(limits)[:, None])
    parameters, course = outcome.course.parameters, outcome.course
    dry_g = 1000.0 * wound_kg(parameters, course.states[0])
    found = []
    for number, each in enumerate(load):
        aim, spool = outcome.aims[number], each.body.spool
        lost_g = np.maximum(course.mean[0, number] - done[number], 0.0) * dry_g[number]
        found.append(
            SpoolPlan(
                key=spool.key,
                name=spool.name,
                material=spool.material,
                start_pct=percent_spread(course.mean[0, number]),
                target_pct=percent(aim.target),
                floor_pct=percent(float(outcome.floors[number, 0])),
                reaches_target=aim.leads in (Leads.TARGET, Leads.DRY_ALREADY)
                and math.isfinite(outcome.hours[number, 0]),
                leads_to_pct=percent(aim.content),
                duration_h=_hours(outcome.hours[number]),
                water_g=_grams(lost_g),
                rewet_h=_rewet(wet_again[number], aim),
            )
        )
    return tuple(found)


def _rewet(hours: Array, aim: Aim) -> Spread:
    if aim.leads is Leads.FLOOR:
        return unknown("it is over its target even then")
    return time_spread(
        hours,
        never="the room's air does not take it over its limit within two weeks",
        perhaps="null: the room's air may not take it over its limit within two weeks",
    )


def _grams(values: Array) -> Spread:
    low, middle, high = (float(f"{value:.2g}") for value in percentiles(values))
    return Spread(p10=low, p50=middle, p90=high)


def _energy(
    load: Sequence[LoadSpool],
    oven: Oven,
    outcome: Outcome,
    spools: Sequence[SpoolPlan],
    duration: Spread,
) -> Energy | None:
    if duration.p50 is None:
        return None
    dry_kg = float(wound_kg(outcome.course.parameters, outcome.course.states[0])[:, 0].sum())
    reels_kg = sum((each.body.spool.reel_g or 1000.0 * _REEL_KG) / 1000.0 for each in load)
    needs_heat = duration.p50 > 0.0
    return energy_of(
        oven,
        above_room_k=outcome.temperature_c - outcome.chamber.room.temperature_c if needs_heat else 0.0,
        hours=duration.p50,
        load_kg=dry_kg + reels_kg,
        water_kg=sum((each.water_g.p50 or 0.0) / 1000.0 for each in spools) if needs_heat else 0.0,
        heat_j_kg=None,
    )


def _curve(outcome: Outcome, number: int) -> tuple[PlanPoint, ...]:
    course = outcome.course
    low, high = low_and_high(course.mean[:, number])
    return tuple(
        PlanPoint(
            h=round(float(hour), 3),
            mean_pct=percent(course.mean[at, number, 0]),
            outer_pct=percent(course.outer[at, number, 0]),
            inner_pct=percent(course.inner[at, number, 0]),
            mean_p10_pct=percent(low[at]),
            mean_p90_pct=percent(high[at]),
        )
        for at, hour in enumerate(course.hours)
    )


def _why_not(load: Sequence[LoadSpool], outcome: Outcome) -> str | None:
    if outcome.reaches():
        return None
    names = [
        each.body.spool.name
        for number, each in enumerate(load)
        if outcome.aims[number].leads in (Leads.FLOOR, Leads.LOOSER)
    ]
    if names:
        return f"the heated air itself holds too much water for {', '.join(names)}, however long it takes"
    return f"it takes longer than {LONGEST_H:g} h"


def _cautions(
    load: Sequence[LoadSpool], oven: Oven, outcome: Outcome, timing: Timing, energy: Energy | None
) -> tuple[str, ...]:
    said: list[str] = []
    for number, each in enumerate(load):
        if outcome.aims[number].leads is Leads.DRY_ALREADY:
            name = each.body.spool.name
            said.append(f"{name} is probably under its target already: it needs no drying.")
            if outcome.aims[number].target < outcome.floors[number, 0]:
                said.append(f"In this air, heated, {name} would take up water: leave it out.")
        said += floor_cautions(outcome, number, load, outcome.chamber.room)
    said += timing.cautions
    if outcome.chamber.vent_m3_s is None:
        said.append(
            "How much air the chamber exchanges is not entered: what the spools give off is taken to leave "
            "at once. "
            "A closed chamber does not dry: leave its vent open."
        )
    if energy is not None and oven.heater_w is not None and energy.steady_w > oven.heater_w:
        said.append(
            f"Holding {outcome.temperature_c:g} °C may take about {energy.steady_w:.0f} W, more than its "
            f"heater "
            f"of {oven.heater_w:g} W gives: it may never get there."
        )
    for each in load:
        said += ageing_cautions(each, timing.run_h)
    if timing.run_h == 0.0:
        return tuple(said)
    return (*said, *safety_cautions(oven, outcome.temperature_c, timing.run_h), *load_cautions(load))


def _fall_back(other: Outcome, chosen: Outcome, when: When) -> FallBack:
    duration = spread_of(other)
    timing = timing_of(duration, when)
    cooler = other.temperature_c < chosen.temperature_c
    why = "Cooler and longer: it ages less, and there is more room for error."
    if not cooler:
        why = "Hotter and shorter, as far as everything inside allows."
    return FallBack(
        temperature_c=other.temperature_c,
        duration_h=duration,
        start_at=at_text(timing.start_s),
        finish_at=at_text(timing.finish_s),
        why=why,
    )
