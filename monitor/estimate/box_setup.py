"""From what a person entered of a box to what the estimator is given of it."""

import math
from collections.abc import Iterable
from dataclasses import replace

from monitor.errors import BadInputError
from monitor.estimate.box_model import BoxModel, Sorber
from monitor.model.catalogue import DesiccantKind
from monitor.model.inventory import Box
from monitor.physics.desiccant import residual_loading
from monitor.physics.isotherm import desiccant_loading

# More bodies than this are told as fewer: the belief has to stay small, and humidity cannot part them anyway.
MOST_SORBERS = 3
# A charge's batch and its weighing on a kitchen scale, relative; a weighing at a known humidity is better.
CAPACITY_SD = 0.12
OFFSET_SD = 0.018  # of the usual sensor, 0 to 1
_ROOM_DEW_POINT_C = 12.0  # at regeneration
# From a sieve's oven, above where saturated vapour is tabled: 1 % or so is left (tables of regeneration).
_HOTTEST_C, _HOT_LEFT = 150.0, 0.01
_FRESH_HUMIDITY = 0.03  # that a charge from a shut tin holds
_STATED_SD, _FRESH_SD = 0.010, 0.008  # of a loading [kg/kg]
_LEAST_LIMIT = 0.01
# What a usual box takes up before anybody looks, of its dry mass a day, give or take as much again.
_UNSEEN_1_DAY, _UNSEEN_MOST = 0.0007, 0.10
# Nobody said when it was filled: anywhere between fresh and what the contents ask for, and the air will tell.
_UNDATED, _UNDATED_SD = 0.25, 0.45
_DAY_S = 86_400.0


def box_model(
    box: Box,
    kind: DesiccantKind,
    limit_humidity: float,
    sorbers: Iterable[Sorber] = (),
    *,
    now_s: float,
    capacity_sd: float = CAPACITY_SD,
    offset_sd: float = OFFSET_SD,
) -> BoxModel:
    """A box with its charge and contents as entered.

    Args:
        box: With a charge of desiccant.
        kind: Of that charge.
        limit_humidity: Of the most demanding material inside, 0 to 1.
        sorbers: Spools inside, see `spool_sorber`; cardboard too.
        now_s: When following begins. What a charge took up between its filling and now is guessed, with as
            much doubt; without a time of filling it may be anything up to spent [Unix seconds].
        capacity_sd: Of batch and mass together, relative.
        offset_sd: Of the sensor, 0 to 1; smaller after a check over a salt.

    Raises:
        BadInputError: There is no desiccant, or no room for air.
    """
    charge = box.desiccant
    if charge is None or charge.dry_g <= 0.0:
        raise BadInputError(f"box {box.key!r} has no desiccant: without one there is nothing to estimate")
    if box.volume_l <= 0.0:
        raise BadInputError(f"box {box.key!r} has a volume of {box.volume_l:g} l; it has to be above 0")
    fresh, fresh_sd = fresh_loading(kind)
    stated = charge.loading_pct is not None
    loading = charge.loading_pct / 100.0 if charge.loading_pct is not None else fresh
    filled_s = now_s if charge.filled_s is None else min(charge.filled_s, now_s)
    taken_up = min(_UNSEEN_1_DAY * (now_s - filled_s) / _DAY_S, _UNSEEN_MOST)
    doubt = math.hypot(_STATED_SD if stated else fresh_sd, taken_up)
    if charge.filled_s is None and not stated:
        useful = max(float(desiccant_loading(kind, max(limit_humidity, _LEAST_LIMIT))) - loading, 0.0)
        taken_up, doubt = _UNDATED * useful, math.hypot(fresh_sd, _UNDATED_SD * useful)
    return BoxModel(
        volume_m3=box.volume_l / 1000.0,
        kind=kind,
        dry_kg=charge.dry_g / 1000.0,
        limit_humidity=min(max(limit_humidity, _LEAST_LIMIT), 1.0),
        loading=loading,
        loading_now=loading + taken_up,
        loading_sd=doubt,
        filled_s=filled_s,
        sorbers=merged(tuple(sorbers)),
        capacity_sd=capacity_sd,
        offset_sd=offset_sd,
    )


def merged(sorbers: tuple[Sorber, ...], most: int = MOST_SORBERS) -> tuple[Sorber, ...]:
    """At most so many bodies: those that settle most alike are told as one, their water kept."""
    bodies = sorted(sorbers, key=lambda body: body.settling_s)
    while len(bodies) > most:
        gaps = [after.settling_s / body.settling_s for body, after in zip(bodies, bodies[1:], strict=False)]
        at = gaps.index(min(gaps))
        bodies[at : at + 2] = [_joined(bodies[at], bodies[at + 1])]
    return tuple(bodies)


def _joined(one: Sorber, other: Sorber) -> Sorber:
    total_kg = one.dry_kg + other.dry_kg
    share = one.dry_kg / total_kg

    def mean(first: float, second: float) -> float:
        return share * first + (1.0 - share) * second

    larger = one if one.dry_kg >= other.dry_kg else other
    # Of unlike materials the larger body's isotherm stands for both, scaled to hold what both would.
    held = mean(_held(one), _held(other)) / _held(larger)
    return Sorber(
        dry_kg=total_kg,
        isotherm=replace(larger.isotherm, scale=larger.isotherm.scale * held),
        settling_s=mean(one.settling_s, other.settling_s),
        content=mean(one.content, other.content),
        content_sd=mean(one.content_sd, other.content_sd),
    )


def _held(body: Sorber) -> float:
    """Water content at 15 %RH [kg/kg]."""
    curve, humidity = body.isotherm, 0.15
    below = 1.0 + humidity * (curve.linear + humidity * curve.quadratic)
    return float(curve.scale * humidity**curve.exponent / below)


def fresh_loading(kind: DesiccantKind) -> tuple[float, float]:
    """Of a charge that came from the oven or from a shut tin, and its standard deviation [kg/kg]."""
    if kind.regenerate_c is None:
        return 0.0, _FRESH_SD
    is_hot = kind.regenerate_c > _HOTTEST_C
    oven = _HOT_LEFT if is_hot else float(residual_loading(kind, kind.regenerate_c, _ROOM_DEW_POINT_C))
    tin = float(desiccant_loading(kind, _FRESH_HUMIDITY))
    # A sieve from the oven is dry, whatever the air did to it on the way; gel takes up some at once.
    usual = min(0.5 * (oven + tin), oven + _FRESH_SD)
    return usual, max(_FRESH_SD, 0.5 * usual)
