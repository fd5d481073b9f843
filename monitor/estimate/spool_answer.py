"""What a spool's belief answers: figures with their range, a verdict and the reason of each."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.estimate.ensemble import percent_spread, percentiles, three_digits
from monitor.estimate.spool_belief import Belief, Body, stack_states, stacked
from monitor.estimate.spool_course import Around, equilibrium, follow
from monitor.estimate.spool_track import Track
from monitor.model.answers import ProfilePoint, Spread
from monitor.physics.constants import Array
from monitor.physics.spool import spool_water_kg
from monitor.physics.spool_reading import (
    dry_length_m,
    mean_water_content,
    outer_water_content,
    profile,
    total_length_m,
    wound_kg,
)

HORIZON_S = 90 * 86_400.0
Passing = tuple[float | None, float | None]  # over after, under after [s]
_NEVER: Passing = (None, None)
_FIRST_LOOK_S, _LOOK_GROWTH = 1800.0, 1.3
_ALL_SHARE = 0.98  # of its length, under the limit: the whole spool is dry


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The figures of one spool at a time."""

    moisture_pct: Spread
    outer_pct: Spread
    water_g: Spread
    length_m: float
    left_g: float
    dry_length_m: Spread
    profile: tuple[ProfilePoint, ...]
    verdict: str  # "ready" | "dry_first" | "not_sure" | "damaged"
    verdict_why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What comes of a spool where it is."""

    heading_for_pct: float
    over_after_s: float | None  # when one in ten would say its outer windings are over the limit
    under_after_s: float | None  # when the mean, now over the limit, is under it by the nominal member
    trend: str  # "sealed" | "run" | "pause" | "recover"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Arrays:
    """What is read off many spools at once; shape (spools, 13), profiles (spools, rings)."""

    length_m: Array
    dry_m: Array
    mean: Array
    outer: Array
    water_g: Array
    left_g: Array
    depth_m: Array
    content: Array


def read(tracks: list[Track]) -> list[Reading]:
    """How each spool is."""
    if not tracks:
        return []
    bodies, beliefs = [t.body for t in tracks], [t.belief for t in tracks]
    parameters, state = stacked(bodies, beliefs), stack_states(beliefs)
    limits = np.array([body.material.limit_content for body in bodies])[:, None]
    depth, content = profile(parameters, state)
    arrays = _Arrays(
        length_m=total_length_m(parameters, state),
        dry_m=dry_length_m(parameters, state, limits),
        mean=mean_water_content(parameters, state),
        outer=outer_water_content(parameters, state),
        water_g=1000.0 * spool_water_kg(parameters, state),
        left_g=1000.0 * wound_kg(parameters, state),
        depth_m=depth[:, 0],
        content=content[:, 0],
    )
    return [_reading(track, arrays, number) for number, track in enumerate(tracks)]


def _reading(track: Track, arrays: _Arrays, number: int) -> Reading:
    length, dry_m = arrays.length_m[number], arrays.dry_m[number]
    mean, outer = arrays.mean[number], arrays.outer[number]
    water_g, left_g = percentiles(arrays.water_g[number]), float(arrays.left_g[number, 0])
    verdict, why = _verdict(track, mean, outer, dry_m / length, float(length[0]))
    return Reading(
        moisture_pct=percent_spread(mean),
        outer_pct=percent_spread(outer),
        water_g=_spread(water_g, _two_digits),
        length_m=_metres(float(length[0])),
        left_g=_two_digits(left_g) if left_g < 100 else float(round(left_g)),
        dry_length_m=_spread(percentiles(dry_m), _metres),
        profile=tuple(
            ProfilePoint(depth_m=round(float(d), 5), moisture_pct=three_digits(100.0 * float(m)))
            for d, m in zip(arrays.depth_m[number], arrays.content[number], strict=True)
        ),
        verdict=verdict,
        verdict_why=why,
    )


def outlooks(tracks: list[Track], around: list[Around]) -> list[Outlook]:
    """What comes of every spool if the air round it stays as it was lately."""
    arrive = [_heading_for(track, air) for track, air in zip(tracks, around, strict=True)]
    limits = [track.body.material.limit_content for track in tracks]
    means = [_nominal_mean(track) for track in tracks]
    # Only those that may pass their limit, upwards or downwards, are computed on.
    may_pass = [
        number
        for number, air in enumerate(around)
        if not air.is_sealed
        and (arrive[number].max() > limits[number] or means[number] > limits[number] > arrive[number][0])
    ]
    times = _passing([tracks[n] for n in may_pass], [around[n] for n in may_pass])
    passing = dict(zip(may_pass, times, strict=True))
    return [
        Outlook(
            heading_for_pct=three_digits(100.0 * float(arrive[number][0])),
            over_after_s=passing.get(number, _NEVER)[0],
            under_after_s=passing.get(number, _NEVER)[1],
            trend=_trend(track, air, float(arrive[number][0]), means[number]),
        )
        for number, (track, air) in enumerate(zip(tracks, around, strict=True))
    ]


def _heading_for(track: Track, around: Around) -> Array:
    body, belief = track.body, track.belief
    if around.is_sealed:
        return np.asarray(mean_water_content(stacked([body], [belief]), stack_states([belief]))[0])
    return equilibrium(body, belief, around)


def _passing(tracks: list[Track], around: list[Around]) -> list[Passing]:
    """When the outer windings pass the limit upwards (10th percentile of the members), the mean downwards.

    A spool of which both is known is not computed on.
    """
    if not tracks:
        return []
    bodies, beliefs = [t.body for t in tracks], [t.belief for t in tracks]
    limits = np.array([body.material.limit_content for body in bodies])[:, None]
    outer, mean = _outers(bodies, beliefs), _means(bodies, beliefs)
    over = np.where(outer > limits, 0.0, np.inf)
    under = np.where(mean > limits, np.inf, np.nan)
    at_s, look_s = 0.0, _FIRST_LOOK_S
    while at_s < HORIZON_S:
        open_ = np.flatnonzero(np.isinf(over).any(axis=1) | np.isinf(under[:, 0]))
        if len(open_) == 0:
            break
        those = [bodies[n] for n in open_]
        fresh, _ = follow(those, [beliefs[n] for n in open_], [around[n] for n in open_], look_s)
        for number, belief in zip(open_, fresh, strict=True):
            beliefs[number] = belief
        new_outer, new_mean, bound = _outers(those, fresh), _means(those, fresh), limits[open_]
        over[open_] = _first(over[open_], at_s, look_s, outer[open_] - bound, new_outer - bound)
        under[open_] = _first(under[open_], at_s, look_s, bound - mean[open_], bound - new_mean)
        outer[open_], mean[open_] = new_outer, new_mean
        at_s, look_s = at_s + look_s, look_s * _LOOK_GROWTH
    first = np.quantile(over[:, 1:], 0.1, axis=1, method="inverted_cdf")
    first = np.minimum(first, over[:, 0])
    return [(_finite(rise), _finite(fall)) for rise, fall in zip(first, under[:, 0], strict=True)]


def _first(found: Array, at_s: float, look_s: float, before: Array, after: Array) -> Array:
    """Times of the first passage of 0 upwards, straight between two looks."""
    share = np.clip(-before / np.where(after > before, after - before, 1.0), 0.0, 1.0)
    return np.where(np.isinf(found) & (after > 0.0), at_s + share * look_s, found)


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _means(bodies: list[Body], beliefs: list[Belief]) -> Array:
    return mean_water_content(stacked(bodies, beliefs), stack_states(beliefs))


def _nominal_mean(track: Track) -> float:
    return float(_means([track.body], [track.belief])[0, 0])


def _outers(bodies: list[Body], beliefs: list[Belief]) -> Array:
    return outer_water_content(stacked(bodies, beliefs), stack_states(beliefs))


def _trend(track: Track, around: Around, arrive: float, mean: float) -> str:
    """Three verbs kept apart (D-02); a reset is none of them: only drying does that."""
    if around.is_sealed:
        return "sealed"
    if arrive > track.body.material.limit_content:
        return "run"
    return "recover" if mean > 1.05 * arrive else "pause"


def _verdict(track: Track, mean: Array, outer: Array, dry_share: Array, length_m: float) -> tuple[str, str]:
    """What to do with it, and why, in one sentence."""
    material = track.body.material
    limit = material.limit_content
    if track.diary.spoiled is not None:
        return "damaged", f"It was judged beyond saving: {track.diary.spoiled}"
    if material.ruined_content is not None and percentiles(mean)[0] > material.ruined_content:
        return "damaged", "It holds so much water that its windings grow together: drying does not undo that."
    outer_low, outer_middle, outer_high = percentiles(outer)
    share_low, share_middle, _ = percentiles(dry_share)
    bound = _percent(limit)
    if outer_high <= limit and share_low >= _ALL_SHARE:
        return "ready", f"All of it is under its limit of {bound}, its outer windings and its core."
    if outer_high <= limit and share_low * length_m > 0.0:
        outside = f"the outer {_metres(share_low * length_m):g} m are sure to be under its limit of {bound}"
        if share_middle >= _ALL_SHARE:
            return "not_sure", (
                f"Probably all of it is dry enough, but only {outside}: for more, weigh it or dry it."
            )
        return "dry_first", f"Only {outside}: below them it is probably wetter."
    if outer_low > limit:
        looser = material.looser_limit_content
        if looser is not None and outer_high <= looser and percentiles(mean)[2] <= looser:
            return "dry_first", (
                f"Prints should look right (under {_percent(looser)}), but for full strength its makers"
                f" ask for less than {bound}."
            )
        return "dry_first", f"Its outer windings hold more than the {bound} above which prints suffer."
    side = "under" if outer_middle <= limit else "over"
    return "not_sure", (
        f"Its outer windings are probably {side} the limit of {bound}, but what is known leaves both open:"
        " weigh it or dry it."
    )


def _spread(values: tuple[float, float, float], rounded: Callable[[float], float]) -> Spread:
    low, middle, high = (rounded(value) for value in values)
    return Spread(p10=low, p50=middle, p90=high)


def _percent(content: float) -> str:
    return f"{100.0 * content:.2g} %"


def _two_digits(value: float) -> float:
    return float(f"{value:.2g}")


def _metres(value: float) -> float:
    """Whole metres, no more than three digits."""
    return float(f"{max(value, 0.0):.3g}") if value >= 100.0 else float(round(max(value, 0.0)))
