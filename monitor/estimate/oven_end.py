"""D-13: is what lies in an oven dry, by the water left and by what another hour would gain? Pure.

Dry is what every winding's printing limit asks for, and the drier target that a plan was made for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.ensemble import percentiles
from monitor.estimate.plan_course import worst_within
from monitor.estimate.plan_limits import least_useful_c
from monitor.estimate.spool_answer import read
from monitor.estimate.spool_belief import Belief, Body, stack_states, stacked
from monitor.estimate.spool_course import Around, equilibrium, follow
from monitor.estimate.spool_track import Track
from monitor.model.answers import Spread
from monitor.model.oven_progress import Ahead, Rewet, Standing
from monitor.model.plan import Goal
from monitor.physics.constants import Array
from monitor.physics.drying import chamber_humidity
from monitor.physics.psychrometrics import saturation_pressure_pa
from monitor.physics.spool import spool_water_kg
from monitor.physics.spool_reading import mean_water_content, outer_water_content, wound_kg

HORIZON_S = 48 * 3600.0
REWET_HORIZON_S = 90 * 86_400.0
_HOUR_S = 3600.0
_NOW_S = 600.0
_FIRST_LOOK_S, _LOOK_GROWTH = 900.0, 1.25
_FIRST_REWET_S, _REWET_GROWTH = 1800.0, 1.3
# No scale of this trade tells less of a spool, so nothing smaller is a gain (D.3: 0.1 g scales, 0.2 g apart).
_LEAST_KNOWN_G = 0.1
# Of the water nominally inside: so near to what the air leaves in it nothing more comes out within a shift.
_AT_FLOOR = 0.05
# A hold: so much cooler than the drying, in steps of a degree, with so much of the limit at the most.
_COOLER_C, _STEP_C, _WITHIN = 10.0, 1.0, 0.95
# A chamber's sensor is off by 1.5 %RH; beyond two of these its vapour is more than the room's.
_HUMIDITY_SD = 0.015
_SURE_SDS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Waters:
    """Arrays of shape (spools, 13)."""

    mean: Array
    outer: Array
    water_g: Array
    judged: Array  # what a target is held against: mean or outer windings, or the metres that come first
    is_part: bool  # the metres that come first

    def nominal(self) -> Array:
        """What comes to rest at the floor, by the nominal member; shape (spools,)."""
        return np.asarray((self.judged if self.is_part else self.mean)[:, 0])


def at_setpoint(air: Around, setpoint_c: float) -> Around:
    """A chamber that still warms up, as it will be with the vapour that is in it now."""
    return air if air.temperature_c >= setpoint_c else _heated(air, setpoint_c)


_PRINTING = Goal()  # each material's own limit


def hold_c(
    tracks: Sequence[Track], airs: Sequence[Around], setpoint_c: float, goal: Goal = _PRINTING
) -> float | None:
    """The coolest chamber that surely keeps all of it dry [degC]; None where it would not be cooler (D-06).

    Args:
        tracks: What is dry.
        airs: What the chamber may draw in, the room's first; the worst of them counts.
        setpoint_c: At which it is dried.
        goal: What its plan was made for; a drier target must stay kept, too.
    """
    trial_c = least_useful_c(airs[0].temperature_c)
    while trial_c <= setpoint_c - _COOLER_C:
        if all(_stays_dry(track, _heated(air, trial_c), goal) for track in tracks for air in airs):
            return trial_c
        trial_c += _STEP_C
    return None


def _stays_dry(track: Track, air: Around, goal: Goal) -> bool:
    """Where nine members of ten come to rest."""
    wettest = percentiles(equilibrium(track.body, track.belief, air))[2]
    return wettest <= _WITHIN * _aim(track.body, goal)


def _heated(air: Around, to_c: float) -> Around:
    """The same vapour at another temperature; how well it is known goes with it."""
    humidity = float(chamber_humidity(air.temperature_c, air.relative_humidity, to_c))
    share = humidity / max(air.relative_humidity, 1e-6)
    return replace(
        air,
        temperature_c=to_c,
        relative_humidity=humidity,
        relative_humidity_sd=air.relative_humidity_sd * share,
        driest=None,
        is_heated=True,
    )


def is_releasing(chamber: Around, room: Around) -> bool | None:
    """Whether the chamber's vapour is above the room's by more than a sensor errs; None where it is not seen.

    Warming leaves the vapour pressure as it was, so what is above the room's comes out of the load.
    """
    if not (chamber.is_measured and room.is_measured):
        return None
    full_pa = float(saturation_pressure_pa(np.float64(chamber.temperature_c)))
    room_pa = room.relative_humidity * float(saturation_pressure_pa(np.float64(room.temperature_c)))
    excess_pa = chamber.relative_humidity * full_pa - room_pa
    return excess_pa > _SURE_SDS * _HUMIDITY_SD * full_pa


def _aim(body: Body, goal: Goal) -> float:
    """The printing limit, or a target below it [kg/kg]; a looser one ends nothing sooner."""
    limit = body.material.limit_content
    return limit if goal.target_pct is None else min(limit, goal.target_pct / 100.0)


def is_at(tracks: Sequence[Track], goal: Goal) -> bool:
    """Whether each is surely down to what its plan was made for, as a plan judges it."""
    bodies, beliefs = [t.body for t in tracks], [t.belief for t in tracks]
    judged = _waters(bodies, beliefs, goal.first_m).judged
    return all(
        percentiles(members)[2] <= _aim(body, goal) for members, body in zip(judged, bodies, strict=True)
    )


def look_ahead(
    tracks: Sequence[Track], chamber: Around, *, releasing: bool | None = None, goal: Goal = _PRINTING
) -> Ahead:
    """How far a load is in a chamber whose air stays as it is.

    Args:
        tracks: The spools as they are believed to be now; at least one.
        chamber: The air round all of them, at the temperature that it will be held at.
        releasing: What `is_releasing` says; True speaks against calling anything dry.
        goal: What its plan was made for.
    """
    bodies, beliefs = [t.body for t in tracks], [t.belief for t in tracks]
    printing = np.array([body.material.limit_content for body in bodies])[:, None]
    limits = np.array([_aim(body, goal) for body in bodies])[:, None]
    has_target = bool((limits < printing).any())
    first_m = goal.first_m if has_target else None
    now = _waters(bodies, beliefs, first_m)
    soon = _waters(bodies, _after(bodies, beliefs, chamber, _NOW_S))
    later = _waters(bodies, _after(bodies, beliefs, chamber, _HOUR_S))
    total_g = percentiles(now.water_g.sum(axis=0))
    gain_g = float((now.water_g - later.water_g)[:, 0].sum())
    known_g = max(0.5 * (total_g[2] - total_g[0]), _LEAST_KNOWN_G)
    floors = np.stack(
        [equilibrium(body, belief, chamber) for body, belief in zip(bodies, beliefs, strict=True)]
    )
    is_gone = gain_g < known_g
    # Every winding, surely: a mean that is dry over a wet core prints well for its outer metres only.
    is_ready = all(reading.verdict == "ready" for reading in read(list(tracks)))
    if has_target:
        is_ready = is_ready and is_at(tracks, goal)
    return Ahead(
        standing=_standing(
            now, limits, floors, is_ready=is_ready, is_gone=is_gone, releasing=bool(releasing)
        ),
        # Of a target for the first metres alone no grams can be told: those above the printing limits are.
        left_g=_left_g(bodies, beliefs, now, limits if first_m is None else printing),
        rate_g_h=float((now.water_g - soon.water_g)[:, 0].sum()) * _HOUR_S / _NOW_S,
        gain_g=gain_g,
        known_g=known_g,
        dry_after_h=_dry_after_h(bodies, beliefs, chamber, limits, floors, first_m),
        floor_pct=100.0 * float(floors[:, 0].max()),
        is_releasing=releasing,
        target_pct=goal.target_pct if has_target else None,
        first_m=first_m,
    )


def _standing(
    now: _Waters, limits: Array, floors: Array, *, is_ready: bool, is_gone: bool, releasing: bool
) -> Standing:
    if is_ready and is_gone:
        return Standing.RELEASING if releasing else Standing.DRY
    nominal, floor = now.nominal(), floors[:, 0]
    is_stuck = (nominal > limits[:, 0]) & (nominal <= (1.0 + _AT_FLOOR) * floor)
    if is_gone and is_stuck.any() and ((nominal <= limits[:, 0]) | is_stuck).all():
        return Standing.FLOOR
    return Standing.DRYING


def rewet(track: Track, room: Around) -> Rewet:
    """From when on its outer windings are over the limit, if it is in the room's air from now on (D-14)."""
    bodies, beliefs = [track.body], [track.belief]
    limit = track.body.material.limit_content
    before = _waters(bodies, beliefs).outer[0]
    over_s = np.where(before > limit, 0.0, np.inf)
    at_s, look_s = 0.0, _FIRST_REWET_S
    while at_s < REWET_HORIZON_S and np.isinf(over_s).any():
        beliefs = _after(bodies, beliefs, room, look_s, at_s)
        after = _waters(bodies, beliefs).outer[0]
        over_s = _first(over_s, at_s, look_s, before - limit, after - limit)
        before, at_s, look_s = after, at_s + look_s, look_s * _REWET_GROWTH
    low, middle, high = _time_spread(over_s)
    return Rewet(earliest_h=low, likely_h=middle, latest_h=high)


