"""The plan that regenerates a charge of desiccant: a load of its own, in the room's air, heated."""

from dataclasses import dataclass

import numpy as np

from monitor.errors import FieldError
from monitor.estimate.ensemble import DIFFUSIVITY, ISOTHERM, START, deviations, three_digits
from monitor.estimate.plan_course import Chamber, chamber_of
from monitor.estimate.plan_energy import energy_of
from monitor.estimate.plan_limits import desiccant_limits, guard_c, hottest_c, least, oven_limits
from monitor.estimate.plan_times import at_text, timing_of
from monitor.estimate.plan_words import FOOD, safety_cautions
from monitor.estimate.what_if_spread import low_and_high, percent, time_spread
from monitor.model.catalogue import DesiccantKind
from monitor.model.inventory import Oven
from monitor.model.plan import (
    Goal,
    Hold,
    LimitedBy,
    LoadingPoint,
    Plan,
    Refusal,
    Refused,
    Regeneration,
    RoomAir,
    When,
)
from monitor.physics.constants import ZERO_C_K, Array
from monitor.physics.desiccant import BATCH_SD, bead_rate_1_s, bed_settling_s
from monitor.physics.isotherm import desiccant_humidity, desiccant_loading
from monitor.physics.psychrometrics import vapour_kg_m3

LAYER_M = 0.015  # on a tray; the times of the literature are for at most 2 cm
_NORMAL_K, _DIFFUSION_POWER = 298.15, 1.75  # vapour in free air quickens with the temperature in kelvin
# Done as two weighings an hour apart tell it: within 0.5 % of the dry mass (reference for regeneration).
DONE_WITHIN = 0.005
# Rate constants are theory and one study: a factor of about 2 either way (low confidence).
_RATE_SD = 0.4
# A charge whose loading nobody knows has been in use: settled at 25 %RH, give or take.
_USED_HUMIDITY, _USED_SD = 0.25, 0.3
_WARM_H = 0.3  # until a layer is warm through
_LONGEST_H, _LOOK_H, _LOOK_GROWTH = 48.0, 0.05, 1.08
_HALVINGS = 40
_PACKETS_C, _PAPER_C = 80.0, 110.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Course:
    hours: Array
    loading: Array  # [kg/kg], shape (looks, 13)


def plan_regeneration(
    kind: DesiccantKind, charge: Regeneration, oven: Oven, room: RoomAir, goal: Goal, when: When
) -> Plan | Refused:
    """The plan, or why this desiccant is not regenerated in this oven."""
    _check(kind, charge, room, goal, when)
    limits, guard = [*desiccant_limits(kind), *oven_limits(oven)], guard_c(oven)
    limited = least(limits)
    refused = _refusal(kind, oven, limited, hottest_c(limits, guard), guard)
    if refused is not None:
        return refused
    temperature_c = min(hottest_c(limits, guard), kind.regenerate_c or 0.0)
    return _plan(kind, charge, oven, room, goal, when, temperature_c, limited)


def _refusal(
    kind: DesiccantKind, oven: Oven, limited: LimitedBy, hottest: float, guard: float
) -> Refused | None:
    if kind.oven_refusal is not None or kind.regenerate_c is None or kind.regenerate_least_c is None:
        why = kind.oven_refusal or "It cannot be regenerated."
        return _refused("Not for an oven", f"{kind.name}: {why}", limited if kind.max_safe_c else None)
    if oven.vent_m3_h == 0.0:
        return _refused(
            "A closed chamber regenerates nothing",
            "The water that is driven out has to leave: open the vent.",
        )
    if hottest < kind.regenerate_least_c:
        return _refused(
            "Not hot enough to regenerate it",
            f"{kind.name} needs {kind.regenerate_least_c:g} °C at least, {kind.regenerate_c:g} °C as a rule; "
            f"{limited.item} stands {limited.limit_c:g} °C, which less a guard of {guard:g} °C leaves "
            f"{hottest:g} °C: "
            "it would keep its water.",
            limited,
        )
    return None


