"""What a person tells of a charge of desiccant, weighed against what the readings said."""

import math
from dataclasses import replace

import numpy as np

from monitor.estimate.box_belief import (
    CAPACITY,
    CORE,
    OFFSET,
    SKIN,
    Block,
    BoxBelief,
    Lid,
    Recovery,
    square,
    upper,
)
from monitor.estimate.box_model import BoxModel
from monitor.estimate.box_water import SKIN_SHARE
from monitor.model.box_event import Colour

# Dust, beads left in the tray, and what the dry grams were entered with: of the charge's mass.
_HANDLING = 0.01
# A year's drift in clean air is a fourth of it after the data sheets (0.25 %RH); the air of a workshop holds
# solvents and plasticisers, which is why a check is asked for at all [0 to 1].
OVERDUE_SD = 0.010
_FADES_S = 14.0 * 86_400.0
# How much likelier a spent bed shows a colour than one that is not: the dye turns gradually, in a band that
# begins at 20 to 30 %RH and so above most limits, and a box may look green while it is dry.
_SAYS = {Colour.DRY: 0.6, Colour.TURNING: 1.5, Colour.TURNED: 3.0}


def weighed(model: BoxModel, belief: BoxBelief, mass_kg: float, resolution_kg: float) -> BoxBelief:
    """The belief after the charge stood on a scale: mass less the dry mass is water.

    Args:
        model: Of the box, with the charge's dry mass.
        belief: Before it.
        mass_kg: Of the charge without bag or tray [kg].
        resolution_kg: Smallest step of the scale [kg].
    """
    size = len(belief.state)
    state, covariance = np.array(belief.state), square(belief.covariance, size)
    loading = SKIN_SHARE * state[SKIN] + (1.0 - SKIN_SHARE) * state[CORE]
    bed_kg = model.dry_kg * math.exp(state[CAPACITY])
    seen_kg = mass_kg - model.dry_kg
    row = np.zeros(size)
    row[SKIN], row[CORE], row[CAPACITY] = (
        SKIN_SHARE * bed_kg,
        (1.0 - SKIN_SHARE) * bed_kg,
        loading * bed_kg,
    )
    noise_kg2 = resolution_kg**2 / 6.0 + (_HANDLING * model.dry_kg) ** 2
    spread = covariance @ row
    variance = float(row @ spread) + noise_kg2
    state = state + spread / variance * (seen_kg - loading * bed_kg)
    state[[SKIN, CORE]] = np.maximum(state[[SKIN, CORE]], 1e-5)
    covariance = covariance - np.outer(spread, spread) / variance
    weights = np.array([SKIN_SHARE, 1.0 - SKIN_SHARE])
    over = float(weights @ state[[SKIN, CORE]]) - model.tables.limit_loading
    known = math.sqrt(max(float(weights @ covariance[:2, :2] @ weights), 1e-12))
    return replace(belief, state=tuple(state.tolist()), covariance=upper(covariance), spent_z=over / known)


def sensor_corrected(belief: BoxBelief, shift: float, known_sd: float) -> BoxBelief:
    """The belief after the readings of its sensor are corrected by so much: its error till now is known.

    Args:
        belief: Before it.
        shift: What a reading such as the last one becomes, less what it was [0 to 1].
        known_sd: Of the error, after the check that it rests on.

    What was learned of the desiccant leans on what the sensor was thought to be off by, and moves with it.
    """
    size = len(belief.state)
    state, covariance = np.array(belief.state), square(belief.covariance, size)
    spread = covariance[OFFSET].copy()
    variance = float(spread[OFFSET]) + known_sd**2
    state = state + spread / variance * (-shift - state[OFFSET])
    state[[SKIN, CORE]] = np.maximum(state[[SKIN, CORE]], 1e-5)
    state[OFFSET] += shift
    covariance = covariance - np.outer(spread, spread) / variance
    return replace(
        belief,
        state=tuple(state.tolist()),
        covariance=upper(covariance),
        humidity=min(max(belief.humidity + shift, 0.0), 1.0),
        # What was gathered of readings as they were is not to be held against those that come.
        block=Block(begun_s=belief.seen_s),
        lid=Lid(),
        recovery=Recovery(),
        spent_z=None,
        drift=0.0,
        refused=0,
        history=(),
        half=(0.0, 0.0, 0.0, 0.0),
        half_recovery_ln=None,
        half_begun_s=belief.seen_s,
    )


def sensor_unchecked(belief: BoxBelief) -> BoxBelief:
    """The belief once the check of its sensor is overdue: it may be further off than was held (A-34)."""
    size = len(belief.state)
    covariance = square(belief.covariance, size)
    covariance[OFFSET, OFFSET] += OVERDUE_SD**2
    return replace(belief, covariance=upper(covariance))


def with_colour(probability: float, colour: Colour, age_s: float) -> float:
    """The probability of being spent after a look at the beads: weak evidence, and it fades within weeks."""
    weight = math.exp(-max(age_s, 0.0) / _FADES_S)
    odds: float = probability / max(1.0 - probability, 1e-9) * _SAYS[colour] ** weight
    return odds / (1.0 + odds)
