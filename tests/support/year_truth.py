"""A year of a site as it truly is: seasons, lids, leaks, charges changed, spools taken out and put back.

It is the truth of the boxes (`box_truth`) under one climate with a calendar of what people do. Nothing here
knows of the estimator or of alarms, but that somebody may be told: a charge is changed some days after it was
told to be used up. Who is told nothing notices some days after the bed has settled clearly over its limit, by
more than a sensor may err, as somebody does who looks once in a while.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from support.box_cases import draw_boxes
from support.box_truth import DAY_S, MINUTE_S, POLYMERS, Array, TrueBox, Truth, _saturated

from monitor.library import load_library
from monitor.service.limits import Limits

BLOCK_S = 300.0
HOUR_S = 3_600.0
# The lid's air needs so long to be like before; till then minutes are told apart.
_SETTLES_S = 1_200.0
_LEAK_TIMES = 10.0
_FRESH_HUMIDITY = (0.015, 0.04)
_DRIED, _WET = (0.04, 0.12), 0.45
_TABLE_DRIED = (0.04, 0.09)  # PETG, dried until it is under its limit of 10.5 %RH
_PEOPLE_LOOK_S = 6.0 * HOUR_S
_AIR = ("humidity", "temperature_c", "room_humidity", "room_c")
# Of each material by the catalogue, as the site is told it [0 to 1].
_LIMITS = Limits(load_library().materials)
LIMIT = {key: float(_LIMITS._humidity_pct[key]) / 100.0 for key in POLYMERS}


# Nobody changes desiccant every few days for what only an oven keeps as dry.
PRACTICAL = 0.10
SENSOR_ERROR = 0.018


def practical(limit_humidity: float) -> float:
    """The humidity at which people change the charge."""
    return max(limit_humidity, PRACTICAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    box: int
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """A spool is out of its box and comes back with other water in it."""

    box: int
    spool: int  # 0 or 1
    from_s: float
    to_s: float
    humidity: float  # to which its water has settled when it comes back
    is_wet: bool = False  # though it is entered as dried


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak:
    box: int
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What people do and what breaks; all in seconds from the start.

    The last `tables` boxes are none: air of the room round one spool, which lies there through its swaps.
    """

    openings: tuple[Opening, ...]
    swaps: tuple[Swap, ...]
    leaks: tuple[Leak, ...]
    late_s: tuple[float, ...]  # from a bed that is told to be spent, or is so clearly, to its change, by box
    tables: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Recharge:
    box: int
    at_s: float
    dry_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Some of the course in steps of five minutes; rows are moments, columns boxes, humidities fractions."""

    at: int  # number of its first row
    time_s: Array
    humidity: Array
    temperature_c: Array
    room_humidity: Array
    room_c: Array
    recharges: tuple[Recharge, ...]  # that came within it


# Takes a stretch, and gives the boxes that are told by then to have used up their desiccant.
Watch = Callable[[Stretch], frozenset[int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Year:
    """The course in steps of five minutes; rows are moments, columns boxes, humidities fractions."""

    boxes: tuple[TrueBox, ...]
    plan: Plan
    time_s: Array
    humidity: Array
    temperature_c: Array
    room_humidity: Array
    room_c: Array
    settled_time_s: Array
    settled: Array
    recharges: tuple[Recharge, ...]
    table_content: Array  # of the outer windings of what lies on tables [kg/kg]; columns tables


def draw_site(count: int, seed: int, tables: int = 0) -> list[TrueBox]:
    """Boxes as people keep them who change desiccant some three times a year: tight, with a large charge."""
    dice = np.random.default_rng([seed, 3])
    found = []
    for box in draw_boxes(count + tables, seed):
        stated_kg = dice.uniform(0.30, 0.60)
        found.append(
            replace(
                box,
                stated_dry_kg=stated_kg,
                dry_kg=stated_kg * box.dry_kg / box.stated_dry_kg,
                air_changes_h=float(np.exp(dice.uniform(np.log(0.004), np.log(0.02)))),
                room_c=21.0 + float(dice.uniform(-0.5, 0.5)),
                limit_humidity=min(LIMIT[spool.material] for spool in box.spools),
            )
        )
    return found[:count] + [_table(box) for box in found[count:]]


def _table(box: TrueBox) -> TrueBox:
    """The room's own air, and nothing that dries it."""
    one = replace(box.spools[0], material="petg")
    return replace(
        box, air_changes_h=400.0, stated_dry_kg=1e-6, dry_kg=1e-6, spools=(one,), openings_week=0.0
    )


