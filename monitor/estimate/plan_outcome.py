"""What a load comes to at one temperature: how far down, and when each spool is there."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from monitor.estimate.plan_course import (
    LONGEST_H,
    Chamber,
    LoadCourse,
    LoadSpool,
    chamber_of,
    course_of,
    first_under_h,
    floors,
    parameters_of,
    worst_within,
)
from monitor.estimate.spool_belief import stack_states
from monitor.model.catalogue import Material
from monitor.model.inventory import Oven
from monitor.model.plan import Goal, RoomAir
from monitor.physics.constants import Array
from monitor.physics.spool import STILL_AIR_M_S, SpoolState, step_spool
from monitor.physics.spool_reading import outer_water_content

NEAR_FLOOR = 1.1  # of the floor: longer gains next to nothing
# Uptake is followed for so long after the end.
_REWET_H, _FIRST_LOOK_H, _LOOK_GROWTH = 14 * 24.0, 0.25, 1.35


class Leads(StrEnum):
    """What a duration leads to."""

    DRY_ALREADY = "dry_already"
    TARGET = "target"
    LOOSER = "looser"  # the limit below which prints look right
    FLOOR = "floor"  # as low as that air allows
    WETTER = "wetter"  # the air in there holds more than the spool does


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """Of one spool [kg/kg]."""

    target: float
    content: float  # what it is dried to
    leads: Leads


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Of the load at one temperature; arrays are (spools, 13)."""

    temperature_c: float
    chamber: Chamber
    floors: Array  # [kg/kg]
    aims: tuple[Aim, ...]
    hours: Array
    course: LoadCourse

    def load_hours(self) -> Array:
        """Until all are done, by member, shape (13,)."""
        return np.asarray(self.hours.max(axis=0))

    def leading(self) -> int:
        """The spool that takes longest; of those that never get there the first."""
        return int(self.hours[:, 0].argmax())

    def reaches(self) -> bool:
        """Whether all of them get to their target, by the nominal member."""
        good = all(aim.leads in (Leads.TARGET, Leads.DRY_ALREADY) for aim in self.aims)
        return good and bool(np.isfinite(self.hours[:, 0]).all())


def outcome_at(
    load: Sequence[LoadSpool],
    oven: Oven,
    room: RoomAir,
    goal: Goal,
    temperature_c: float,
    longest_h: float = LONGEST_H,
) -> Outcome:
    """The load in that oven at that temperature."""
    chamber = chamber_of(oven, temperature_c, room)
    floor = floors(load, chamber)
    aims = aims_at(load, chamber, goal)
    down_to = np.array([_down_to(aim, floor[number]) for number, aim in enumerate(aims)])
    course = course_of(load, chamber, down_to, goal.first_m, longest_h)
    return Outcome(
        temperature_c=temperature_c,
        chamber=chamber,
        floors=floor,
        aims=aims,
        hours=first_under_h(course, down_to),
        course=course,
    )


def aims_at(load: Sequence[LoadSpool], chamber: Chamber, goal: Goal) -> tuple[Aim, ...]:
    """What each spool of the load can be dried to in that air."""
    floor = floors(load, chamber)
    now = worst_within(parameters_of(load), stack_states([each.belief for each in load]), goal.first_m)
    return tuple(
        _aim(each.body.material, goal, float(now[number, 0]), float(floor[number, 0]))
        for number, each in enumerate(load)
    )


def target_of(material: Material, goal: Goal) -> float:
    """[kg/kg]."""
    return material.limit_content if goal.target_pct is None else goal.target_pct / 100.0


def done_states(outcome: Outcome) -> tuple[SpoolState, Array]:
    """The load as the nominal member of each spool is done, and what each holds then (spools, 13)."""
    course = outcome.course
    last = len(course.hours) - 1
    looks = np.minimum(np.searchsorted(course.hours, outcome.hours[:, 0]), last)
    rows = [(course.states[look], number) for number, look in enumerate(looks)]
    state = SpoolState(
        outer_m=np.stack([each.outer_m[n] for each, n in rows]),
        vapour_kg_m3=np.stack([each.vapour_kg_m3[n] for each, n in rows]),
        temperature_c=np.stack([each.temperature_c[n] for each, n in rows]),
        strand=np.stack([each.strand[n] for each, n in rows]),
    )
    return state, np.stack([course.mean[look, number] for number, look in enumerate(looks)])


def rewet_h(outcome: Outcome, state: SpoolState, limits: Array) -> Array:
    """Hours in the room until the outer windings are over the limit (D-14), shape (spools, 13)."""
    room, parameters = outcome.chamber.room, outcome.course.parameters
    over = np.where(outer_water_content(parameters, state) > limits, 0.0, np.inf)
    at_h, look_h = 0.0, _FIRST_LOOK_H
    before = outer_water_content(parameters, state)
    while at_h < _REWET_H and np.isinf(over).any():
        state, _ = step_spool(
            parameters,
            state,
            3600.0 * look_h,
            room.temperature_c,
            room.humidity_pct / 100.0,
            STILL_AIR_M_S,
            settled_s=3600.0 * at_h,
        )
        after = outer_water_content(parameters, state)
        share = np.clip((limits - before) / np.where(after > before, after - before, 1.0), 0.0, 1.0)
        over = np.where(np.isinf(over) & (after > limits), at_h + share * look_h, over)
        at_h, look_h, before = at_h + look_h, look_h * _LOOK_GROWTH, after
    return over


def _aim(material: Material, goal: Goal, now: float, floor: float) -> Aim:
    target = target_of(material, goal)
    looser = material.looser_limit_content if goal.target_pct is None else None
    if now <= target:
        return Aim(target=target, content=target, leads=Leads.DRY_ALREADY)
    if floor < target:
        return Aim(target=target, content=target, leads=Leads.TARGET)
    if now <= NEAR_FLOOR * floor:
        return Aim(target=target, content=floor, leads=Leads.WETTER)
    if looser is not None and floor < looser < now:
        return Aim(target=target, content=looser, leads=Leads.LOOSER)
    return Aim(target=target, content=NEAR_FLOOR * floor, leads=Leads.FLOOR)


def _down_to(aim: Aim, floors_of_members: Array) -> Array:
    """What each member is dried to: those near a floor to their own."""
    if aim.leads is Leads.FLOOR:
        return NEAR_FLOOR * floors_of_members
    return np.full_like(floors_of_members, aim.content)
