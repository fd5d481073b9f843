"""How fast the wound spool is, alone and as a fleet, and against the reference solver at its accuracy."""

import time

import numpy as np
from physics.random_cases import HOURS, isotherm_of, pairs_of_cylinder, product_answers, random_case
from physics.reference_solver import Case, solve

from monitor.estimate.spool_answer import HORIZON_S, outlooks
from monitor.estimate.spool_belief import Belief, Body, stack_states, stacked
from monitor.estimate.spool_course import Around, follow
from monitor.estimate.spool_track import begin, dump, step
from monitor.library import load_library
from monitor.model.inventory import Spool
from monitor.physics.isotherm import curve_humidity
from monitor.physics.psychrometrics import dew_point_c
from monitor.physics.spool import (
    SpoolParameters,
    SpoolState,
    even_spool,
    spool_parameters,
    spool_water_kg,
    step_spool,
)
from monitor.physics.spool_reading import full_outer_m, mean_water_content, outer_water_content

_SPOOLS, _MEMBERS = 1000, 12
_CASES = 12
_COURSE_S = 36 * 3600.0


def run() -> dict[str, float]:
    """Milliseconds, ratios and errors."""
    parameters, fleet = _fleet()
    room_s, error = _fleet_step(parameters, fleet)
    begun_s = time.perf_counter()
    step_spool(parameters, fleet, _COURSE_S, 23.0, 0.3)
    course_s = (time.perf_counter() - begun_s) / (_SPOOLS * _MEMBERS)
    reference_s, alone_s, worst = _against_reference()
    return {
        "fleet_spools": _SPOOLS * _MEMBERS,
        "fleet_step_5_min_ms": 1e3 * room_s,
        "fleet_step_per_spool_us": 1e6 * room_s / (_SPOOLS * _MEMBERS),
        "fleet_course_36_h_per_spool_ms": 1e3 * course_s,
        "fleet_water_error_relative": error,
        "reference_course_36_h_ms": 1e3 * reference_s,
        "reference_over_fleet": reference_s / course_s,
        "alone_course_36_h_ms": 1e3 * alone_s,
        "reference_over_alone": reference_s / alone_s,
        "worst_error_of_mean_relative": worst,
        **_followed(),
        **_forecast(),
        "dew_point_us": 1e6 * _seconds_of(lambda: dew_point_c(1000.0), 2000),
    }


def _fleet() -> tuple[SpoolParameters, SpoolState]:
    library, dice = load_library(), np.random.default_rng(1)
    keys = sorted(library.materials)
    materials = [library.material(keys[spool % len(keys)]) for spool in range(_SPOOLS)]
    parameters = spool_parameters(materials, diameter_m=0.00175)
    outer_m = full_outer_m(parameters, dice.uniform(0.2, 1.0, _SPOOLS))
    humidity = dice.uniform(0.1, 0.6, (_MEMBERS, _SPOOLS))
    return parameters, even_spool(parameters, outer_m, 22.0, relative_humidity=humidity)


def _fleet_step(parameters: SpoolParameters, state: SpoolState) -> tuple[float, float]:
    """Seconds of one step of five minutes in a room whose temperature moves, and the worst water error."""
    before, came_in, steps = spool_water_kg(parameters, state), 0.0, 6
    begun_s = time.perf_counter()
    for number in range(steps):
        state, part_kg = step_spool(parameters, state, 300.0, 22.1 + 0.1 * number, 0.3)
        came_in = came_in + part_kg
    took_s = (time.perf_counter() - begun_s) / steps
    error = np.abs(spool_water_kg(parameters, state) - before - came_in) / before
    return took_s, float(error.max())


def _against_reference() -> tuple[float, float, float]:
    """Seconds a case by either solver, and the worst relative error of the mean moisture."""
    reference_s = alone_s = worst = 0.0
    for seed in range(_CASES):
        key, case = random_case(seed)
        begun_s = time.perf_counter()
        wanted = solve(case, list(HOURS), 220)
        reference_s += time.perf_counter() - begun_s
        begun_s = time.perf_counter()
        found = product_answers(key, case, _COURSE_S)
        alone_s += time.perf_counter() - begun_s
        worst = max(worst, *(abs(f.mean / w.mean - 1.0) for f, w in zip(found, wanted, strict=True)))
    return reference_s / _CASES, alone_s / _CASES, worst


