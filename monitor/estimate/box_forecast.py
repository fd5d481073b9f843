"""Where a box is heading: days until its desiccant is spent, and all that follows from the same courses."""

import math
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from statistics import NormalDist

import numpy as np

from monitor.estimate.box_belief import CAPACITY, LEAK, LUMPS, PACE, BoxBelief, square
from monitor.estimate.box_filter import mean_loading
from monitor.estimate.box_model import BoxModel
from monitor.model.catalogue import DesiccantKind
from monitor.physics.constants import Array
from monitor.physics.desiccant import HumidityTells, humidity_tells
from monitor.physics.isotherm import desiccant_loading
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

DAY_S = 86_400.0
LONGEST_DAYS = 730.0
COURSE_DAYS, COURSE_STEP_DAYS = 120.0, 2.0
_MEMBERS = 64
_PARTS = (0.1, 0.5, 0.9)
# The room's vapour over the time ahead against its recent mean: weather and season.
_ROOM_SD = 0.12
_OPENINGS_SD = 0.35
_LEAST_RATE_1_S = 0.3 / (7.0 * DAY_S)
_PER_HOUR = 3600.0
_QUICKENS_1_K, _CATALOGUE_C = 0.06, 23.0
# A grown leak, a warmer shelf: what the two-part bed and the lumped spools leave out of a forecast.
_MODEL_SD = 0.08
_READABLE_HUMIDITY = 0.02  # below it a sensor of the usual grade reads nothing
# Told when the smoothed evidence says that it is spent with 7 %: later it would be late too often.
_SPENT_Z, _SPENT_ENDS_Z = -1.45, -2.2
_FILL_DAYS = (30.0, 90.0)


