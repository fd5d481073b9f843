"""Long parts of a wound spool's step: how fast their error falls, and what they must not do."""

import numpy as np
import pytest

from monitor.library import load_library
from monitor.physics.parts import parts_of
from monitor.physics.spool import (
    FAN_M_S,
    even_spool,
    ring_content,
    spool_parameters,
    spool_water_kg,
    step_spool,
)
from monitor.physics.spool_reading import full_outer_m

LIBRARY = load_library()
# In an air claimed to be so old a step is one part, too long for the first order; in a far older one it
# is one part of the first order.
OLD, OLDER = 8.0, 1e3


def errors(key: str, air_c: float, hours: float, lengths: tuple[int, ...], old: float) -> list[float]:
    """Worst difference of any ring from many short parts, as a share of what moves; cut into so many."""
    parameters = spool_parameters(LIBRARY.material(key), diameter_m=0.00175)
    start = even_spool(parameters, full_outer_m(parameters, 1.0), 23.0, relative_humidity=0.5)
    start, _ = step_spool(parameters, start, 3600.0 * hours, air_c, 0.1, FAN_M_S)

    def after(count: int, old: float) -> np.ndarray:
        state, dt_s = start, 3600.0 * hours / count
        for _ in range(count):
            state, _ = step_spool(parameters, state, dt_s, air_c, 0.1, FAN_M_S, settled_s=old * dt_s)
        return ring_content(parameters, state)

    fine = after(256, OLD)
    moved = np.abs(fine - ring_content(parameters, start)).max()
    return [float(np.abs(after(count, old) - fine).max() / moved) for count in lengths]


@pytest.mark.parametrize(
    ("key", "air_c", "hours"), [("pa6", 23.0, 96.0), ("petg", 23.0, 96.0), ("pla", 50.0, 12.0)]
)
def test_long_parts_converge_faster_than_the_first_order(key, air_c, hours):
    """An eighth of the length leaves less than a fifteenth of the error, in moisture and in a pack that warms.

    The first order would leave an eighth, the second a sixty-fourth once parts are far shorter than these.
    """
    once, eighth = errors(key, air_c, hours, (4, 32), OLD)
    assert eighth < once / 15.0
    assert once < errors(key, air_c, hours, (4,), OLDER)[0] / 3.0


@pytest.mark.parametrize("dt_s", [3600.0, 86_400.0, 1e7])
def test_a_new_air_that_is_claimed_to_be_old_makes_no_less_than_no_water(dt_s):
    """Bone-dry air all at once in one long part: nothing below nought, nothing lost."""
    parameters = spool_parameters(LIBRARY.material("pva"), diameter_m=0.00175)
    wet = even_spool(parameters, full_outer_m(parameters, 1.0), 23.0, relative_humidity=0.8)
    dried, gained_kg = step_spool(parameters, wet, dt_s, 23.0, 0.0, FAN_M_S, settled_s=OLD * dt_s)
    assert (dried.vapour_kg_m3 >= 0.0).all()
    assert (dried.strand >= 0.0).all()
    lost_kg = spool_water_kg(parameters, wet) - spool_water_kg(parameters, dried)
    assert float(lost_kg) == pytest.approx(-float(gained_kg), rel=1e-9)


@pytest.mark.parametrize("hottest_c", [-10.0, 23.0, 60.0, 120.0])
@pytest.mark.parametrize("settled_s", [0.0, 1800.0, 1e6])
def test_parts_add_up_and_the_first_in_a_new_air_is_of_the_first_order(hottest_c, settled_s):
    for dt_s in (1.0, 300.0, 5000.0, 1e6):
        parts = list(parts_of(dt_s, hottest_c, settled_s))
        assert sum(length for length, _ in parts) == pytest.approx(dt_s, rel=1e-12)
        assert min(length for length, _ in parts) > 0.0
        assert settled_s > 0.0 or not parts[0][1]
