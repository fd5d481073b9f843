"""What changed in a box, and when: every kind of change at every half day, weighed by what it explains."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from monitor.estimate.box_belief import BoxBelief
from monitor.estimate.box_model import BoxModel
from monitor.physics.constants import Array
from monitor.physics.desiccant import HumidityTells, humidity_tells

DAY_S = 86_400.0
_LEAST_HISTORY = 8
_READ_UP_TO = 0.2
# Loading over time, apart from what the hypotheses explain: scatter of a half day, and a slow wander.
_SCATTER, _WANDER, _RELATIVE = 0.0009, 0.00035, 0.15
# One box is calmer than another: all of the noise by one of these factors, unknown.
_CALMNESS = (0.35, 1.0, 2.0)
# A half day whose openings let in more than this of the dry mass, and more than so many usual ones, had a lid
# that stood open for long; each of these has a strength of its own.
_EVENS_S = (0.5 * DAY_S, 2.0 * DAY_S, 6.0 * DAY_S)
_LONG_OPENING, _USUAL_OPENINGS, _AJAR_SD, _AJAR_MOST = 0.002, 8.0, 0.8, 4
# Air reads as much above the settled bed as the inflow of this time would raise it.
_LAG_S = 1.5 * DAY_S
# A fresh bed and what lies over it even out fast at first, and slowly then.
_SETTLING_S = (0.7 * DAY_S, 3.0 * DAY_S)
_LEAK_RATIOS, _CHARGE_RATIOS = (4.0, 7.0, 12.0, 20.0), (1.6, 2.0, 2.6)
_WET_SETTLING_D = (1.5, 5.0, 12.0)
_STEPS = (-0.05, -0.03, 0.03, 0.05)
# Of a lid that stood open for longer than most, or opened unseen: loading that came at once. A little is
# often so, and the bed's outside has more of it than the middle for days; much that fades is of wet contents.
_LITTLE_SD, _ONCE_SD = 0.0015, 0.006
_UNLIKELY_LN = -3.0
# Logarithm of a recovery: how half a charge moves it, its scatter, and now and then a lid not shut at once.
_SHIFT_LN, _SHIFT_LN_SD = 0.7, 0.25
_RECOVERY_SD, _ODD_SHARE, _ODD_SD = 0.13, 0.08, 0.7
_NOTHING = 1e-300


class Change(StrEnum):
    LEAK = "leak"
    CHARGE = "charge"  # some of the desiccant is gone
    WET = "wet"
    SENSOR = "sensor"
    ONCE = "once"  # an opening out of the usual: nothing that lasts


# Of each kind within the history; desiccant seldom leaves a box unentered.
_PRIOR = {
    Change.LEAK: 0.03,
    Change.CHARGE: 0.02,
    Change.WET: 0.02,
    Change.SENSOR: 0.02,
    Change.ONCE: 0.20,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """How likely a kind of change is, and when it would have been."""

    probability: float
    days_ago: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Past:
    """The half days as arrays; loading is what the air's humidity stands for."""

    end_s: Array
    span_s: Array
    loading: Array
    leaked: Array  # per kg of desiccant and per m3/s of leak, within each half day
    lids: Array  # per kg of desiccant
    is_long: NDArray[np.bool_]  # half days in which a lid stood open for long
    settling_s: float
    usual_m3_s: float
    rise: float  # of loading per unit of humidity
    recovered: NDArray[np.intp]  # half days in which a recovery was measured
    recovery_ln: Array  # what it told


@dataclass(frozen=True, slots=True, kw_only=True)
class _Course:
    """One way for the loading to have run: free strengths times rows, beside what is fixed."""

    rows: Array  # shape (strengths, half days)
    widths: Array  # of the strengths
    known: Array | float = 0.0
    rising: int | None = None  # strengths from this one on have to be above 0


def changes(model: BoxModel, belief: BoxBelief) -> dict[Change, Changed]:
    """Each kind of change with its probability; empty while little is known or nothing told."""
    if (
        len(belief.history) < _LEAST_HISTORY
        or humidity_tells(model.kind, _READ_UP_TO) is not HumidityTells.LOADING
    ):
        return {}
    past = _past(model, belief)
    judge = _Judge(past)
    calm = judge.evidence([_usual(past, np.ones(len(past.loading)))])[0]
    days = range(3, len(past.loading) - 1)
    weights: dict[Change, float] = {}
    when: dict[Change, float] = {}
    for kind, prior in _PRIOR.items():
        scores = _scores(kind, past, days, judge)
        peak = float(scores.max())
        weights[kind] = prior * math.exp(min(peak - calm, 600.0)) * float(np.exp(scores - peak).mean())
        when[kind] = float(past.end_s[-1] - past.end_s[days[int(scores.argmax())] - 1]) / DAY_S
    if belief.sensor_step and belief.seen_s - belief.stepped_s < past.end_s[-1]:
        # Air cannot rise within one reading and then stand still: the sensor did.
        weights[Change.SENSOR] = max(weights[Change.SENSOR], 20.0 * sum(weights.values()), 20.0)
        when[Change.SENSOR] = (belief.seen_s - belief.stepped_s) / DAY_S
    total = 1.0 - sum(_PRIOR.values()) + sum(weights.values())
    return {kind: Changed(probability=weights[kind] / total, days_ago=when[kind]) for kind in weights}