def _plan(
    kind: DesiccantKind,
    charge: Regeneration,
    oven: Oven,
    room: RoomAir,
    goal: Goal,
    when: When,
    temperature_c: float,
    limited: LimitedBy,
) -> Plan:
    chamber, dry_kg = chamber_of(oven, temperature_c, room), charge.dry_g / 1000.0
    batch = np.exp(BATCH_SD * deviations(ISOTHERM))
    residual = batch * desiccant_loading(kind, chamber.humidity(), temperature_c)
    target = float(residual[0]) + DONE_WITHIN if goal.target_pct is None else goal.target_pct / 100.0
    reaches = target > float(residual[0])
    down_to = residual + DONE_WITHIN if goal.target_pct is None or not reaches else np.full(13, target)
    course = _course(kind, dry_kg, chamber, _start(kind, charge, batch), batch, down_to)
    hours = _first_under(course, down_to)
    duration = time_spread(
        hours,
        never=f"it takes longer than {_LONGEST_H:g} h",
        perhaps=f"null: it may take longer than {_LONGEST_H:g} h, or not get there",
    )
    timing = timing_of(duration, when)
    driven_kg = max(float(course.loading[0, 0] - down_to[0]), 0.0) * dry_kg
    energy = energy_of(
        oven,
        above_room_k=temperature_c - room.temperature_c,
        hours=duration.p50 or 0.0,
        load_kg=dry_kg,
        water_kg=driven_kg,
        heat_j_kg=kind.heat_j_mol / 0.018015,
    )
    low, high = low_and_high(course.loading)
    return Plan(
        temperature_c=temperature_c,
        limited_by=limited,
        guard_c=guard_c(oven),
        duration_h=duration,
        floor_pct=percent(float(residual[0])),
        reaches_target=reaches and duration.p50 is not None,
        reaches_target_why=_why_not(temperature_c, float(residual[0]), reaches, duration.p50),
        target_pct=percent(target),
        start_at=at_text(timing.start_s),
        finish_at=at_text(timing.finish_s),
        energy_wh=None if duration.p50 is None else energy.used_wh,
        energy_wh_why="how long it takes is not known" if duration.p50 is None else None,
        energy_basis=energy.basis,
        curve=tuple(
            LoadingPoint(
                h=round(float(hour), 3),
                mean_pct=percent(course.loading[at, 0]),
                mean_p10_pct=percent(low[at]),
                mean_p90_pct=percent(high[at]),
            )
            for at, hour in enumerate(course.hours)
        ),
        cautions=(
            *_cautions(kind, oven, temperature_c, float(residual[0]), room),
            *timing.cautions,
            *safety_cautions(oven, temperature_c, timing.run_h),
            FOOD,
        ),
        temperature_why=_why(limited, guard_c(oven), temperature_c),
        run_h=timing.run_h,
        cool_h=timing.cool_h,
        chamber_humidity_pct=three_digits(100.0 * float(chamber.humidity()[0])),
        is_in_time=None if when.ready_by_s is None else timing.is_in_time,
        hold=Hold(
            temperature_c=None,
            temperature_c_why="a charge is cooled closed at once",
            why="Let it cool covered and closed for 30 to 60 min, weigh it, and put it into its box.",
        ),
    )


def _check(kind: DesiccantKind, charge: Regeneration, room: RoomAir, goal: Goal, when: When) -> None:
    loading, target = charge.loading_pct, goal.target_pct
    bounds = [
        ("dry-g", charge.dry_g, 1.0, 50_000.0, "g"),
        ("loading-pct", 1.0 if loading is None else loading, 0.0, 100.0, "%"),
        ("target-pct", 1.0 if target is None else target, 0.01, 100.0, "%"),
        ("room-rh", room.humidity_pct, 0.0, 100.0, "%RH"),
        ("room-temperature", room.temperature_c, 0.0, 45.0, "°C"),
    ]
    for name, value, lowest, highest, unit in bounds:
        if not lowest <= value <= highest:
            raise FieldError(
                name, f"is {value:g}; for {kind.name} allowed are {lowest:g} to {highest:g} {unit}"
            )
    if when.ready_by_s is not None and when.ready_by_s <= when.now_s:
        raise FieldError("ready-by", f"lies in the past: it is {at_text(when.now_s)} now")


def _start(kind: DesiccantKind, charge: Regeneration, batch: Array) -> Array:
    """Loading at first [kg/kg], shape (13,)."""
    if charge.loading_pct is not None:
        return np.full(13, charge.loading_pct / 100.0)
    humidity = np.minimum(_USED_HUMIDITY * np.exp(_USED_SD * deviations(START)), 0.9)
    return np.asarray(batch * desiccant_loading(kind, humidity))


def _course(
    kind: DesiccantKind, dry_kg: float, chamber: Chamber, start: Array, batch: Array, down_to: Array
) -> _Course:
    hours, rows = [0.0, _WARM_H], [start, start]
    while hours[-1] < _LONGEST_H and not (rows[-1] <= down_to).all():
        dt_h = min(_LOOK_H + (_LOOK_GROWTH - 1.0) * (hours[-1] - _WARM_H), _LONGEST_H - hours[-1])
        rows.append(_stepped(kind, dry_kg, chamber, rows[-1], batch, 3600.0 * dt_h))
        hours.append(hours[-1] + dt_h)
    return _Course(hours=np.array(hours), loading=np.array(rows))


