"""What any estimator could know of a box at best: the posterior of a smoother that is given the truth's own structure.

Each box runs beside copies of itself with one unknown moved a little; how far the readings move, against
the sensor's noise and the same beliefs beforehand, bounds every unknown (Cramer and Rao, with priors).
Openings, the weather to come and the room's humidity count as known: a real estimator knows less.
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from support.box_truth import DAY_S, Array, TrueBox, TrueSpool, Truth

# Readings averaged over half an hour: six of 0.05 %RH each, rounded to 0.01.
EVERY_S, NOISE_SD = 1800.0, 0.0002
# Where they also wander, each half hour weighs as one of these per correlation time of a day and a half.
_WANDER_S = 1.5 * DAY_S
ROOM_LN_SD = 0.03  # the room's own sensor, as a share of what leaks in
_STARTS_SD = {"dried": 0.023, "open": 0.058, "unknown": 0.121}
# Unknowns of a box: standard deviation beforehand, and by how much a copy is moved.
_OF_BOX = {
    "air_changes_h": (0.865, 0.1),  # of its logarithm
    "dry_kg": (0.05, 0.02),  # relative
    "batch": (0.08, 0.03),
    "tilt": (0.10, 0.05),
    "bed_depth_m": (0.00375, 0.0006),
    "bead_m": (0.00058, 0.0002),
    "start_humidity": (0.0072, 0.002),
}
# Of a spool: what it started at, and what Truth draws for it, in that order.
_OF_SPOOL = {"start": 0.02, "solid": 0.006, "through": 0.03, "diffusivity": 0.3, "factor": 0.5}
_DRAWN_SD = {"solid": 0.0173, "through": 0.0866, "diffusivity": 1.0, "factor": 1.0}
COPIES = 1 + len(_OF_BOX) + 2 * len(_OF_SPOOL)


class _Nudged:
    """The dice for one spool, one of whose draws comes out a little higher."""

    def __init__(self, seed: list[int], nudged: str | None) -> None:
        self._dice, self._names, self._nudged = np.random.default_rng(seed), list(_DRAWN_SD), nudged

    def uniform(self, low: float, high: float) -> float:
        return float(self._dice.uniform(low, high)) + self._nudge()

    def standard_normal(self) -> float:
        return float(self._dice.standard_normal()) + self._nudge()

    def _nudge(self) -> float:
        name = self._names.pop(0)
        return _OF_SPOOL[name] if name == self._nudged else 0.0


class _Tiled:
    """Dice that throw the same for every copy."""

    def __init__(self, dice: np.random.Generator, count: int) -> None:
        self._dice, self._count = dice, count

    def standard_normal(self, _: int) -> Array:
        return np.tile(self._dice.standard_normal(self._count), COPIES)

    def uniform(self, low: float, high: float, _: int) -> Array:
        return np.tile(self._dice.uniform(low, high, self._count), COPIES)

    def random(self, _: int) -> Array:
        return np.tile(self._dice.random(self._count), COPIES)


class _Copies(Truth):
    """All boxes, then all of them again with the first unknown moved, and so on."""

    def __init__(self, boxes: list[TrueBox], seed: int) -> None:
        self._seed, self._base = seed, len(boxes)
        moved = [_moved(box, copy) for copy in range(COPIES) for box in boxes]
        self._tiled = _Tiled(np.random.default_rng([seed, 1]), len(boxes))
        super().__init__(moved, seed)

    def _wind(self, body: int, spool: TrueSpool) -> None:
        column, place = body % self._count, body // self._count - 1
        nudged = _spool_unknown(column // self._base)
        name = nudged[1] if nudged and nudged[0] == place else None
        self._dice = _Nudged([self._seed, 2, column % self._base, place], name)  # type: ignore[assignment]
        super()._wind(body, spool)
        self._dice = self._tiled  # type: ignore[assignment]

    def _lids(self, now_s: float, step_s: float) -> Array:
        chance = np.array([box.openings_week for box in self._boxes]) * step_s / (7.0 * DAY_S)
        opens = self._dice.random(self._count) < chance
        minutes = np.floor(1.0 + 4.0 * self._dice.random(self._count))
        self._open_until = np.where(opens, now_s + 60.0 * minutes, self._open_until)
        is_open = self._open_until > now_s
        return np.where(is_open, self._leak + self._volume / 40.0, self._leak)


def _spool_unknown(copy: int) -> tuple[int, str] | None:
    index = copy - 1 - len(_OF_BOX)
    return None if index < 0 else (index // len(_OF_SPOOL), list(_OF_SPOOL)[index % len(_OF_SPOOL)])


def _moved(box: TrueBox, copy: int) -> TrueBox:
    if copy == 0:
        return box
    if copy <= len(_OF_BOX):
        name = list(_OF_BOX)[copy - 1]
        value, step = getattr(box, name), _OF_BOX[name][1]
        if name == "air_changes_h":
            return replace(box, air_changes_h=value * float(np.exp(step)))
        return replace(box, **{name: value * (1.0 + step) if name == "dry_kg" else value + step})
    place, name = _spool_unknown(copy) or (0, "")
    if name != "start" or place >= len(box.spools):
        return box
    spools = list(box.spools)
    spools[place] = replace(spools[place], start_humidity=spools[place].start_humidity + _OF_SPOOL["start"])
    return replace(box, spools=tuple(spools))


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Standard deviations of the best that can be known of one box."""

    leak_ln_sd: float  # after 14 days
    life_d: float
    left_sd_d: float  # of the days left, at half of the life
    settled_sd: float  # of the humidity that the bed settles to, at the end of the life
    by_then: float  # highest settled humidity within three quarters of the life
    soon_after: float  # settled humidity two days after its end


