"""Readings of a box, one by one, into a better belief of its water."""

import math
from dataclasses import replace

import numpy as np

from monitor.estimate import box_lid, box_recovery
from monitor.estimate.box_belief import (
    AIR,
    CORE,
    HISTORY,
    INWARD,
    LEAK,
    LUMPS,
    OFFSET,
    PACE,
    SKIN,
    WANDER,
    WANDER_S,
    WANDER_SD,
    Block,
    BoxBelief,
    HalfDay,
    square,
    upper,
)
from monitor.estimate.box_lid import BoxReading, Event, EventKind
from monitor.estimate.box_model import LUMP_SHARES, BoxModel
from monitor.estimate.box_water import SKIN_SHARE, lumps_after, moved
from monitor.physics.constants import NORMAL_K, ZERO_C_K, Array
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

BLOCK_S = 1800.0
HALF_DAY_S = 43_200.0
DAY_S = 86_400.0
_LONGEST_STEP_S = 7200.0
# The sensor's own scatter averages out over a block; what is left is what the two-part bed leaves out.
_BLOCK_SD = 0.0008
_AFTER_LID_SD = 0.010
_AFTER_LID_S = 12.0 * 3600.0
# A fresh charge over wet spools is loaded from its skin inwards for days, which two parts tell badly.
_EARLY_SD, _EARLY_S = 0.06, 8.0 * DAY_S
# Random walks, standard deviation after one day, in the order of the state's rows.
_WALK = (4e-4, 2e-4, 0.03, 0.02, 0.03, 1e-4, 1e-3, 0.02, 0.0, 0.01)
_LUMP_WALK = 0.01  # of the content at 15 %RH
# Of what an opening lets in; the outer windings take the rest and give it back within days.
_TO_BED = 0.3
# Of what hours in the room's air brought: the share that is even in the bed by then is known so badly.
_EVENED_SD = 0.3
_GATE = 4.0
_REFUSED_BLOCKS = 6
_DRIFT_BLOCKS = 24.0
_DRIFT_LIMIT = 1.4
_RECENT_S = 10.0 * DAY_S
_SLOW_S, _SPENT_S = 1.5 * DAY_S, 1.5 * DAY_S
_HAIR = 1e-4
# A bed of twice the usual depth evens out four times as slowly. A middle that keeps dry for months beside a
# damp outside, or air that stays damp over dry beads, is none: what is put down to it is missing where the
# water truly came from.
_RATES_MOST_LN = 1.6


def advance(model: BoxModel, belief: BoxBelief, reading: BoxReading) -> tuple[BoxBelief, tuple[Event, ...]]:
    """The belief after one reading, and what was noticed; an older or impossible reading changes nothing."""
    if reading.time_s <= belief.seen_s and belief.humidity >= 0.0 or not box_lid.is_possible(reading):
        return belief, ()
    belief = _through_gap(model, belief, reading)
    seen, events, is_calm = box_lid.watch(model, belief, reading)
    belief = _note_events(model, box_recovery.followed(belief, seen, reading), events)
    if is_calm:
        belief = _gather(belief, reading)
    if reading.time_s - belief.block.begun_s >= BLOCK_S:
        belief, more = _close_block(model, belief, reading)
        events += more
    return belief, events


def mean_loading(state: Array) -> Array:
    """Loading of the whole bed [kg/kg]."""
    return np.asarray(SKIN_SHARE * state[SKIN] + (1.0 - SKIN_SHARE) * state[CORE])


def _through_gap(model: BoxModel, belief: BoxBelief, reading: BoxReading) -> BoxBelief:
    """Long silence: the state goes on under the last known conditions, and a lid may have opened unseen."""
    silent_s = reading.time_s - belief.seen_s
    if belief.humidity < 0.0 or silent_s <= BLOCK_S:
        return belief
    belief = _carried(model, belief, reading.time_s)
    state, covariance = np.array(belief.state), square(belief.covariance, len(belief.state))
    unseen = belief.openings_per_s * silent_s
    water_kg = unseen * belief.openings_water_kg
    _let_in(model, state, covariance, water_kg, water_kg + belief.openings_water_kg * math.sqrt(unseen))
    return replace(
        belief,
        state=tuple(state.tolist()),
        covariance=upper(covariance),
        block=Block(begun_s=reading.time_s),
        humidity=reading.relative_humidity,
        lid=box_lid.after_silence(belief, reading),
        seen_s=reading.time_s - 1e-3,
    )