class TellsBy(StrEnum):
    """What an answer about the loading rests on."""

    HUMIDITY = "humidity"
    WATER_LET_IN = "water let in"  # integrated, its doubt growing with time: weighing would be better


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantiles:
    """The 10th, 50th and 90th percentile."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """The room that a forecast assumes."""

    room_kg_m3: float
    temperature_c: float
    openings_per_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    tells_by: TellsBy
    days_left: Quantiles  # up to LONGEST_DAYS, which then means "or more"
    spent_probability: float
    settled_humidity: Quantiles  # of the whole bed, at 25 °C
    loading: Quantiles  # [kg/kg]
    used: Quantiles  # share of what is useful here
    water_kg: Quantiles  # in the desiccant
    air_changes_per_h: Quantiles
    leak_kg_per_day: Quantiles
    opening_kg: float  # let in by a usual opening
    opening_days: float | None  # of life that it costs; None where there is no end in sight
    fill_kg_30_days: Quantiles  # fresh, dry desiccant
    fill_kg_90_days: Quantiles
    course: tuple["Ahead", ...]  # from now on


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """The box some days from now."""

    days: float
    loading: Quantiles  # [kg/kg]
    relative_humidity: Quantiles  # over the settled bed at the usual temperature


def usual_outlook(belief: BoxBelief) -> Outlook:
    """As it has been lately."""
    return Outlook(
        room_kg_m3=belief.usual_room_kg_m3 or 0.009,
        temperature_c=belief.usual_temperature_c,
        openings_per_s=max(belief.openings_per_s, _LEAST_RATE_1_S),
    )


def forecast(model: BoxModel, belief: BoxBelief, outlook: Outlook | None = None) -> Forecast:
    """All that can be said of the time ahead, by following many boxes that the belief allows."""
    ahead = outlook or usual_outlook(belief)
    draws = _members(len(belief.state) + 2)
    states = _drawn_states(belief, draws)
    room_factor = np.exp(_ROOM_SD * draws[-1])
    model_factor = np.exp(_MODEL_SD * draws[-2])
    limit = model.tables.limit_loading
    days, inflow_kg, course = _followed(model, belief, ahead, states, room_factor, model_factor)
    loading = mean_loading(states)
    dry_kg = model.dry_kg * np.exp(states[CAPACITY])
    leak_m3_s = np.exp(states[LEAK])
    drive = ahead.room_kg_m3 - _inside_kg_m3(model, loading, ahead.temperature_c)
    fresh = min(model.loading, 0.9 * limit)
    useful = max(limit - model.loading, 1e-6)
    per_kg = np.maximum(limit - fresh, 1e-6) * np.exp(states[CAPACITY])
    median_days = float(np.median(days))
    pace_kg_s = float(np.median(dry_kg * np.maximum(limit - loading, 0.0) / (np.maximum(days, 0.1) * DAY_S)))
    return Forecast(
        tells_by=tells_by(model, belief),
        days_left=_quantiles(days),
        spent_probability=spent_probability(model, belief),
        settled_humidity=_quantiles(model.tables.humidity(loading, 25.0)),
        loading=_quantiles(loading),
        used=_quantiles(np.clip((loading - model.loading) / useful, 0.0, 1.0)),
        water_kg=_quantiles(dry_kg * loading),
        air_changes_per_h=_quantiles(leak_m3_s / model.volume_m3 * _PER_HOUR),
        leak_kg_per_day=_quantiles(leak_m3_s * drive * DAY_S),
        opening_kg=belief.openings_water_kg,
        opening_days=(
            belief.openings_water_kg / pace_kg_s / DAY_S
            if 0.0 < median_days < LONGEST_DAYS and pace_kg_s > 0.0
            else None
        ),
        fill_kg_30_days=_quantiles(np.maximum(inflow_kg[0], 0.0) / per_kg),
        fill_kg_90_days=_quantiles(np.maximum(inflow_kg[1], 0.0) / per_kg),
        course=course,
    )


def tells_by(model: BoxModel, belief: BoxBelief) -> TellsBy:
    """Whether the air's humidity is this bed's fuel gauge, here and now."""
    tells = humidity_tells(model.kind, model.limit_humidity)
    if tells is HumidityTells.LOADING:
        return TellsBy.HUMIDITY
    settled = float(model.tables.humidity(mean_loading(np.array(belief.state)[:, None]), 25.0)[0])
    # A sieve that is nearly full lets the humidity rise at last.
    is_rising = tells is HumidityTells.NEARLY_FULL and settled > _READABLE_HUMIDITY
    return TellsBy.HUMIDITY if is_rising else TellsBy.WATER_LET_IN


def spent_probability(model: BoxModel, belief: BoxBelief) -> float:
    """That the humidity to which the whole bed settles has reached the limit of the material inside."""
    size = len(belief.state)
    weights = np.zeros(size)
    weights[:2] = mean_loading(np.eye(2))
    loading = float(weights @ np.array(belief.state))
    loading_sd = math.sqrt(max(float(weights @ square(belief.covariance, size) @ weights), 1e-12))
    return NormalDist().cdf((loading - model.tables.limit_loading) / loading_sd)


def is_spent(belief: BoxBelief, *, was_spent: bool) -> bool:
    """Whether `spent` is to be told, with hysteresis: a dry afternoon takes nothing back.

    Args:
        belief: After the newest reading.
        was_spent: What was told last.
    """
    if belief.spent_z is None:
        return False
    return belief.spent_z >= (_SPENT_ENDS_Z if was_spent else _SPENT_Z)


def bag_days(
    kind: DesiccantKind,
    dry_kg: float,
    loading: float,
    limit_humidity: float,
    film_kg_per_day: float,
    opening_kg: float = 0.0,
    openings_per_day: float = 0.0,
) -> float:
    """Days until the desiccant of a bag without a sensor is spent at the worst: full drift, nothing measured.

    Args:
        kind: Of desiccant.
        dry_kg: Of it [kg].
        loading: When the bag was shut [kg/kg].
        limit_humidity: Of the most demanding material inside, 0 to 1.
        film_kg_per_day: What the film lets through at the worst, as into a dry bag [kg/day].
        opening_kg: Water let in by one opening [kg].
        openings_per_day: How often it is opened.
    """
    left_kg = dry_kg * max(float(desiccant_loading(kind, limit_humidity)) - loading, 0.0)
    inflow = film_kg_per_day + opening_kg * openings_per_day
    return min(left_kg / inflow, LONGEST_DAYS) if inflow > 0.0 else LONGEST_DAYS


def _inside_kg_m3(model: BoxModel, loading: Array, temperature_c: float) -> Array:
    return model.tables.humidity(loading, temperature_c) * saturated_vapour_kg_m3(temperature_c)


def _followed(
    model: BoxModel, belief: BoxBelief, ahead: Outlook, states: Array, room_factor: Array, model_factor: Array
) -> tuple[Array, Array, tuple[Ahead, ...]]:
    """Days until each member is spent, water come into its bed within 30 and 90 days [kg], and the course."""
    loading, lumps = mean_loading(states), states[LUMPS:].copy()
    bed_kg = model.dry_kg * np.exp(states[CAPACITY])
    leak = np.exp(states[LEAK]) * model_factor
    lid_kg_s = (
        ahead.openings_per_s
        * belief.openings_water_kg
        * np.exp(_OPENINGS_SD * (room_factor - 1.0) / _ROOM_SD)
    )
    saturated = saturated_vapour_kg_m3(ahead.temperature_c)
    quickened = math.exp(_QUICKENS_1_K * (ahead.temperature_c - _CATALOGUE_C))
    lump_s = model.tables.lump_s * np.exp(states[PACE]) / quickened
    limit = model.tables.limit_loading
    days = np.where(loading >= limit, 0.0, np.inf)
    fills: list[Array] = []
    kept_days, kept = [0.0], [loading]
    came_kg, elapsed = np.zeros_like(loading), 0.0
    while elapsed < LONGEST_DAYS and not (len(fills) == len(_FILL_DAYS) and np.isfinite(days).all()):
        step = 0.25 if elapsed < 30.0 else 0.5 if elapsed < 120.0 else 2.0
        before = loading
        inside = model.tables.humidity(loading, ahead.temperature_c)
        gained = DAY_S * step * (leak * (ahead.room_kg_m3 * room_factor - inside * saturated) + lid_kg_s)
        if model.tables.spools:
            change = (model.tables.contents(inside) - lumps) * -np.expm1(-step * DAY_S / lump_s)
            lumps = lumps + change
            gained = gained - (model.tables.lump_kg * change).sum(axis=0)
        loading = np.maximum(loading + gained / bed_kg, 0.0)
        came_kg = came_kg + gained
        crossing = np.isinf(days) & (loading >= limit)
        within = (limit - before) / np.maximum(loading - before, 1e-12)
        days = np.where(crossing, elapsed + step * np.clip(within, 0.0, 1.0), days)
        elapsed += step
        if elapsed <= COURSE_DAYS and elapsed % COURSE_STEP_DAYS == 0.0:
            kept_days.append(elapsed)
            kept.append(loading)
        if len(fills) < len(_FILL_DAYS) and elapsed >= _FILL_DAYS[len(fills)]:
            fills.append(came_kg.copy())
    course = _course(model, kept_days, np.array(kept), ahead.temperature_c)
    return np.minimum(days, LONGEST_DAYS), np.array(fills), course


def _course(model: BoxModel, days: list[float], loading: Array, temperature_c: float) -> tuple[Ahead, ...]:
    """Of the members' loadings, shape (days, members)."""
    loadings = np.quantile(loading, _PARTS, axis=1).T.tolist()
    humidities = np.quantile(model.tables.humidity(loading, temperature_c), _PARTS, axis=1).T.tolist()
    return tuple(
        Ahead(
            days=day,
            loading=Quantiles(p10=held[0], p50=held[1], p90=held[2]),
            relative_humidity=Quantiles(p10=air[0], p50=air[1], p90=air[2]),
        )
        for day, held, air in zip(days, loadings, humidities, strict=True)
    )