def _past(model: BoxModel, belief: BoxBelief) -> _Past:
    history = belief.history
    span_s = np.array([half.span_s for half in history])
    lids = np.array([half.lid_water_kg for half in history]) / model.dry_kg
    settling = [sorber.settling_s for sorber in model.sorbers] or [3.0 * DAY_S]
    return _Past(
        end_s=np.cumsum(span_s),
        span_s=span_s,
        loading=model.tables.loading_at(np.array([half.humidity_25c for half in history])),
        leaked=np.array([half.drive_kg_m3 for half in history]) * span_s / model.dry_kg,
        lids=lids,
        is_long=lids > max(_LONG_OPENING, _USUAL_OPENINGS * belief.openings_water_kg / model.dry_kg),
        settling_s=max(settling),
        usual_m3_s=0.06 / 3600.0 * model.volume_m3,
        rise=float(np.diff(model.tables.loading_at(np.array([0.05, 0.20])))[0]) / 0.15,
        recovered=np.flatnonzero([half.recovery_ln is not None for half in history]),
        recovery_ln=np.array([half.recovery_ln for half in history if half.recovery_ln is not None]),
    )


def _scores(kind: Change, past: _Past, days: range, judge: "_Judge") -> Array:
    """Logarithm of the evidence for one kind of change at each half day."""
    courses = [_courses(kind, past, day) for day in days]
    found = judge.evidence([course for of_day in courses for course in of_day]).reshape(len(days), -1)
    peak = found.max(axis=1)
    scores = peak + np.log(np.exp(found - peak[:, None]).mean(axis=1))
    return np.asarray(scores + [_needs_lid(kind, past, day) + _recoveries(kind, past, day) for day in days])


def _needs_lid(kind: Change, past: _Past, day: int) -> float:
    """Desiccant and spools pass through an open lid; a sensor does not wait for one."""
    if kind in (Change.LEAK, Change.ONCE):
        return 0.0
    was_opened = bool(past.lids[day - 1 : day + 1].any())
    return 0.0 if was_opened != (kind is Change.SENSOR) else _UNLIKELY_LN


def _recoveries(kind: Change, past: _Past, day: int) -> float:
    """Evidence of the openings' recoveries, against none of them having changed.

    Of what an opening brought, air keeps the more the less area the bed has: half the grams, twice as much.
    No other change does that.
    """
    if kind is not Change.CHARGE or not len(past.recovered):
        return 0.0
    places = np.array([-1.5, -0.75, 0.0, 0.75, 1.5])
    weights = np.exp(-0.5 * places**2)
    shifts = np.append(_SHIFT_LN + _SHIFT_LN_SD * places, 0.0)
    level = np.median(past.recovery_ln) + np.linspace(-1.5, 1.5, 61)[:, None, None]
    off = past.recovery_ln - level - (past.recovered >= day) * shifts[:, None]
    usual = (1.0 - _ODD_SHARE) / _RECOVERY_SD * np.exp(-0.5 * (off / _RECOVERY_SD) ** 2)
    odd = _ODD_SHARE / _ODD_SD * np.exp(-0.5 * (off / _ODD_SD) ** 2)
    likelihood = np.exp(np.log(usual + odd + _NOTHING).sum(axis=2)).sum(axis=0)
    changed = float(likelihood[:-1] @ weights / weights.sum())
    return math.log((changed + _NOTHING) / (float(likelihood[-1]) + _NOTHING))


def _courses(kind: Change, past: _Past, day: int) -> list[_Course]:
    count = len(past.loading)
    after = (np.arange(count) >= day).astype(float)
    if kind is Change.LEAK:
        return [_flowing(past, ratio, after, with_lids=False) for ratio in _LEAK_RATIOS]
    if kind is Change.CHARGE:
        return [_flowing(past, ratio, after, with_lids=True) for ratio in _CHARGE_RATIOS]
    usual = _usual(past, np.ones(count))
    since_s = np.maximum(past.end_s - past.end_s[day - 1], 0.0)
    if kind is Change.ONCE:
        rows = np.vstack([after, *(after * np.exp(-since_s / evens_s) for evens_s in _EVENS_S[:2])])
        return [_more(usual, rows, widths) for widths in ([_LITTLE_SD] * 3, [_ONCE_SD, 0.0, 0.0])]
    if kind is Change.SENSOR:
        width = 0.012 * past.rise
        return [_more(usual, after[None, :], [width], known=step * past.rise * after) for step in _STEPS]
    wet = []
    for settling_d in _WET_SETTLING_D:
        left = np.exp(-since_s / (settling_d * DAY_S)) * after
        wet.append(_more(usual, np.vstack([after - left, left]), [0.05, 0.03], rising=len(usual.rows)))
    return wet


