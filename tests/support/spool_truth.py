"""True spools that differ from the catalogue as the literature does, solved by the reference solver."""

import math
from dataclasses import dataclass

import numpy as np
from physics import reference_solver as reference
from physics.random_cases import pairs_of_cylinder
from support.spool_site import spool

from monitor.estimate.spool_belief import Body
from monitor.estimate.spool_course import Around, follow
from monitor.estimate.spool_track import begin, means, outers
from monitor.library import load_library, polymer_content

MATERIALS = ("pla", "petg", "abs", "tpu_ether", "pa6", "pva", "asa", "pc")
LIBRARY = load_library()
SENSOR_SD = 0.015
# Settled humidity by history: median and standard deviation of its logarithm, as a shop might find it.
STARTS = {"sealed_dry": (0.12, 0.45), "sealed": (0.25, 0.40), "open": (0.42, 0.22), "unknown": (0.50, 0.35)}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What is believed and what is so, for mean and outer windings [kg/kg]."""

    material: str
    hours: float
    mean: tuple[float, float, float]
    outer: tuple[float, float, float]
    true_mean: float
    true_outer: float

    def holds(self) -> tuple[bool, bool]:
        return (
            self.mean[0] <= self.true_mean <= self.mean[2],
            self.outer[0] <= self.true_outer <= self.outer[2],
        )


def outcome(seed: int) -> Outcome:
    """One spool with an uncertain past in a box whose sensor is a little wrong."""
    dice = np.random.default_rng(seed)
    key = str(dice.choice(MATERIALS))
    material = LIBRARY.material(key)
    start = str(dice.choice(sorted(STARTS)))
    humidity = float(dice.uniform(0.05, 0.6))
    hours = float(dice.choice([12.0, 48.0, 168.0, 480.0]))
    usual, start_sd = STARTS[start]
    begin_humidity = min(usual * math.exp(start_sd * dice.normal()), 0.95)
    thirst = math.exp(_log_sd(material.content_50_band) * dice.normal())
    case = reference.Case(
        outer_m=_outer_m(material.density_kg_m3),
        solid=0.65,
        diffusion=0.21 * math.exp(0.2 * dice.normal()),
        film_m_s=3e-3,
        density=material.density_kg_m3,
        d23=material.diffusivity_m2_s * math.exp(_log_sd(material.diffusivity_band_m2_s) * dice.normal()),
        activation=material.activation_j_mol,
        isotherm=lambda a: thirst * _content(material, a),
        pairs=pairs_of_cylinder(),
        air_c=23.0,
        air_rh=humidity,
        start_c=23.0,
        start_rh=begin_humidity,
    )
    truth = reference.solve(case, [hours], 40)[0]
    of = Body(spool=spool(material=key, start=start), material=material, reel=LIBRARY.reel("unknown"))
    seen = Around(
        place="crate",
        temperature_c=23.0,
        relative_humidity=max(humidity + SENSOR_SD * dice.normal(), 0.002),
        relative_humidity_sd=SENSOR_SD,
    )
    belief = begin(of, 0.0).belief
    for _ in range(math.ceil(hours / 12.0)):
        (belief,), _ = follow([of], [belief], [seen], 12.0 * 3600.0)
    return Outcome(
        material=key,
        hours=hours,
        mean=means(of, belief),
        outer=outers(of, belief),
        true_mean=truth.mean,
        true_outer=truth.outer,
    )


def _content(material, humidity):
    return np.vectorize(lambda a: polymer_content(material, float(np.clip(a, 0.0, 1.0))))(humidity)


def _log_sd(band):
    """A band is the middle nine tenths, a factor of 3 either way at most."""
    return min(0.5 * math.log(band.high / band.low), math.log(3.0)) / 1.645


def _outer_m(density_kg_m3):
    return math.sqrt(0.045**2 + 1.0 / density_kg_m3 / 0.65 / (math.pi * 0.060))
