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
from support.year_truth import BLOCK_S, HOUR_S, LIMIT, Plan, Recharge, Stretch, TrueBox

from monitor.estimate import box_track
from monitor.estimate.box_diagnosis import diagnose
from monitor.estimate.box_forecast import LONGEST_DAYS, forecast
from monitor.estimate.box_lid import ASKED_ABOUT, BoxReading
from monitor.estimate.box_model import BoxModel, Sorber, spool_sorber
from monitor.library import load_library
from monitor.model.answers import Diagnosis
from monitor.model.catalogue import KEPT_HUMIDITY
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


class Following:
    """One box while it is followed, from stretch to stretch."""

    def __init__(self, box: TrueBox, plan: Plan, heard: Array, number: int, seed: int) -> None:
        self._box, self._heard, self.number = box, heard, number
        dice = np.random.default_rng([seed, 8, number])
        count = len(heard)
        self._sample_error = _NOISE * dice.standard_normal(count)
        self._is_odd = dice.random(count) < 1e-5
        self._odd = np.full(count, np.nan)
        self._odd[self._is_odd] = dice.uniform(0.3, 1.0, int(self._is_odd.sum()))
        self._mean_error = _NOISE / math.sqrt(5.0) * dice.standard_normal(count)
        self._warm_error_c = dice.normal(0.0, 0.1) + 0.02 * dice.standard_normal(count)
        self._room_error = dice.normal(0.0, 0.015) + 0.0005 * dice.standard_normal(count)
        # As read, as far as it was followed.
        self._read, self._mean, self._warm, self._room = (np.full(count, np.nan) for _ in range(4))
        self._lid, self._spent, self._seen = np.full(count, np.nan), np.zeros(count, bool), np.zeros(count)
        self._insights: list[Insight] = []
        self._asked: list[tuple[float, float, str]] = []
        self._due_s = HOUR_S
        self._inside = dict.fromkeys(range(len(box.spools)))
        self._filled_s = 0.0
        self._entered: list[tuple[float, object]] = [
            entry
            for swap in plan.swaps
            if swap.box == number
            for entry in ((swap.from_s, (swap.spool, False)), (swap.to_s, (swap.spool, True)))
        ]
        stated = {spool: _STATED[s.stated] for spool, s in enumerate(box.spools)}
        self._track = box_track.begin(self._model(stated), 0.0)

    @property
    def is_told(self) -> bool:
        """Whether people hear by now that the desiccant is used up, by the rule of the alarm."""
        if self.limit_humidity() >= KEPT_HUMIDITY:
            return self._track.spent_since_s is not None
        return bool(self._insights) and self._insights[-1].settled_early > KEPT_HUMIDITY

    def limit_humidity(self) -> float:
        """Of what is inside now [0 to 1]."""
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

    def take(self, stretch: Stretch) -> None:
        """Go on through a stretch of the truth."""
        self._sense(stretch)
        entered = [*self._entered, *((r.at_s, r) for r in stretch.recharges if r.box == self.number)]
        self._entered = sorted(entered, key=lambda item: item[0])
        for at, time_s in enumerate(stretch.time_s, stretch.at):
            self._step(at, float(time_s))

    def _sense(self, stretch: Stretch) -> None:
        """What its sensor and that of its room read over a stretch."""
        span = slice(stretch.at, stretch.at + len(stretch.time_s))
        number, heard, odd = self.number, self._heard[span], self._is_odd[span]
        true = stretch.humidity[:, number] + self._box.sensor_offset
        sample = np.where(odd, self._odd[span], np.round(true + self._sample_error[span], 4))
        self._read[span] = np.where(heard, np.maximum(sample, -0.06), np.nan)
        self._mean[span] = true + self._mean_error[span] + np.where(odd, (sample - true) / 5.0, 0.0)
        self._warm[span] = np.where(
            heard, stretch.temperature_c[:, number] + self._warm_error_c[span], np.nan
        )
        room = np.maximum(stretch.room_humidity[:, number] + self._room_error[span], 0.0)
        self._room[span] = room * np.asarray(saturated_vapour_kg_m3(stretch.room_c[:, number]))

    def _step(self, at: int, end_s: float) -> None:
        while self._entered and self._entered[0][0] < end_s:
            self._track = self._changed(self._track, at, self._entered.pop(0)[1])
            self._due_s = min(self._due_s, end_s + HOUR_S)
        self._track, events = box_track.step(self._track, self._reading(at, end_s), end_s)
        self._asked += [(end_s, e.time_s, str(e.kind)) for e in events if e.kind in ASKED_ABOUT]
        belief = self._track.belief
        self._seen[at] = belief.seen_s
        self._spent[at] = self._track.spent_since_s is not None
        if belief.lid.phase == "open":
            self._lid[at] = belief.lid.since_s
        if end_s >= self._due_s and belief.blocks > 0:
            self._insights.append(_insight(self._track, end_s))
            self._due_s = end_s + INSIGHT_S

    def followed(self) -> Followed:
        """All of it, once the last stretch was taken."""
        return Followed(
            read=self._read,
            temperature_c=self._warm,
            lid_since_s=self._lid,
            is_spent=self._spent,
            seen_s=self._seen,
            insights=tuple(self._insights),
            asked=tuple(self._asked),
        )

    def _reading(self, at: int, end_s: float) -> list[BoxReading]:
        if math.isnan(self._warm[at]):
            return []
        return [
            BoxReading(
                time_s=end_s - BLOCK_S / 2.0,
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
