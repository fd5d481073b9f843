"""The members of a what-if: the catalogue's own figures, then figures spread as the literature spreads."""

from dataclasses import dataclass, replace

import numpy as np

from monitor.estimate.ensemble import DIFFUSIVITY, ISOTHERM, PACK, START, deviations, log_sd
from monitor.estimate.spool_belief import PACK_SD, STARTS
from monitor.model.catalogue import Material
from monitor.model.what_if import Question, Start
from monitor.physics.constants import Array
from monitor.physics.isotherm import Numbers, content_and_slope, polymer_curve

# No measurement inside a wound reel is known: tortuosity 1.6 to 3 around the usual.
# Freshly dried is a promise, not a measurement: half of the limit, nine times in ten under it; and no more
# than air of 20 %RH would leave, which is below that for what hardly takes up water.
_DRIED_SHARE, _DRIED_SD, _DRIED_HUMIDITY = 0.5, 0.35, 0.2
_WETTEST = 0.95  # relative humidity that a sealed spool may have settled to


@dataclass(frozen=True, slots=True, kw_only=True)
class Members:
    """The ensemble; the first one is the middle of every answer."""

    materials: tuple[Material, ...]
    way: Array  # of vapour through the pack over the usual, shape (members,)


def members_of(material: Material) -> Members:
    """The catalogue's figures, and a dozen others that the literature would allow."""
    faster = _factors(log_sd(material.diffusivity_band_m2_s), DIFFUSIVITY).tolist()
    thirstier = _factors(log_sd(material.content_50_band), ISOTHERM).tolist()
    return Members(
        materials=tuple(
            replace(
                material,
                diffusivity_m2_s=material.diffusivity_m2_s * speed,
                isotherm=replace(material.isotherm, scale=material.isotherm.scale * thirst),
            )
            for speed, thirst in zip(faster, thirstier, strict=True)
        ),
        way=_factors(PACK_SD, PACK),
    )


def equilibrium(members: Members, relative_humidity: Numbers) -> Array:
    """Water content of each member that has settled in the air [kg/kg], shape (members,)."""
    curve = polymer_curve([material.isotherm for material in members.materials])
    content, _ = content_and_slope(curve, relative_humidity + np.zeros(len(members.materials)))
    return np.asarray(content)


def start_content(question: Question, members: Members) -> Array:
    """Water content at first [kg/kg], shape (members,); of a week outside only what came before it."""
    if question.start_pct is not None:
        content = np.full(len(members.materials), question.start_pct / 100.0)
    elif question.start is Start.DRIED:
        content = dried_content(members)
    else:
        usual, sd = STARTS["sealed"]
        content = equilibrium(members, np.minimum(usual * _factors(sd, START), _WETTEST))
    # A member that can hold less than was measured is as full as it gets.
    return np.asarray(np.minimum(content, 0.999 * equilibrium(members, 1.0)))


def dried_content(members: Members) -> Array:
    """Water content of a freshly dried spool [kg/kg], shape (members,)."""
    promised = np.minimum(_DRIED_SHARE * _factors(_DRIED_SD, START), 1.0) * members.materials[0].limit_content
    return np.asarray(np.minimum(promised, equilibrium(members, _DRIED_HUMIDITY)))


def _factors(sd: float, axis: int) -> Array:
    """Factors of the members, whose logarithm has that standard deviation; 1 for the first one."""
    return np.asarray(np.exp(sd * deviations(axis)))