def _stepped(
    kind: DesiccantKind, dry_kg: float, chamber: Chamber, loading: Array, batch: Array, dt_s: float
) -> Array:
    """The charge after a step in the air that its own water makes."""
    share = 1.0 - np.exp(-_rate_1_s(kind, loading / batch, chamber.temperature_c) * dt_s)
    inlet = chamber.humidity()
    if chamber.vent_m3_s is None:
        return loading + share * (_held(kind, chamber, batch, inlet) - loading)
    full = float(vapour_kg_m3(chamber.temperature_c, 1.0))
    through = full * (chamber.vent_m3_s * dt_s + chamber.volume_m3)
    low, high = inlet * 0.0, np.ones_like(inlet)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        given_kg = dry_kg * share * (loading - _held(kind, chamber, batch, middle))
        is_too_dry = middle < inlet + given_kg / through
        low, high = np.where(is_too_dry, middle, low), np.where(is_too_dry, high, middle)
    return loading + share * (_held(kind, chamber, batch, low) - loading)


def _held(kind: DesiccantKind, chamber: Chamber, batch: Array, humidity: Array) -> Array:
    return np.asarray(batch * desiccant_loading(kind, humidity, chamber.temperature_c))


def _rate_1_s(kind: DesiccantKind, loading: Array, temperature_c: float) -> Array:
    """Bead and bed one after the other [1/s]; the bed gives back at the humidity its loading makes."""
    humidity = np.clip(desiccant_humidity(kind, loading, temperature_c), 0.005, 0.9)
    quickened = ((temperature_c + ZERO_C_K) / _NORMAL_K) ** _DIFFUSION_POWER
    bed_s = bed_settling_s(kind, LAYER_M, humidity, temperature_c) / quickened
    slow_s = 1.0 / bead_rate_1_s(temperature_c) + bed_s
    return np.asarray(np.exp(_RATE_SD * deviations(DIFFUSIVITY)) / slow_s)


def _first_under(course: _Course, down_to: Array) -> Array:
    is_there = course.loading <= down_to
    first = is_there.argmax(axis=0)
    before = np.maximum(first - 1, 0)
    high, low = (np.take_along_axis(course.loading, at[None], axis=0)[0] for at in (before, first))
    share = np.where(first > 0, (high - down_to) / np.where(high > low, high - low, 1.0), 0.0)
    hours = course.hours[before] + share * (course.hours[first] - course.hours[before])
    return np.where(is_there.any(axis=0), hours, np.inf)


def _why(limited: LimitedBy, guard: float, temperature_c: float) -> str:
    said = f"{limited.item} stands {limited.limit_c:g} °C; less a guard of {guard:g} °C"
    hottest = round(limited.limit_c - guard, 6)
    if temperature_c < hottest:
        return f"{said} it may be {hottest:g} °C; {temperature_c:g} °C is its usual regeneration."
    return f"{said} that leaves {temperature_c:g} °C."


def _why_not(temperature_c: float, residual: float, reaches: bool, hours: float | None) -> str | None:
    if not reaches:
        return f"at {temperature_c:g} °C this room's air leaves {percent(residual):g} % in it"
    return None if hours is not None else f"it takes longer than {_LONGEST_H:g} h"


def _cautions(
    kind: DesiccantKind, oven: Oven, temperature_c: float, residual: float, room: RoomAir
) -> list[str]:
    rh = 100.0 * float(desiccant_humidity(kind, residual, room.temperature_c))
    said = [
        f"It ends at about {percent(residual):g} g per 100 g, which afterwards holds a box at about {rh:.2g} "
        f"%RH.",
        f"Spread it no deeper than {100.0 * LAYER_M:g} cm; it is done when two weighings an hour apart "
        f"differ by less "
        f"than {100.0 * DONE_WITHIN:g} % of its dry mass.",
        "Hot beads burn: gloves, and no liquid water on them. Nothing else goes into the oven with them.",
    ]
    usual = kind.regenerate_c or 0.0
    if temperature_c < usual:
        said.append(
            f"{usual:g} °C is usual for it: at {temperature_c:g} °C it takes longer and keeps more water."
        )
    if temperature_c > _PACKETS_C:
        said.append(
            f"Plastic packets soften: bare beads on metal above {_PACKETS_C:g} °C; paper or cotton up to "
            f"{_PAPER_C:g} °C."
        )
    if oven.vent_m3_h is None:
        said.append("Leave the vent open: the water that is driven out has to leave.")
    if kind.note is not None:
        said.append(kind.note)
    return said


def _refused(title: str, detail: str, limited: LimitedBy | None = None) -> Refused:
    return Refused(
        refused=Refusal(
            title=title,
            detail=detail,
            limiting_item=None if limited is None else limited.item,
            limit_c=None if limited is None else limited.limit_c,
        )
    )
