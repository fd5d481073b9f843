"""What is read in a year of boxes and what the estimator makes of it: the part between truth and alarms.

Readings of a SHT4x-class sensor with gaps; five-minute means through the very filter of the service. Forecast
and causes are worked out once a day, where the service does so every half hour; the water of a spool that
stays in its box through a change of the other is what a week of the box's air stands for, where the service
has a spool's own estimate.
"""

import math
from dataclasses import dataclass

import numpy as np
from support.box_cases import _STATED
from support.box_truth import DAY_S, Array
from support.year_truth import BLOCK_S, HOUR_S, Recharge, Year

from monitor.estimate import box_track
from monitor.estimate.box_diagnosis import diagnose
from monitor.estimate.box_forecast import LONGEST_DAYS, forecast
from monitor.estimate.box_lid import ASKED_ABOUT, BoxReading
from monitor.estimate.box_model import BoxModel, Sorber, spool_sorber
from monitor.library import load_library
from monitor.model.answers import Diagnosis
from monitor.physics.isotherm import desiccant_loading, polymer_content
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

INSIGHT_S = 24.0 * HOUR_S
NOTHING_INSIDE = 0.20
NODE_BOXES = 5
LIBRARY = load_library()
_NOISE, _RESOLUTION = 0.00027, 0.0001  # repeatability of 0.08 %RH is three sigma


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """What is not heard, in blocks: of each box, of each node, of the broker."""

    sensor: Array  # bool, shape (moments, boxes)
    node: Array  # bool, shape (moments, nodes)
    broker: Array  # bool, shape (moments,)

    def heard(self, box: int) -> Array:
        return ~(self.sensor[:, box] | self.node[:, box // NODE_BOXES] | self.broker)


@dataclass(frozen=True, slots=True, kw_only=True)
class Insight:
    """What was worked out at one moment."""

    at_s: float
    settled: float
    settled_early: float  # 90th percentile
    days: tuple[float, float, float] | None  # None = in no sight
    diagnosis: tuple[Diagnosis, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """One box as the site knows it, in blocks; humidities fractions, NaN where nothing was heard."""

    read: Array
    temperature_c: Array
    lid_since_s: Array  # NaN = shut
    is_spent: Array
    seen_s: Array
    insights: tuple[Insight, ...]
    asked: tuple[tuple[float, float, str], ...]  # noticed at, for when, kind


def draw_gaps(count: int, boxes: int, seed: int, broker: tuple[float, float] | None) -> Gaps:
    """Sensors fail for half an hour a month and for hours twice a year; nodes reboot, and lose power."""
    dice = np.random.default_rng([seed, 6])
    days = count * BLOCK_S / DAY_S
    nodes = -(-boxes // NODE_BOXES)
    sensor, node = np.zeros((count, boxes), dtype=bool), np.zeros((count, nodes), dtype=bool)
    for box in range(boxes):
        _cut(dice, sensor[:, box], days / 30.0, 0.6 * HOUR_S)
        _cut(dice, sensor[:, box], days / 180.0, 8.0 * HOUR_S)
    for number in range(nodes):
        _cut(dice, node[:, number], days / 30.0, 60.0)  # a reboot
        _cut(dice, node[:, number], days / 180.0, 2.0 * HOUR_S)
    away = np.zeros(count, dtype=bool)
    if broker is not None:
        away[round(broker[0] / BLOCK_S) : round(broker[1] / BLOCK_S)] = True
    return Gaps(sensor=sensor, node=node, broker=away)


def _cut(dice: np.random.Generator, into: Array, times: float, mean_s: float) -> None:
    for _ in range(dice.poisson(times)):
        start = int(dice.integers(0, len(into)))
        into[start : start + math.ceil(dice.exponential(mean_s) / BLOCK_S)] = True


def follow_box(year: Year, gaps: Gaps, box: int, seed: int) -> Followed:
    """Every reading of one box in order through the estimator."""
    return _Following(year, gaps, box, seed).run()


class _Following:
    """One box while it is followed."""

    def __init__(self, year: Year, gaps: Gaps, number: int, seed: int) -> None:
        self._year, self._number = year, number
        self._box = year.boxes[number]
        dice = np.random.default_rng([seed, 8, number])
        count = len(year.time_s)
        true = year.humidity[:, number] + self._box.sensor_offset
        heard = gaps.heard(number)
        sample = np.round(true + _NOISE * dice.standard_normal(count), 4)
        odd = dice.random(count) < 1e-5
        sample[odd] = dice.uniform(0.3, 1.0, int(odd.sum()))
        self._read = np.where(heard, np.maximum(sample, -0.06), np.nan)
        mean = true + _NOISE / math.sqrt(5.0) * dice.standard_normal(count)
        mean[odd] += (sample[odd] - true[odd]) / 5.0
        self._mean = mean
        warm = year.temperature_c[:, number] + dice.normal(0.0, 0.1) + 0.02 * dice.standard_normal(count)
        self._warm = np.where(heard, warm, np.nan)
        room = year.room_humidity[:, number] + dice.normal(0.0, 0.015) + 0.0005 * dice.standard_normal(count)
        self._room = np.maximum(room, 0.0) * np.asarray(saturated_vapour_kg_m3(year.room_c[:, number]))
        self._inside = dict.fromkeys(range(len(self._box.spools)))
        self._filled_s = 0.0
        self._told = self._changes()

    def _changes(self) -> list[tuple[float, object]]:
        """What people enter of this box, in order."""
        found: list[tuple[float, object]] = []
        for swap in self._year.plan.swaps:
            if swap.box == self._number:
                found += [(swap.from_s, (swap.spool, False)), (swap.to_s, (swap.spool, True))]
        found += [(r.at_s, r) for r in self._year.recharges if r.box == self._number]
        return sorted(found, key=lambda item: item[0])

    def limit_humidity(self) -> float:
        """Of what is inside now [0 to 1]."""
        from support.year_truth import LIMIT

        inside = [LIMIT[self._box.spools[spool].material] for spool in self._inside]
        return min(inside, default=NOTHING_INSIDE)

    def _model(self, stated: dict[int, tuple[float, float]]) -> BoxModel:
        gel = LIBRARY.desiccant("silica_gel_a")
        return BoxModel(
            volume_m3=self._box.volume_m3,
            kind=gel,
            dry_kg=self._box.stated_dry_kg,
            limit_humidity=self.limit_humidity(),
            loading=float(desiccant_loading(gel, 0.0275)),
            loading_sd=0.006,
            filled_s=self._filled_s,
            sorbers=tuple(self._sorber(spool, *stated[spool]) for spool in self._inside),
            capacity_sd=0.10,
            offset_sd=0.008,
        )

    def _sorber(self, spool: int, humidity: float, humidity_sd: float) -> Sorber:
        of = self._box.spools[spool]
        material = LIBRARY.material(of.material)
        low, middle, high = (
            float(polymer_content(material, max(at, 0.002)))
            for at in (humidity - humidity_sd, humidity, humidity + humidity_sd)
        )
        return spool_sorber(material, of.net_kg, 0.00175, middle, max((high - low) / 2.0, 1e-5))

    def run(self) -> Followed:
        count = len(self._mean)
        lid, spent, seen = np.full(count, np.nan), np.zeros(count, dtype=bool), np.zeros(count)
        insights: list[Insight] = []
        asked: list[tuple[float, float, str]] = []
        stated = {number: _STATED[s.stated] for number, s in enumerate(self._box.spools)}
        track = box_track.begin(self._model(stated), 0.0)
        due_s = HOUR_S
        for at in range(count):
            end_s = float(self._year.time_s[at])
            while self._told and self._told[0][0] < end_s:
                track = self._changed(track, at, self._told.pop(0)[1])
                due_s = min(due_s, end_s + HOUR_S)
            track, events = box_track.step(track, self._reading(at), end_s)
            asked += [(end_s, e.time_s, str(e.kind)) for e in events if e.kind in ASKED_ABOUT]
            belief = track.belief
            seen[at] = belief.seen_s
            spent[at] = track.spent_since_s is not None
            if belief.lid.phase == "open":
                lid[at] = belief.lid.since_s
            if end_s >= due_s and belief.blocks > 0:
                insights.append(_insight(track, end_s))
                due_s = end_s + INSIGHT_S
        return Followed(
            read=self._read,
            temperature_c=self._warm,
            lid_since_s=lid,
            is_spent=spent,
            seen_s=seen,
            insights=tuple(insights),
            asked=tuple(asked),
        )

    def _reading(self, at: int) -> list[BoxReading]:
        if math.isnan(self._warm[at]):
            return []
        return [
            BoxReading(
                time_s=float(self._year.time_s[at]) - BLOCK_S / 2.0,
                temperature_c=float(self._warm[at]),
                relative_humidity=float(self._mean[at]),
                room_kg_m3=float(self._room[at]),
            )
        ]

    def _changed(self, track: box_track.BoxTrack, at: int, told: object) -> box_track.BoxTrack:
        lately = self._mean[max(at - round(7.0 * DAY_S / BLOCK_S), 0) : at]
        stays = (max(float(np.median(lately)), 0.01) if len(lately) else 0.1, 0.03)
        stated = dict.fromkeys(self._inside, stays)
        if isinstance(told, Recharge):
            self._filled_s = told.at_s
            return box_track.changed(track, self._model(stated), is_new_charge=True)
        spool, is_back = told  # type: ignore[misc]  # as _changes made it
        if is_back:
            self._inside[spool] = None
            stated[spool] = _STATED["dried"]
        else:
            self._inside.pop(spool, None)
        self._inside = dict.fromkeys(sorted(self._inside))
        return box_track.changed(track, self._model(stated), is_new_charge=False)


def _insight(track: box_track.BoxTrack, at_s: float) -> Insight:
    told = forecast(track.model, track.belief)
    days = told.days_left
    return Insight(
        at_s=at_s,
        settled=told.settled_humidity.p50,
        settled_early=told.settled_humidity.p90,
        days=None if days.p50 >= LONGEST_DAYS else (days.p10, days.p50, days.p90),
        diagnosis=tuple(
            Diagnosis(
                cause=str(f.cause), probability=round(f.probability, 2), advice=f.act, evidence=f.evidence
            )
            for f in diagnose(track.model, track.belief, told)
        ),
    )