def _drawn_states(belief: BoxBelief, draws: Array) -> Array:
    size = len(belief.state)
    covariance = square(belief.covariance, size)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    states = np.array(belief.state)[:, None] + root @ draws[:size]
    states[:2] = np.maximum(states[:2], 1e-5)
    states[LUMPS:] = np.maximum(states[LUMPS:], 0.0)
    return np.asarray(states)


@cache
def _members(rows: int) -> Array:
    """Spread evenly and always the same: an additive recurrence in `rows` dimensions, made normal."""
    root = 1.5
    for _ in range(60):  # the root of x^(rows + 1) = x + 1
        root = (1.0 + root) ** (1.0 / (rows + 1))
    steps = root ** -np.arange(1.0, rows + 1.0)
    even = (0.5 + np.outer(steps, np.arange(1, _MEMBERS + 1))) % 1.0
    normal = NormalDist()
    draws = np.array(
        [[normal.inv_cdf(min(max(value, 1e-4), 1.0 - 1e-4)) for value in row] for row in even.tolist()]
    )
    draws -= draws.mean(axis=1, keepdims=True)
    return np.asarray(draws / draws.std(axis=1, keepdims=True))


def _quantiles(values: Array) -> Quantiles:
    low, middle, high = np.quantile(values, _PARTS).tolist()
    return Quantiles(p10=low, p50=middle, p90=high)
