"""Plans at random against the reference solver, which shares nothing with the product."""

from dataclasses import dataclass

import numpy as np
from physics import reference_solver as reference
from physics.random_cases import isotherm_of, pairs_of_cylinder
from support.plan_loads import KILN, LIBRARY, load_spool, plan_of

from monitor.library import polymer_content, polymer_humidity
from monitor.model.plan import RoomAir

MATERIALS = ("pla", "pla_cryst", "petg", "abs", "asa", "tpu_ether", "pa6", "pa12", "pc", "pva", "pet", "peba")
CELLS = 80


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Hours to the target and what is left in the end, planned and by the reference."""

    material: str
    planned_h: float
    true_h: float
    floor: float
    true_floor: float

    def time_error(self):
        return self.planned_h / self.true_h - 1.0

    def floor_error(self):
        return self.floor / self.true_floor - 1.0


def compared(seed):
    """One spool in an oven, to a target between what it holds and what the air leaves."""
    dice = np.random.default_rng(seed)
    key = str(dice.choice(MATERIALS))
    material = LIBRARY.material(key)
    room = RoomAir(temperature_c=float(dice.uniform(17, 27)), humidity_pct=float(dice.uniform(15, 65)))
    net_g = float(dice.choice([250.0, 500.0, 750.0, 1000.0]))
    temperature_c = min(material.max_safe_c - 7.0, material.dry_c)
    air = (
        room.humidity_pct
        / 100.0
        * reference.saturation_pa(room.temperature_c)
        / reference.saturation_pa(temperature_c)
    )
    floor = float(isotherm_of(material)(np.array([air]))[0])
    start = max(polymer_content(material, float(dice.uniform(0.3, 0.7))), 1.5 * floor)
    target = floor + float(dice.uniform(0.1, 0.5)) * (start - floor)
    plan = plan_of(
        load_spool(key, start_pct=100.0 * start, net_g=net_g), oven=KILN, room=room, target_pct=100.0 * target
    )
    assert plan.temperature_c == temperature_c
    truth = _true_h(material, start, target, net_g, temperature_c, air, plan.duration_h.p50)
    return Compared(
        material=key,
        planned_h=plan.duration_h.p50,
        true_h=truth,
        floor=plan.floor_pct / 100.0,
        true_floor=floor,
    )


def _true_h(material, start, target, net_g, temperature_c, air, about_h):
    case = reference.Case(
        outer_m=float(np.sqrt(0.045**2 + net_g / 1000.0 / material.density_kg_m3 / 0.65 / (np.pi * 0.060))),
        solid=0.65,
        diffusion=0.21,
        film_m_s=1e-2,
        density=material.density_kg_m3,
        strand_m=0.000875,
        d23=material.diffusivity_m2_s,
        activation=material.activation_j_mol,
        isotherm=isotherm_of(material),
        pairs=pairs_of_cylinder(),
        air_c=temperature_c,
        air_rh=air,
        start_c=23.0,
        start_rh=polymer_humidity(material, start),
    )
    hours = [about_h * factor for factor in np.linspace(0.5, 1.5, 21)]
    means = [max(answer.mean, answer.outer) for answer in reference.solve(case, hours, CELLS)]
    return float(np.interp(-target, [-mean for mean in means], hours))
