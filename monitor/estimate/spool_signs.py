"""What a print shows about the water in its filament, and what it does not (P02, P03, P22, P23)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.estimate.spool_belief import Belief, Body, scaled, stack_states, stacked
from monitor.model.spool_event import Sign
from monitor.physics.constants import Array
from monitor.physics.spool_reading import outer_water_content


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """A sign as evidence: the water of the outer windings over the material's limit, and how loosely."""

    asked: str  # the question on the check list
    times_limit: float | None  # None: says nothing about water that drying would mend
    log_sd: float
    look_alikes: str  # what else does it, that drying does not cure


# Figures of judgement, not of measurement: no study gives likelihoods. They are kept wide on purpose.
MEANINGS: dict[Sign, Meaning] = {
    Sign.POPPING: Meaning(
        asked="It pops, hisses or steams at the nozzle",
        times_limit=5.0,
        log_sd=0.9,
        look_alikes="a nozzle far too hot, or residue of another filament boiling off",
    ),
    Sign.BUBBLES: Meaning(
        asked="The strand has bubbles, or walls have pits",
        times_limit=4.0,
        log_sd=0.9,
        look_alikes="too much heat, or a filament that foams by design",
    ),
    Sign.STRINGS: Meaning(
        asked="Strings and hairs between parts",
        times_limit=2.5,
        log_sd=1.4,
        look_alikes="too hot a nozzle, too little retraction, a worn nozzle",
    ),
    Sign.MATT: Meaning(
        asked="The surface is matt, rough or fuzzy",
        times_limit=2.5,
        log_sd=1.3,
        look_alikes="too cold a nozzle, too fast, or a filled filament",
    ),
    Sign.WEAK: Meaning(
        asked="Layers part easily, parts break",
        times_limit=2.0,
        log_sd=1.4,
        look_alikes="too cold a nozzle, a draught, too much cooling",
    ),
    Sign.SNAPS: Meaning(
        asked="The filament snaps in the hand or the tube",
        times_limit=None,
        log_sd=math.inf,
        look_alikes="ageing and stress of the winding, or chains cut by water: drying repairs neither",
    ),
    Sign.SOFT: Meaning(
        asked="The filament is soft, sticky or cloudy",
        times_limit=8.0,
        log_sd=0.9,
        look_alikes="a spool that was warmed too far",
    ),
    Sign.CLEAN: Meaning(
        asked="It prints clean and quiet",
        times_limit=0.7,
        log_sd=1.0,
        look_alikes="weakness from water that does not show: a clean print is no proof of strength",
    ),
}


def take_signs(body: Body, belief: Belief, seen: Sequence[Sign]) -> Belief:
    """The belief after signs: each pulls the outer windings' water towards what it usually goes with.

    Evidence is on the logarithm of water, so that no sign can make a member drier than dry.
    """
    logs = np.log(np.maximum(_outer(body, belief), 1e-9))
    log_factor = np.zeros(len(logs))
    for sign in seen:
        meaning = MEANINGS[sign]
        if meaning.times_limit is None:
            continue
        at = math.log(meaning.times_limit * _shown_from(body))
        log_factor += _pull(logs + log_factor, at, meaning.log_sd**2)
    # A sign may contradict the belief, but not by more than the spool can hold.
    factor = np.exp(np.clip(log_factor, -2.5, 2.5))
    return scaled(body, belief, factor, belief.thirstier, belief.faster)


def says_nothing_of_water(seen: Sequence[Sign], outer_over_limit_p90: float) -> str | None:
    """Why drying will probably not cure what is seen; None where it may."""
    troubles = [sign for sign in seen if sign is not Sign.CLEAN]
    if not troubles:
        return None
    if Sign.SNAPS in troubles:
        return f"Snapping comes from {MEANINGS[Sign.SNAPS].look_alikes}."
    if outer_over_limit_p90 >= 1.0:
        return None
    others = "; ".join(dict.fromkeys(MEANINGS[sign].look_alikes for sign in troubles))
    return f"Its outer windings are most likely dry enough, so look for {others}."


def _pull(logs: Array, at: float, variance: float) -> Array:
    """Move of each member: the mean by the gain, deviations shrunk (Whitaker and Hamill 2002)."""
    members = logs[1:]
    spread = float(members.var(ddof=1))
    gain = spread / (spread + variance)
    shrink = 1.0 / (1.0 + math.sqrt(variance / (spread + variance)))
    middle = float(members.mean())
    others = gain * (at - middle) - shrink * gain * (members - middle)
    return np.concatenate([[gain * (at - logs[0])], others])


def _shown_from(body: Body) -> float:
    """Content from which signs show: where a looser figure is known, that; the moulder's is for strength."""
    return body.material.looser_limit_content or body.material.limit_content


def _outer(body: Body, belief: Belief) -> Array:
    return np.asarray(outer_water_content(stacked([body], [belief]), stack_states([belief]))[0])
