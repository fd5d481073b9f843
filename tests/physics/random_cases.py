"""Spools at random for the comparison with the reference solver, and both answers to each."""

import numpy as np
from physics import reference_solver as reference

from monitor.library import load_library, polymer_content
from monitor.physics.spool import even_spool, ring_content, spool_parameters, spool_rings, step_spool
from monitor.physics.winding import overlap_means

HOURS = (1.0, 4.0, 12.0, 36.0)


def random_case(seed: int) -> tuple[str, reference.Case]:
    """A material of the catalogue on a reel, in a room or an oven, from an even start."""
    dice = np.random.default_rng(seed)
    library = load_library()
    key = str(dice.choice(sorted(library.materials)))
    material = library.material(key)
    is_oven = bool(dice.integers(2))
    solid = float(dice.uniform(0.6, 0.75))
    hub_m = float(dice.uniform(0.025, 0.055))
    modes = pairs_of_cylinder()
    return key, reference.Case(
        hub_m=hub_m,
        outer_m=hub_m + float(dice.uniform(0.008, 0.06)),
        width_m=float(dice.uniform(0.045, 0.07)),
        solid=solid,
        diffusion=(1.0 - solid) / float(dice.uniform(1.6, 3.0)),
        open_share=float(dice.choice([0.0, 0.0, 0.5])),
        film_m_s=float(dice.choice([3e-3, 1e-2])),
        density=material.density_kg_m3,
        strand_m=float(dice.choice([0.000875, 0.001425])),
        d23=material.diffusivity_m2_s,
        activation=material.activation_j_mol,
        isotherm=isotherm_of(material),
        pairs=modes,
        air_c=float(dice.uniform(40.0, material.max_safe_c)) if is_oven else float(dice.uniform(15.0, 30.0)),
        air_rh=float(dice.uniform(0.01, 0.15)) if is_oven else float(dice.uniform(0.05, 0.7)),
        start_c=float(dice.uniform(18.0, 27.0)),
        start_rh=float(dice.uniform(0.1, 0.6)),
    )


def product_answers(
    key: str, case: reference.Case, longest_s: float, rings: int = 16
) -> list[reference.Answer]:
    """The product's answers at HOURS, in steps no longer than that."""
    parameters = spool_parameters(
        load_library().material(key),
        diameter_m=2.0 * case.strand_m,
        hub_m=case.hub_m,
        width_m=case.width_m,
        solid_share=case.solid,
        diffusion_share=case.diffusion,
        open_share=case.open_share,
    )
    state = even_spool(parameters, case.outer_m, case.start_c, relative_humidity=case.start_rh, rings=rings)
    answers, now_s = [], 0.0
    for hour in HOURS:
        count = int(np.ceil((hour * 3600.0 - now_s) / longest_s - 1e-9))
        step_s = (hour * 3600.0 - now_s) / count
        for _ in range(count):
            state, _ = step_spool(
                parameters, state, step_s, case.air_c, case.air_rh, case.film_m_s, settled_s=now_s
            )
            now_s += step_s
        now_s = hour * 3600.0
        rings_now, content = spool_rings(parameters, state), ring_content(parameters, state)
        area = rings_now.sides_m2
        rim = overlap_means(rings_now, content, np.array([case.outer_m - 0.001, case.outer_m]))
        answers.append(
            reference.Answer(
                mean=float(content @ area / area.sum()),
                outer=float(rim[0]),
                inner=float(content[0]),
                warmth_c=float(state.temperature_c @ area / area.sum()),
                profile=content,
                radii_m=rings_now.middles_m,
            )
        )
    return answers


def isotherm_of(material):
    """As the files define it; straight above saturation, as the cold core of a wet spool needs."""
    curve = material.isotherm

    def content(a):
        inside = np.clip(a, 0.0, 1.0)
        below = 1.0 + curve.linear * inside + curve.quadratic * inside**2
        steepness = curve.scale * (1.0 - curve.quadratic * inside**2) / below**2
        return curve.scale * inside / below + steepness * np.maximum(a - 1.0, 0.0)

    assert np.isclose(content(np.array([0.5]))[0], polymer_content(material, 0.5))
    return content


def pairs_of_cylinder() -> tuple[tuple[float, float], ...]:
    from scipy.special import jn_zeros

    alphas = jn_zeros(0, 6)
    weights = 4.0 / alphas**2
    weights[-1] += 1.0 - weights.sum()
    return tuple(zip(weights.tolist(), (alphas**2).tolist(), strict=True))
