"""What a weighing says about a spool's water, and what it cannot say (D-20 to D-22)."""

import math
from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.ensemble import percentiles
from monitor.estimate.spool_belief import Belief, Body, scaled, stack_states, stacked
from monitor.model.spool_event import Weighed
from monitor.physics.constants import Array
from monitor.physics.spool import spool_water_kg
from monitor.physics.spool_reading import wound_kg

# A reading of a scale is right to about its step (one standard deviation), several at once to no better
# than a third of it; a warm spool lifts the air around it, and that lifts the reading.
_STEADY_SHARE = 1.0 / 3.0
_WARM_G = 0.3
# A cardboard body holds some 7 % of water at half humidity and follows the weather: of a usual 180 g body
# that is several grams, more than most filament holds.
_CARD_HOLDS = 0.03
_CARD_SD_G = 4.0
_LEAST_SHARE = 0.02  # of its water that an update leaves a member with


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one weighing told."""

    surprise_g: float | None  # against what was expected after the last one; None for the first
    surprise_sd_g: float | None
    can_tell: bool
    words: str


def scale_sd_g(weighed: Weighed, body: Body) -> float:
    """Standard deviation of a weighing [g]."""
    step = weighed.resolution_g
    own = max(step / math.sqrt(weighed.repeats), _STEADY_SHARE * step)
    card = _CARD_SD_G if body.reel.water_content > _CARD_HOLDS else 0.0
    return math.sqrt(own**2 + card**2 + (_WARM_G**2 if weighed.is_warm else 0.0))


def weigh(body: Body, belief: Belief, weighed: Weighed) -> tuple[Belief, Verdict]:
    """The belief after a weighing.

    The mass of reel and dry filament is known to some ten grams at best, so the first weighing only fixes
    what the scale shows beside the water; from the second on the difference moves the water, and with it the
    spool's own figures as far as they go along with it in the ensemble (a square-root Kalman update).
    """
    water_g = _water_g(body, belief)
    noise_g2 = scale_sd_g(weighed, body) ** 2
    if belief.offset_g is None:
        first = replace(belief, offset_g=weighed.mass_g - water_g, offset_var_g2=noise_g2)
        return first, Verdict(
            surprise_g=None,
            surprise_sd_g=None,
            can_tell=False,
            words="The first weighing is what later ones are compared with.",
        )
    variance_g2 = noise_g2 + belief.offset_var_g2
    surprise_g = weighed.mass_g - (belief.offset_g + water_g)
    after = _updated(body, belief, water_g, surprise_g, variance_g2)
    verdict = _verdict(body, after, weighed, float(surprise_g[0]), math.sqrt(variance_g2))
    return _offset_after(body, after, weighed, noise_g2), verdict


def _updated(body: Body, belief: Belief, water_g: Array, surprise_g: Array, variance_g2: float) -> Belief:
    members = water_g[1:]
    spread_g2 = float(members.var(ddof=1))
    if spread_g2 <= 0.0:
        return belief
    gain = spread_g2 / (spread_g2 + variance_g2)
    # Whitaker and Hamill 2002: the mean moves by the gain, deviations shrink by less, without random numbers.
    shrink = 1.0 / (1.0 + math.sqrt(variance_g2 / (spread_g2 + variance_g2)))
    middle = float(members.mean())
    mean_surprise_g = float(surprise_g[1:].mean())
    moved = middle + gain * mean_surprise_g + (1.0 - shrink * gain) * (members - middle)
    moved = np.concatenate([[water_g[0] + gain * surprise_g[0]], moved])
    factor = np.maximum(moved / np.maximum(water_g, 1e-9), _LEAST_SHARE)

    def regressed(figures: Array) -> Array:
        """Figures go along as far as they explain the water."""
        share = float(np.cov(figures[1:], members)[0, 1]) / (spread_g2 + variance_g2)
        mean = figures[1:].mean()
        others = figures[1:] + share * mean_surprise_g - shrink * share * (members - middle)
        return np.concatenate([[figures[0] + share * surprise_g[0]], np.clip(others, mean - 4.0, mean + 4.0)])

    return scaled(body, belief, factor, regressed(belief.thirstier), regressed(belief.faster))


def _offset_after(body: Body, belief: Belief, weighed: Weighed, noise_g2: float) -> Belief:
    """What is beside the water, from both weighings."""
    assert belief.offset_g is not None  # only called after a first weighing
    share = belief.offset_var_g2 / (belief.offset_var_g2 + noise_g2)
    shown = weighed.mass_g - _water_g(body, belief)
    offset = belief.offset_g + share * (shown - belief.offset_g)
    return replace(belief, offset_g=offset, offset_var_g2=share * noise_g2)


def _verdict(body: Body, after: Belief, weighed: Weighed, surprise_g: float, sd_g: float) -> Verdict:
    """Whether the water lies on one side of the limit now that the scale was heard."""
    low, middle, high = percentiles(_water_g(body, after))
    dry_g = 1000.0 * float(wound_kg(stacked([body], [after]), stack_states([after]))[0, 0])
    limit_g = body.material.limit_content * dry_g
    held = f"It holds about {middle:.2g} g of water ({low:.2g} to {high:.2g})"
    can_tell = not low <= limit_g <= high
    if can_tell:
        words = f"{held}: {'under' if middle < limit_g else 'over'} the {limit_g:.2g} g of its limit."
    else:
        words = (
            f"{held}: whether that is over the {limit_g:.2g} g of its limit this scale cannot tell."
            f" {_advice(body, weighed, limit_g)}"
        )
    return Verdict(surprise_g=surprise_g, surprise_sd_g=sd_g, can_tell=can_tell, words=words)


def _advice(body: Body, weighed: Weighed, limit_g: float) -> str:
    """Which scale would decide: one that shows a third of the limit's water."""
    if body.reel.water_content > _CARD_HOLDS:
        return "The cardboard of the reel takes up more water than the filament: weigh it on a plastic reel."
    wanted_g = limit_g / (3.0 * math.sqrt(2.0))
    if weighed.resolution_g <= wanted_g:
        return "Weigh it again at rest and cold; the mean of three readings decides better."
    step = 10.0 ** math.floor(math.log10(wanted_g))
    return f"A scale that shows {step:g} g would."


def _water_g(body: Body, belief: Belief) -> Array:
    return np.asarray(1000.0 * spool_water_kg(stacked([body], [belief]), stack_states([belief]))[0])