def draw_plan(
    boxes: list[TrueBox], days: float, seed: int, leaks: tuple[Leak, ...] = (), tables: int = 0
) -> Plan:
    """Openings by day: most of a minute or four, some of 15 to 40 minutes, a few forgotten for hours."""
    dice = np.random.default_rng([seed, 4])
    openings, swaps = [], []
    for number, box in enumerate(boxes[: len(boxes) - tables]):
        for _ in range(dice.poisson(box.openings_week * days / 7.0)):
            lasts_s = MINUTE_S * float(dice.integers(1, 5))
            kind = dice.random()
            if kind < 0.03:
                lasts_s = MINUTE_S * float(dice.uniform(15.0, 40.0))
            elif kind < 0.04:
                lasts_s = HOUR_S * float(dice.uniform(2.0, 9.0))
            openings.append(_opening(number, _by_day(dice, days), lasts_s))
        for spool in range(len(box.spools)):
            for _ in range(dice.poisson(days / 60.0)):
                swaps.append(_swap(dice, number, spool, days))
    swaps = _apart(swaps)
    openings += [_opening(s.box, at_s, 180.0) for s in swaps for at_s in (s.from_s, s.to_s)]
    for table in range(len(boxes) - tables, len(boxes)):
        for at_d in np.arange(dice.uniform(3.0, 10.0), days - 5.0, max(days / 4.0, 8.0)):
            at_s, to_s = (float(d // (1.0 / 24.0)) * HOUR_S for d in (at_d, at_d + dice.uniform(1.0, 4.0)))
            swaps.append(
                Swap(box=table, spool=0, from_s=at_s, to_s=to_s, humidity=dice.uniform(*_TABLE_DRIED))
            )
    return Plan(
        tables=tables,
        openings=tuple(sorted(openings, key=lambda item: item.from_s)),
        swaps=tuple(swaps),
        leaks=leaks,
        late_s=tuple(float(dice.uniform(2.0, 5.0)) * DAY_S for _ in boxes),
    )


def _by_day(dice: np.random.Generator, days: float) -> float:
    at_s = (np.floor(dice.uniform(0.0, days)) + dice.uniform(8.0, 21.0) / 24.0) * DAY_S
    return float(at_s // MINUTE_S * MINUTE_S)


def _opening(box: int, at_s: float, lasts_s: float) -> Opening:
    return Opening(box=box, from_s=at_s, to_s=at_s + lasts_s)


def _swap(dice: np.random.Generator, box: int, spool: int, days: float) -> Swap:
    is_wet = bool(dice.random() < 0.05)
    from_s = _by_day(dice, days) // BLOCK_S * BLOCK_S
    return Swap(
        box=box,
        spool=spool,
        from_s=from_s,
        to_s=from_s + 8.0 * HOUR_S,
        humidity=_WET if is_wet else float(dice.uniform(*_DRIED)),
        is_wet=is_wet,
    )


def _apart(swaps: list[Swap]) -> list[Swap]:
    """One oven: who comes while another spool is in it waits for another day and is left out."""
    kept: list[Swap] = []
    for swap in sorted(swaps, key=lambda item: item.from_s):
        if not kept or swap.from_s > kept[-1].to_s + HOUR_S:
            kept.append(swap)
    return kept


class YearTruth(Truth):
    """All boxes of a site under one climate, through a plan."""

    def __init__(self, boxes: list[TrueBox], plan: Plan, seed: int) -> None:
        self._plan = plan
        self._todo = list(plan.openings)
        self._weather_at = (0.0, 0.0)
        self._due_s: list[float | None] = [None] * len(boxes)
        self._told: frozenset[int] = frozenset()
        self._fresh = np.random.default_rng([seed, 5])
        self._bed_scale = np.ones(len(boxes))
        self._out_touch: dict[int, float] = {}
        self.recharges: list[Recharge] = []
        self.spent: list[tuple[float, Array]] = []
        self._table_rows: list[Array] = []
        super().__init__(boxes, seed)
        for body in self._table_bodies():
            self._out_touch[body], self._touch[body] = float(self._touch[body]), 0.0
        self._refresh(0.0, 0.0)

    def _table_bodies(self) -> range:
        """The spools that lie on tables now and then."""
        return range(2 * self._count - self._plan.tables, 2 * self._count)

    def course(self, days: float, watch: Watch | None = None) -> Year:
        """The whole year, minute by minute where a lid was open lately, else in steps of five.

        `watch` is asked every six hours; without it nobody is told.
        """
        rows: dict[str, list[Array]] = {name: [] for name in _AIR}
        times: list[float] = []
        seen = 0
        for block in range(round(days * DAY_S / BLOCK_S)):
            now_s = block * BLOCK_S
            if watch is not None and block > 0 and now_s % _PEOPLE_LOOK_S == 0.0:
                self._told = watch(self._stretch(times, rows, seen))
                seen = block
            self._refresh(now_s, BLOCK_S)
            self._people(now_s)
            is_busy = self._is_busy(now_s)
            step_s = MINUTE_S if is_busy else BLOCK_S
            for step in range(round(BLOCK_S / step_s)):
                at_s = now_s + step * step_s
                self._step(step_s, self._lids(at_s, step_s))
            times.append(now_s + BLOCK_S)
            rows["humidity"].append(self._air / self._saturated)
            rows["temperature_c"].append(self._box_c.copy())
            rows["room_humidity"].append(self._room_vapour / _saturated(self._room_now_c))
            rows["room_c"].append(self._room_now_c.copy())
            of_tables = self._table_bodies()
            content = (self._weights[:, None, :] * self._water).sum(axis=0)[-2:, of_tables]
            self._table_rows.append(content.mean(axis=0))
        if watch is not None:
            watch(self._stretch(times, rows, seen))
        return Year(
            boxes=tuple(self._boxes),
            plan=self._plan,
            time_s=np.array(times),
            settled_time_s=np.array([at_s for at_s, _ in self.spent]),
            settled=np.array([settled for _, settled in self.spent]),
            recharges=tuple(self.recharges),
            table_content=np.array(self._table_rows),
            **{name: np.array(values) for name, values in rows.items()},
        )

    def _stretch(self, times: list[float], rows: dict[str, list[Array]], seen: int) -> Stretch:
        return Stretch(
            at=seen,
            time_s=np.array(times[seen:]),
            recharges=tuple(r for r in self.recharges if r.at_s >= seen * BLOCK_S),
            **{name: np.array(values[seen:]) for name, values in rows.items()},
        )

    def _weather(self, now_s: float, over_s: float) -> Array:
        """One climate for all rooms: warm damp summers, cool dry winters; it begins on the first of January."""
        dice, days = self._dice, now_s / DAY_S
        calm_c, calm_dew = np.exp(-over_s / (3.0 * DAY_S)), np.exp(-over_s / (2.5 * DAY_S))
        warm, dew = self._weather_at
        warm = calm_c * warm + 1.2 * np.sqrt(1.0 - calm_c**2) * dice.standard_normal()
        dew = calm_dew * dew + 2.5 * np.sqrt(1.0 - calm_dew**2) * dice.standard_normal()
        self._weather_at = (float(warm), float(dew))
        season, daily = np.sin(2.0 * np.pi * (days - 110.0) / 365.0), np.sin(2.0 * np.pi * (days - 0.4))
        self._room_now_c = self._room_c + 2.5 * season + warm + 1.8 * daily
        dews = 8.0 + 5.5 * season + dew + 0.5 * daily
        return np.minimum(dews, self._room_now_c - 2.0)

    def _is_busy(self, now_s: float) -> bool:
        while self._todo and self._todo[0].from_s < now_s + BLOCK_S:
            opening = self._todo.pop(0)
            until_s = self._open_until[opening.box]
            self._open_until[opening.box] = max(until_s, opening.to_s)
            self._openings[opening.box].append(opening.from_s)
        return bool((self._open_until > now_s - _SETTLES_S).any())

    def _lids(self, now_s: float, step_s: float) -> Array:  # noqa: ARG002  # as the base calls it
        is_open = self._open_until > now_s
        leak = self._leak * self._leak_factor(now_s)
        return np.where(is_open, leak + self._volume / 40.0, leak)

    def _leak_factor(self, now_s: float) -> Array:
        factor = np.ones(self._count)
        for leak in self._plan.leaks:
            if leak.from_s <= now_s < leak.to_s:
                factor[leak.box] = _LEAK_TIMES
        return factor

    def _people(self, now_s: float) -> None:
        for swap in self._plan.swaps:
            body = swap.box + (swap.spool + 1) * self._count
            if body in self._table_bodies():
                self._lay(body, swap, now_s)
            elif swap.from_s == now_s:
                self._out_touch[body] = float(self._touch[body])
                self._touch[body] = 0.0
                self._refresh(now_s, 0.0)
            elif swap.to_s == now_s and body in self._out_touch:
                self._touch[body] = self._out_touch.pop(body)
                self._fill(body, swap.humidity, now_s)
        if now_s % _PEOPLE_LOOK_S:
            return
        settled = self.settled()
        self.spent.append((now_s, settled))
        for box, humidity in enumerate(settled[: self._count - self._plan.tables]):
            self._look_at(box, float(humidity), now_s)

    def _lay(self, body: int, swap: Swap, now_s: float) -> None:
        """Onto a table, dry; and away from it."""
        if swap.from_s == now_s:
            self._touch[body] = self._out_touch[body]
            self._fill(body, swap.humidity, now_s)
        elif swap.to_s == now_s:
            self._touch[body] = 0.0
            self._refresh(now_s, 0.0)

    def _look_at(self, box: int, settled: float, now_s: float) -> None:
        due_s = self._due_s[box]
        if due_s is None:
            # What is told within a day of a change may still be of the charge before.
            filled_s = max((r.at_s for r in self.recharges if r.box == box), default=0.0)
            is_told = box in self._told and now_s >= filled_s + DAY_S
            if is_told or settled >= practical(self._boxes[box].limit_humidity) + SENSOR_ERROR:
                self._due_s[box] = now_s + self._plan.late_s[box]
            return
        if now_s < due_s or not 0.3 < now_s / DAY_S % 1.0 < 0.9:
            return
        self._due_s[box] = None
        self._recharge(box, now_s)

    def _recharge(self, box: int, now_s: float) -> None:
        stated = self._boxes[box].stated_dry_kg
        scale = float(np.clip(1.0 + 0.05 * self._fresh.standard_normal(), 0.85, 1.15))
        times = scale / self._bed_scale[box]
        self._bed_scale[box] = scale
        for values in (self._void, self._dry, self._link, self._touch, self._film):
            values[..., box] *= times
        self._fill(box, float(self._fresh.uniform(*_FRESH_HUMIDITY)), now_s)
        self.recharges.append(Recharge(box=box, at_s=now_s, dry_kg=stated))
        self._open_until[box] = now_s + 240.0

    def _fill(self, body: int, humidity: float, now_s: float) -> None:
        """Its water settled to a humidity throughout."""
        self._refresh(now_s, 0.0)
        self.humidity[:, body] = humidity
        content, _ = self._equilibrium()
        self._water[:, :, body] = content[:, body]
        self._pores[:, body] = self._saturated_3[body] * humidity
