"""Boxes to try the estimator on: drawn over all that people do, what they entered of them, what sensors read."""

import numpy as np
from support.box_truth import DAY_S, POLYMERS, Course, TrueBox, TrueSpool

from monitor.estimate.box_lid import BoxReading
from monitor.estimate.box_model import BoxModel, Sorber, spool_sorber
from monitor.library import load_library
from monitor.physics.isotherm import desiccant_loading, polymer_content
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

_STARTS = {"dried": (0.04, 0.12), "open": (0.30, 0.50), "unknown": (0.08, 0.50)}


def draw_boxes(count: int, seed: int) -> list[TrueBox]:
    """Boxes over the whole range of tightness, charge, contents and habits."""
    dice = np.random.default_rng(seed)
    return [_draw_box(dice) for _ in range(count)]


def _draw_box(dice: np.random.Generator) -> TrueBox:
    spools = tuple(_draw_spool(dice) for _ in range(int(dice.integers(1, 3))))
    stated_kg = dice.uniform(0.06, 0.30)
    return TrueBox(
        volume_m3=dice.uniform(0.008, 0.014) * (0.4 + 0.6 * len(spools)) * 1.2,
        air_changes_h=float(np.exp(dice.uniform(np.log(0.005), np.log(0.1)))),
        stated_dry_kg=stated_kg,
        dry_kg=stated_kg * (1.0 + 0.05 * dice.standard_normal()),
        batch=1.0 + 0.08 * float(np.clip(dice.standard_normal(), -2.5, 2.5)),
        tilt=0.1 * float(dice.standard_normal()),
        bed_depth_m=dice.uniform(0.005, 0.018),
        bead_m=dice.uniform(0.002, 0.004),
        start_humidity=dice.uniform(0.015, 0.04),
        spools=spools,
        openings_week=dice.uniform(0.0, 7.0),
        sensor_offset=0.008 * dice.standard_normal(),
        room_c=dice.uniform(19.0, 24.0),
        room_dew_c=dice.uniform(7.0, 13.0),
    )


def _draw_spool(dice: np.random.Generator) -> TrueSpool:
    stated = str(dice.choice(list(_STARTS), p=[0.5, 0.25, 0.25]))
    lowest, highest = _STARTS[stated]
    return TrueSpool(
        material=str(dice.choice(list(POLYMERS))),
        net_kg=dice.uniform(0.3, 1.0),
        start_humidity=dice.uniform(lowest, highest),
        stated=stated,
    )


def readings(course: Course, box: TrueBox, column: int, seed: int) -> list[BoxReading]:
    """What is read: offset, noise, resolution, gaps and now and then nonsense."""
    dice = np.random.default_rng([seed, 7, column])
    count = len(course.time_s)
    offset = box.sensor_offset + np.where((box.fault == "sensor") & (course.time_s >= box.fault_s), 0.04, 0.0)
    humidity = course.humidity[:, column] + offset + 0.0005 * dice.standard_normal(count)
    humidity = np.round(np.maximum(humidity, -0.06), 4)
    odd = dice.random(count) < 1e-4
    humidity[odd] = dice.uniform(0.3, 1.0, int(odd.sum()))
    warmth = course.temperature_c[:, column] + dice.normal(0.0, 0.1) + 0.03 * dice.standard_normal(count)
    room = course.room_humidity[:, column] + dice.normal(0.0, 0.015) + 0.001 * dice.standard_normal(count)
    heard = np.ones(count, dtype=bool)
    per_day = count / (course.time_s[-1] - course.time_s[0]) * DAY_S
    while heard.mean() > 1.0 - box.gap_share:
        start = int(dice.integers(0, count))
        heard[start : start + int(per_day * dice.exponential(0.4))] = False
    kept = np.flatnonzero(heard)
    saturated = np.array([saturated_vapour_kg_m3(float(warm)) for warm in course.room_c[:, column]])
    columns = (course.time_s, warmth, humidity, np.maximum(room, 0.0) * saturated)
    return [
        BoxReading(time_s=at_s, temperature_c=warm, relative_humidity=rh, room_kg_m3=room_kg_m3)
        for at_s, warm, rh, room_kg_m3 in zip(*(values[kept].tolist() for values in columns), strict=True)
    ]


# What an owner's word for a spool stands for: the humidity it had settled to, and its standard deviation.
_STATED = {"dried": (0.08, 0.03), "open": (0.40, 0.08), "unknown": (0.28, 0.15)}


def entered(box: TrueBox) -> BoxModel:
    """The box as its owner entered it, by the catalogue."""
    gel = load_library().desiccant("silica_gel_a")
    return BoxModel(
        volume_m3=box.volume_m3,
        kind=gel,
        dry_kg=box.stated_dry_kg,
        limit_humidity=box.limit_humidity,
        loading=float(desiccant_loading(gel, 0.0275)),
        loading_sd=0.006,
        filled_s=0.0,
        sorbers=tuple(_sorber(spool) for spool in box.spools),
        capacity_sd=0.10,
        offset_sd=0.008,
    )


def _sorber(spool: TrueSpool) -> Sorber:
    material = load_library().material(spool.material)
    humidity, humidity_sd = _STATED[spool.stated]
    low, middle, high = (
        float(polymer_content(material, at))
        for at in (humidity - humidity_sd, humidity, humidity + humidity_sd)
    )
    return spool_sorber(material, spool.net_kg, 0.00175, middle, (high - low) / 2.0)