def limits(
    boxes: list[TrueBox], seed: int, days: float, *, offset_sd: float = 0.008, wander: float = 0.0
) -> list[Limit]:
    """The bound for every box whose life ends within `days`, and for its tightness in any case.

    Args:
        boxes: As they truly are.
        seed: Of weather and openings.
        days: To follow them.
        offset_sd: Of the sensor's constant error, 0 to 1.
        wander: Standard deviation of an error of readings that comes and goes within days, 0 to 1.
    """
    noise = float(np.hypot(NOISE_SD, wander * np.sqrt(2.0 * _WANDER_S / EVERY_S)))
    course = _Copies(boxes, seed).run(days, 300.0, EVERY_S)
    day = course.time_s / DAY_S
    found = []
    for column, box in enumerate(boxes):
        pick = slice(column, None, len(boxes))
        read, settled = course.humidity[:, pick], course.settled_humidity[:, pick]
        found.append(_limit(box, day, read, settled, offset_sd, noise))
    return found


def _limit(box: TrueBox, day: Array, read: Array, settled: Array, offset_sd: float, noise: float) -> Limit:
    steps, spreads = _steps(box)
    used = np.flatnonzero(spreads > 0.0)
    turn = (read[:, 1:][:, used] - read[:, :1]) / steps[used]
    turn = np.hstack([turn, np.ones((len(day), 1))])
    prior = np.append(spreads[used], offset_sd) ** -2
    leak_sd = float(np.sqrt(_posterior(turn[day <= 14.0], prior, noise)[0, 0] + ROOM_LN_SD**2))
    lives = np.array([_crossing(day, settled[:, copy], box.limit_humidity) for copy in (0, *(used + 1))])
    life_d = float(lives[0])
    if not np.isfinite(lives).all() or life_d < 4.0 or life_d + 2.0 > day[-1]:
        return Limit(
            leak_ln_sd=leak_sd, life_d=np.inf, left_sd_d=0.0, settled_sd=0.0, by_then=0.0, soon_after=0.0
        )
    half = _posterior(turn[day <= life_d / 2.0], prior, noise)
    slope = np.append((lives[1:] - life_d) / steps[used], 0.0)
    ended = int(np.searchsorted(day, life_d))
    rises = np.append((settled[ended, used + 1] - settled[ended, 0]) / steps[used], 0.0)
    full = _posterior(turn[: ended + 1], prior, noise)
    return Limit(
        leak_ln_sd=leak_sd,
        life_d=life_d,
        left_sd_d=float(np.sqrt(slope @ half @ slope)),
        settled_sd=float(np.sqrt(rises @ full @ rises)),
        by_then=float(settled[day <= 0.75 * life_d, 0].max()),
        soon_after=float(np.interp(life_d + 2.0, day, settled[:, 0])),
    )


def _steps(box: TrueBox) -> tuple[Array, Array]:
    """How far each copy was moved, and each unknown's spread beforehand; 0 where there is no such spool."""
    steps = [step for _, step in _OF_BOX.values()]
    spreads = [spread for spread, _ in _OF_BOX.values()]
    for place in range(2):
        for name, step in _OF_SPOOL.items():
            steps.append(step)
            if place >= len(box.spools):
                spreads.append(0.0)
            else:
                stated = box.spools[place].stated
                spreads.append(_STARTS_SD[stated] if name == "start" else _DRAWN_SD[name])
    return np.array(steps), np.array(spreads)


def _posterior(turn: Array, prior: Array, noise: float) -> Array:
    scale = prior**-0.5
    scaled = turn * scale
    information = scaled.T @ scaled / noise**2 + np.eye(len(prior))
    return np.asarray(np.linalg.inv(information) * np.outer(scale, scale))


def _crossing(day: Array, settled: Array, limit: float) -> float:
    reached = np.flatnonzero(settled >= limit)
    if not len(reached) or reached[0] == 0:
        return float("inf")
    at = int(reached[0])
    share = (limit - settled[at - 1]) / (settled[at] - settled[at - 1])
    return float(day[at - 1] + share * (day[at] - day[at - 1]))


def within_share(found: list[Limit], ratio: float = 1.5) -> float:
    """Share of boxes whose tightness could be told within a factor."""
    normal = NormalDist()
    return float(np.mean([2.0 * normal.cdf(np.log(ratio) / limit.leak_ln_sd) - 1.0 for limit in found]))


def days_error(found: list[Limit]) -> float:
    """Median of the error of the days left at half of a life, as a share of them."""
    dice = np.random.default_rng(1)
    ended = [limit for limit in found if np.isfinite(limit.life_d)]
    draws = [np.abs(dice.standard_normal(200)) * limit.left_sd_d / (limit.life_d / 2.0) for limit in ended]
    return float(np.median(np.concatenate(draws)))


def alarms(found: list[Limit], boxes: list[TrueBox], margin: float) -> tuple[float, float]:
    """Share late and share early of one who tells `spent` at the limit less a margin of humidity."""
    normal = NormalDist()
    late, early = [], []
    for limit, box in zip(found, boxes, strict=True):
        if np.isfinite(limit.life_d):
            told = box.limit_humidity - margin
            late.append(normal.cdf((told - limit.soon_after) / limit.settled_sd))
            early.append(1.0 - normal.cdf((told - limit.by_then) / limit.settled_sd))
    return float(np.mean(late)), float(np.mean(early))