def _note_events(model: BoxModel, belief: BoxBelief, events: tuple[Event, ...]) -> BoxBelief:
    for event in events:
        if event.kind is EventKind.SENSOR_STEPPED:
            covariance = square(belief.covariance, len(belief.state))
            covariance[OFFSET, OFFSET] += event.humidity_step**2
            belief = replace(
                belief,
                covariance=upper(covariance),
                sensor_step=event.humidity_step,
                stepped_s=event.time_s,
            )
        if event.kind is not EventKind.LID_SHUT:
            continue
        belief = _carried(model, belief, event.time_s)
        state, covariance = np.array(belief.state), square(belief.covariance, len(belief.state))
        stood_open = event.open_s > 0.0
        _let_in(model, state, covariance, event.swap_kg, event.swap_kg_sd)
        if stood_open:
            _stood_open(model, state, covariance, event, belief.temperature_c)
        count, humidity, drive, lid_kg = belief.half
        # A lid forgotten once tells nothing of those to come.
        share = 0.0 if stood_open else 1.0 / (1.0 + 5.0 * belief.openings_per_s * 21.0 * DAY_S)
        belief = replace(
            belief,
            state=tuple(state.tolist()),
            covariance=upper(covariance),
            block=Block(begun_s=event.time_s),
            settle_until_s=event.time_s + _AFTER_LID_S * (2.0 if stood_open else 1.0),
            half=(count, humidity, drive, lid_kg + event.water_kg),
            openings_per_s=belief.openings_per_s + 1.0 / (21.0 * DAY_S),
            openings_water_kg=belief.openings_water_kg + share * (event.water_kg - belief.openings_water_kg),
        )
    return belief


def _let_in(model: BoxModel, state: Array, covariance: Array, water_kg: float, water_kg_sd: float) -> None:
    """Water from the room, shared between the bed's skin and the outer windings; in place."""
    per_kg = np.zeros(len(state))
    to_bed = 1.0
    if model.tables.spools:
        to_bed = _TO_BED
        last = len(LUMP_SHARES) - 1
        fast_kg = model.tables.lump_kg[last :: last + 1, 0]
        per_kg[LUMPS + last :: last + 1] = (1.0 - to_bed) / fast_kg.sum()
    per_kg[SKIN] = to_bed / (SKIN_SHARE * model.dry_kg)
    state += per_kg * water_kg
    covariance += np.outer(per_kg, per_kg) * water_kg_sd**2
    covariance[SKIN, SKIN] += (0.3 * per_kg[SKIN] * water_kg) ** 2


def _stood_open(model: BoxModel, state: Array, covariance: Array, event: Event, temperature_c: float) -> None:
    """Hours in the room's air: bed and windings each take up on their own; in place."""
    evened = -math.expm1(-math.exp(state[INWARD]) * event.open_s / (2.0 * SKIN_SHARE))
    per_kg = np.zeros(len(state))
    per_kg[SKIN] = (evened + (1.0 - evened) / SKIN_SHARE) / model.dry_kg
    per_kg[CORE] = evened / model.dry_kg
    shifted = np.zeros(len(state))  # from the skin to the core, the same water
    shifted[SKIN], shifted[CORE] = (1.0 - 1.0 / SKIN_SHARE) / model.dry_kg, 1.0 / model.dry_kg
    state += per_kg * event.taken_kg
    covariance += np.outer(per_kg, per_kg) * event.taken_kg_sd**2
    covariance += np.outer(shifted, shifted) * (_EVENED_SD * event.taken_kg) ** 2
    if model.tables.spools:
        before = state[LUMPS:].copy()
        humidity = np.array([event.humidity])
        kept, _ = lumps_after(model, state[:, None], humidity, event.open_s, temperature_c)
        state[LUMPS:] = kept[:, 0]
        covariance[np.arange(LUMPS, len(state)), np.arange(LUMPS, len(state))] += (
            0.5 * (state[LUMPS:] - before)
        ) ** 2


def _gather(belief: BoxBelief, reading: BoxReading) -> BoxBelief:
    room = reading.room_kg_m3 if reading.room_kg_m3 is not None else belief.room_kg_m3
    block = belief.block
    return replace(
        belief,
        room_kg_m3=room,
        temperature_c=reading.temperature_c,
        block=Block(
            begun_s=block.begun_s,
            count=block.count + 1,
            humidity=block.humidity + reading.relative_humidity,
            temperature_c=block.temperature_c + reading.temperature_c,
            room_kg_m3=block.room_kg_m3 + room,
        ),
    )