def _flowing(past: _Past, ratio: float, after: Array, *, with_lids: bool) -> _Course:
    """More water for each kg of desiccant from one day on."""
    course = _usual(past, 1.0 + (ratio - 1.0) * after, with_lids=with_lids)
    # How far the air runs ahead of the bed is known within a factor only.
    ahead = past.leaked / past.span_s * _LAG_S * (ratio - 1.0) * after
    return _more(course, ahead[None, :], [past.usual_m3_s])


def _usual(past: _Past, factor: Array, *, with_lids: bool = False) -> _Course:
    """What moves the loading in any case, and how large each may be: start, leak, lids, spools settling."""
    inflow = past.leaked * factor
    leaked = np.cumsum(inflow) + _LAG_S * inflow / past.span_s
    lids = np.cumsum(past.lids * (factor if with_lids else 1.0))
    settling = [np.exp(-past.end_s / settling_s) for settling_s in (*_SETTLING_S, past.settling_s)]
    ajar = _ajar(past)
    return _Course(
        rows=np.vstack([np.ones(len(leaked)), leaked, lids, *settling, *ajar]),
        widths=np.array([0.2, past.usual_m3_s, 0.8] + [0.03] * len(settling) + [_AJAR_SD] * len(ajar)),
    )


def _ajar(past: _Past) -> list[Array]:
    """Steps of the lids that stood open for long: what these let in is known within a factor only."""
    long = np.flatnonzero(past.is_long)
    rows: list[Array] = []
    for day in sorted(long[np.argsort(past.lids[long])[-_AJAR_MOST:]]):
        # Its half day is told by the time before it, by the time after it, or by some of both.
        at_once, came = (past.lids[day] * (np.arange(len(past.lids)) >= begun) for begun in (day, day + 1))
        # The bed's outside is fuller than its middle for days, and the air tells of the outside.
        since_s = np.maximum(past.end_s - past.end_s[day], 0.0)
        rows += [at_once, came, *(came * np.exp(-since_s / evens_s) for evens_s in _EVENS_S)]
    return rows


def _more(
    course: _Course,
    rows: Array,
    widths: list[float],
    *,
    known: Array | float = 0.0,
    rising: int | None = None,
) -> _Course:
    return _Course(
        rows=np.vstack([course.rows, rows]),
        widths=np.concatenate([course.widths, widths]),
        known=known,
        rising=rising,
    )


class _Judge:
    """How well courses explain one past, their strengths integrated out."""

    def __init__(self, past: _Past) -> None:
        count = len(past.loading)
        self._loading = past.loading
        rise = np.abs(np.gradient(past.loading))
        # A fast rise is told worse than a slow one, in proportion.
        scatter = np.diag(_SCATTER**2 + (_RELATIVE * rise) ** 2)
        wander = np.cumsum(_WANDER**2 + (_RELATIVE * rise) ** 2)
        noise = scatter + wander[np.minimum.outer(np.arange(count), np.arange(count))]
        self._white = np.linalg.inv(np.linalg.cholesky(noise))

    def evidence(self, courses: list[_Course]) -> Array:
        """Logarithm of each course's likelihood, up to what all have in common; shape (courses,)."""
        rows = np.array([course.rows * course.widths[:, None] for course in courses]) @ self._white.T
        seen = np.array([self._loading - course.known for course in courses]) @ self._white.T
        scales = np.array(_CALMNESS)[:, None]
        found = np.empty((len(scales), len(courses)))
        strengths = rows.shape[1]
        inner, outer = rows @ rows.transpose(0, 2, 1), (rows @ seen[:, :, None])[:, :, 0]
        length = (seen**2).sum(axis=1)
        for index, scale in enumerate(_CALMNESS):
            tight = np.eye(strengths) + inner / scale**2
            means = np.linalg.solve(tight, outer[:, :, None] / scale**2)[:, :, 0]
            size = length / scale**2 - (means * outer).sum(axis=1) / scale**2
            found[index] = -0.5 * size - 0.5 * np.linalg.slogdet(tight)[1]
            found[index] -= len(self._loading) * math.log(scale)
            found[index] -= [_falling(course, mean) for course, mean in zip(courses, means, strict=True)]
        peak = found.max(axis=0)
        return np.asarray(peak + np.log(np.exp(found - peak).mean(axis=0)))


def _falling(course: _Course, scaled_means: Array) -> float:
    """Contents that give off water only ever raise the loading."""
    if course.rising is None:
        return 0.0
    rest, at_once = (scaled_means * course.widths)[course.rising :]
    return 0.0 if rest > 0.0 and at_once > -0.002 else 20.0