def _waters(bodies: list[Body], beliefs: list[Belief], first_m: float | None = None) -> _Waters:
    parameters, state = stacked(bodies, beliefs), stack_states(beliefs)
    return _Waters(
        judged=worst_within(parameters, state, first_m),
        is_part=first_m is not None,
        mean=mean_water_content(parameters, state),
        outer=outer_water_content(parameters, state),
        water_g=1000.0 * spool_water_kg(parameters, state),
    )


def _after(
    bodies: list[Body], beliefs: list[Belief], air: Around, dt_s: float, at_s: float = 0.0
) -> list[Belief]:
    return follow(bodies, beliefs, [air] * len(bodies), dt_s, at_s)[0]


def _left_g(bodies: list[Body], beliefs: list[Belief], now: _Waters, limits: Array) -> Spread:
    wound_g = 1000.0 * wound_kg(stacked(bodies, beliefs), stack_states(beliefs))
    low, middle, high = percentiles((np.maximum(now.mean - limits, 0.0) * wound_g).sum(axis=0))
    return Spread(p10=_two_digits(low), p50=_two_digits(middle), p90=_two_digits(high))


def _dry_after_h(
    bodies: list[Body],
    beliefs: list[Belief],
    air: Around,
    limits: Array,
    floors: Array,
    first_m: float | None,
) -> Spread:
    """When mean and outer windings of all of them, or the first metres, are at what is asked, by member."""
    can_be_dry = (floors < limits).all(axis=0)
    before = _worst(_waters(bodies, beliefs, first_m), limits)
    done_s = np.where(before <= 0.0, 0.0, np.inf)
    at_s, look_s = 0.0, _FIRST_LOOK_S
    while at_s < HORIZON_S and (np.isinf(done_s) & can_be_dry).any():
        beliefs = _after(bodies, beliefs, air, look_s, at_s)
        after = _worst(_waters(bodies, beliefs, first_m), limits)
        done_s = _first(done_s, at_s, look_s, -before, -after)
        before, at_s, look_s = after, at_s + look_s, look_s * _LOOK_GROWTH
    low, middle, high = _time_spread(done_s)
    return Spread(p10=low, p50=middle, p90=high)


def _worst(waters: _Waters, limits: Array) -> Array:
    """By how much the worst of all is over its limit, relative to it; shape (13,)."""
    return np.asarray((waters.judged / np.maximum(limits, 1e-9) - 1.0).max(axis=0))


def _first(found: Array, at_s: float, look_s: float, before: Array, after: Array) -> Array:
    """Times at which something first rises to 0, straight between two looks."""
    share = np.clip(-before / np.where(after > before, after - before, 1.0), 0.0, 1.0)
    return np.where(np.isinf(found) & (after >= 0.0), at_s + share * look_s, found)


def _time_spread(times_s: Array) -> tuple[float | None, float | None, float | None]:
    """10th percentile, nominal member and 90th [h]; None where it does not come to pass in time."""
    low, high = (float(np.quantile(times_s[1:], share, method="inverted_cdf")) for share in (0.1, 0.9))
    middle = float(times_s[0])
    hours = (min(low, middle), middle, max(high, middle))
    early, likely, late = (_two_digits(h / _HOUR_S) if np.isfinite(h) else None for h in hours)
    return early, likely, late


def _two_digits(value: float) -> float:
    return float(f"{value:.2g}")