def _close_block(
    model: BoxModel, belief: BoxBelief, reading: BoxReading
) -> tuple[BoxBelief, tuple[Event, ...]]:
    block = belief.block
    if block.count == 0:
        return replace(_carried(model, belief, reading.time_s), block=Block(begun_s=reading.time_s)), ()
    humidity, room = block.humidity / block.count, block.room_kg_m3 / block.count
    warmth = block.temperature_c / block.count
    state, covariance, expected, row = _predict(model, belief, reading.time_s - belief.time_s, warmth, room)
    noise = _BLOCK_SD + 0.005 * max(humidity, 0.0) + model.tables.plateau_sd
    if reading.time_s < belief.settle_until_s:
        noise += _AFTER_LID_SD * min((belief.settle_until_s - reading.time_s) / _AFTER_LID_S, 1.0)
    early_s = _EARLY_S - (reading.time_s - model.filled_s)
    if early_s > 0.0:
        noise += _EARLY_SD * early_s / _EARLY_S
    spread = row @ covariance
    variance = float(spread @ row) + noise**2
    score = (humidity - expected) / math.sqrt(variance)
    belief = replace(
        belief,
        block=Block(begun_s=reading.time_s),
        time_s=reading.time_s,
        warmth_c=warmth,
        slow_c=_slower(belief.slow_c, warmth),
    )
    belief = _note_half_day(belief, humidity, warmth, room, reading.time_s)
    events: tuple[Event, ...] = ()
    if abs(score) <= _GATE:
        gain = spread / variance
        state = state + gain * (humidity - expected)
        covariance = covariance - np.outer(gain, spread)
        drift, covariance = _loosened_by_drift(model, belief, covariance, score)
        belief = replace(belief, refused=0, blocks=belief.blocks + 1, drift=drift)
    elif belief.refused + 1 >= _REFUSED_BLOCKS:
        # What hours in the room's air brought is known too badly to tell of anything else for half a day.
        stood_open = belief.settle_until_s - reading.time_s > _AFTER_LID_S
        events = () if stood_open else (_change(belief, humidity - expected),)
        covariance = _loosened(model, covariance, loading=0.05, leak=0.7, lump=0.3)
        belief = replace(belief, refused=0, drift=0.0)
    else:
        belief = replace(belief, refused=belief.refused + 1)
    state[SKIN], state[CORE] = max(state[SKIN], 1e-5), max(state[CORE], 1e-5)
    for rate, usual in ((AIR, model.tables.air_m3_s), (INWARD, model.tables.core_rate_1_s)):
        usual_ln = math.log(usual)
        state[rate] = min(max(state[rate], usual_ln - _RATES_MOST_LN), usual_ln + _RATES_MOST_LN)
    state[LUMPS:] = np.maximum(state[LUMPS:], 0.0)
    spent_z = _spent_z(model, belief.spent_z, state, covariance)
    after = replace(belief, state=tuple(state.tolist()), covariance=upper(covariance), spent_z=spent_z)
    return after, events


def _spent_z(model: BoxModel, before: float | None, state: Array, covariance: Array) -> float:
    """Evidence that the bed is past its limit, smoothed over a day and a half of readings.

    An alarm has to be right about the day: what lags so far behind stands for having been spent a while.
    """
    weights = np.array([SKIN_SHARE, 1.0 - SKIN_SHARE])
    loading = float(weights @ state[[SKIN, CORE]])
    variance = float(weights @ covariance[:2, :2] @ weights)
    now = (loading - model.tables.limit_loading) / math.sqrt(max(variance, 1e-12))
    return now if before is None else before + (now - before) * BLOCK_S / _SPENT_S


def _slower(slow_c: float | None, warmth_c: float) -> float:
    return warmth_c if slow_c is None else slow_c + (warmth_c - slow_c) * BLOCK_S / _SLOW_S


def _change(belief: BoxBelief, surprise: float) -> Event:
    kind = EventKind.DESICCANT_CHANGED if surprise < 0.0 else EventKind.CONTENTS_CHANGED
    return Event(kind=kind, time_s=belief.time_s - _REFUSED_BLOCKS * BLOCK_S)