def _followed() -> dict[str, float]:
    """One followed spool: a forecast of 90 days with its thirteen members, and what it takes to keep it."""
    library = load_library()
    body = Body(
        spool=Spool(key="a", name="a", material="pa6", diameter_mm=1.75, net_g=1000.0, start_pct=0.1),
        material=library.material("pa6"),
        reel=library.reel("unknown"),
    )
    track = begin(body, 0.0)
    air = Around(place="a", temperature_c=23.0, relative_humidity=0.03, relative_humidity_sd=0.015)
    state = track.belief.state
    arrays = (state.outer_m, state.vapour_kg_m3, state.temperature_c, state.strand)
    return {
        "forecast_90_days_13_members_ms": 1e3 * _seconds_of(lambda: outlooks([track], [air]), 5),
        "half_hour_13_members_ms": 1e3 * _seconds_of(lambda: step([track], [air], 1800.0), 20),
        "state_of_one_spool_bytes": sum(array.nbytes for array in arrays),
        "kept_state_of_one_spool_bytes": len(dump(step([track], [air], 86_400.0)[0])),
    }


def _forecast() -> dict[str, float]:
    """Ninety days of one spool with its thirteen members on a shelf, and what the reference needs for as many."""
    library = load_library()
    material, air_c, humidity = library.material("pa6"), 23.0, 0.45
    body = Body(
        spool=Spool(key="a", name="a", material="pa6", diameter_mm=1.75, net_g=1000.0, start_pct=0.1),
        material=material,
        reel=library.reel("unknown"),
    )
    track = begin(body, 0.0)
    air = Around(place="a", temperature_c=air_c, relative_humidity=humidity, relative_humidity_sd=0.0)
    own_s, found = _course_of_90_days(body, track.belief, air)
    parameters = spool_parameters(material, diameter_m=0.00175)
    start = float(curve_humidity(parameters.curve, 0.001))
    case = Case(
        outer_m=float(full_outer_m(parameters, 1.0)),
        solid=0.65,
        diffusion=0.21,
        film_m_s=3e-3,
        density=material.density_kg_m3,
        d23=material.diffusivity_m2_s,
        activation=material.activation_j_mol,
        isotherm=isotherm_of(material),
        pairs=pairs_of_cylinder(),
        air_c=air_c,
        air_rh=humidity,
        start_c=23.0,
        start_rh=start,
    )
    begun_s = time.perf_counter()
    wanted = solve(case, [hours for hours, _, _ in found], 220)
    reference_s = time.perf_counter() - begun_s
    worst = max(
        max(abs(mean / true.mean - 1.0), abs(outer / true.outer - 1.0))
        for (_, mean, outer), true in zip(found, wanted, strict=True)
    )
    return {
        "course_90_days_13_members_ms": 1e3 * own_s,
        "reference_90_days_1_member_ms": 1e3 * reference_s,
        "reference_13_members_over_course_90_days": 13.0 * reference_s / own_s,
        "worst_error_of_90_days_relative": worst,
    }


def _course_of_90_days(
    body: Body, belief: Belief, air: Around
) -> tuple[float, list[tuple[float, float, float]]]:
    """Seconds it took, and hours, mean and outer moisture of the nominal member, in a forecast's own looks."""
    took_s, at_s, look_s, found = 0.0, 0.0, 1800.0, []
    while at_s < HORIZON_S:
        begun_s = time.perf_counter()
        (belief,), _ = follow([body], [belief], [air], look_s)
        took_s += time.perf_counter() - begun_s
        at_s, look_s = at_s + look_s, look_s * 1.3
        parameters, state = stacked([body], [belief]), stack_states([belief])
        mean, outer = mean_water_content(parameters, state), outer_water_content(parameters, state)
        found.append((at_s / 3600.0, float(mean[0, 0]), float(outer[0, 0])))
    return took_s, found


def _seconds_of(call, times: int) -> float:
    begun_s = time.perf_counter()
    for _ in range(times):
        call()
    return (time.perf_counter() - begun_s) / times