def _predict(
    model: BoxModel, belief: BoxBelief, dt_s: float, warmth: float, room: float
) -> tuple[Array, Array, float, Array]:
    """State, covariance, reading expected and its dependence on the state, by a hair's difference."""
    size = len(belief.state)
    state, covariance = np.array(belief.state), square(belief.covariance, size)
    hairs = _HAIR * np.maximum(np.sqrt(np.maximum(covariance.diagonal(), 0.0)), 1e-6) * 100.0
    columns = np.repeat(state[:, None], size + 1, axis=1)
    columns[np.arange(size), np.arange(1, size + 1)] += hairs
    left_s, before_c = dt_s, belief.warmth_c
    seen = np.zeros(size + 1)
    while left_s > 0.0:
        step_s = min(left_s, _LONGEST_STEP_S)
        columns, seen = moved(model, columns, step_s, warmth, room, before_c, belief.slow_c)
        left_s, before_c = left_s - step_s, warmth
    turn = (columns[:, 1:] - columns[:, :1]) / hairs
    row_before = (seen[1:] - seen[0]) / hairs
    covariance = turn @ covariance @ turn.T
    days = max(dt_s, 0.0) / DAY_S
    walk = np.full(size, _LUMP_WALK)
    walk[:LUMPS] = _WALK
    if model.tables.spools:
        walk[LUMPS:] *= model.tables.contents(np.array([0.15]))[:, 0]
    covariance[np.diag_indices(size)] += days * walk**2
    covariance[WANDER, WANDER] += WANDER_SD**2 * -math.expm1(-2.0 * dt_s / WANDER_S)
    # The reading hangs on the state before the step; seen from after it, by the inverse of the turn.
    row = np.linalg.solve(turn.T, row_before)
    return columns[:, 0].copy(), covariance, float(seen[0]), row


def _carried(model: BoxModel, belief: BoxBelief, time_s: float) -> BoxBelief:
    """The belief at a later time without any reading."""
    if time_s <= belief.time_s:
        return belief
    room = belief.room_kg_m3 or belief.usual_room_kg_m3
    state, covariance, _, _ = _predict(model, belief, time_s - belief.time_s, belief.temperature_c, room)
    return replace(belief, state=tuple(state.tolist()), covariance=upper(covariance), time_s=time_s)


def _loosened_by_drift(
    model: BoxModel, belief: BoxBelief, covariance: Array, score: float
) -> tuple[float, Array]:
    """Innovations that lean one way for a day say that a rate has changed: believe the old rates less."""
    drift = belief.drift + (score - belief.drift) / _DRIFT_BLOCKS
    if abs(drift) > _DRIFT_LIMIT and belief.blocks >= 2 * _DRIFT_BLOCKS:
        covariance = _loosened(model, covariance, loading=0.002, leak=0.5, lump=0.15)
        drift *= 0.3
    return drift, covariance


def _loosened(model: BoxModel, covariance: Array, *, loading: float, leak: float, lump: float) -> Array:
    looser = covariance.copy()
    looser[SKIN, SKIN] += loading**2
    looser[CORE, CORE] += loading**2
    looser[LEAK, LEAK] += leak**2
    looser[PACE, PACE] += 0.1**2
    if model.tables.spools:
        scale = lump * model.tables.contents(np.array([0.5]))[:, 0]
        for row in range(LUMPS, len(looser)):
            looser[row, row] += scale[row - LUMPS] ** 2
    return looser


def _note_half_day(
    belief: BoxBelief, humidity: float, warmth: float, room: float, time_s: float
) -> BoxBelief:
    at_25_c = max(humidity, 1e-4) ** ((warmth + ZERO_C_K) / NORMAL_K)
    drive = room - humidity * saturated_vapour_kg_m3(warmth)
    recent = min(1.0, max(BLOCK_S / _RECENT_S, 1.0 / (belief.blocks + 1.0)))
    count, humidities, drives, lid_kg = belief.half
    belief = replace(
        belief,
        usual_room_kg_m3=belief.usual_room_kg_m3 + recent * (room - belief.usual_room_kg_m3),
        usual_temperature_c=belief.usual_temperature_c + recent * (warmth - belief.usual_temperature_c),
        openings_per_s=belief.openings_per_s * math.exp(-BLOCK_S / (21.0 * DAY_S)),
        half=(count + 1.0, humidities + at_25_c, drives + drive, lid_kg),
    )
    if time_s - belief.half_begun_s < HALF_DAY_S:
        return belief
    count, humidities, drives, lid_kg = belief.half
    entry = HalfDay(
        span_s=time_s - belief.half_begun_s,
        humidity_25c=humidities / count,
        drive_kg_m3=drives / count,
        lid_water_kg=lid_kg,
        recovery_ln=belief.half_recovery_ln,
    )
    return replace(
        belief,
        history=(*belief.history, entry)[-HISTORY:],
        half=(0.0, 0.0, 0.0, 0.0),
        half_recovery_ln=None,
        half_begun_s=time_s,
    )
