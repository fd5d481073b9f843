"""The water balance of a box: nothing made or lost, known solutions, measured orders of magnitude."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.library import load_library
from monitor.physics.box import BoxWater, Enclosure, box_water_kg, mean_loading, step_box
from monitor.physics.desiccant import Bed, usual_bed
from monitor.physics.isotherm import desiccant_loading
from monitor.physics.psychrometrics import saturated_vapour_kg_m3, vapour_kg_m3

LIBRARY = load_library()
DAY_S = 86400.0
ROOM = vapour_kg_m3(22.0, 0.5)


def tight_box(bed: Bed | None, *, changes_per_day: float = 0.1, volume_m3: float = 0.010) -> Enclosure:
    return Enclosure(volume_m3=volume_m3, leak_m3_s=changes_per_day * volume_m3 / DAY_S, bed=bed)


def settled(key: str, humidity: float) -> tuple[Bed, BoxWater]:
    bed = usual_bed(LIBRARY.desiccant(key), 0.1)
    loading = float(desiccant_loading(bed.kind, humidity, 22.0))
    return bed, BoxWater(
        vapour_kg_m3=vapour_kg_m3(22.0, humidity), skin_loading=loading, core_loading=loading
    )


@settings(max_examples=40, deadline=None)
@given(
    key=st.sampled_from(sorted(LIBRARY.desiccants)),
    steps=st.lists(
        st.tuples(
            st.floats(1.0, 40_000.0),
            st.floats(-20.0, 45.0),
            st.floats(0.0, 0.03),
            st.floats(-1e-9, 1e-7),
            st.floats(0.0, 1e-4),
        ),
        min_size=1,
        max_size=8,
    ),
)
def test_water_is_conserved_over_any_sequence_of_steps(key, steps):
    """To 1e-9, for every desiccant, whatever temperature, leak and spools do."""
    bed = usual_bed(LIBRARY.desiccant(key), 0.2)
    water = BoxWater(vapour_kg_m3=0.008, skin_loading=0.08, core_loading=0.02)
    for dt_s, temperature_c, room, spools_kg_s, leak_m3_s in steps:
        enclosure = Enclosure(volume_m3=0.03, leak_m3_s=leak_m3_s, bed=bed)
        before = box_water_kg(enclosure, water)
        water, came_in_kg = step_box(enclosure, water, dt_s, temperature_c, room, spools_kg_s)
        after = box_water_kg(enclosure, water)
        assert np.isfinite(after)
        assert water.vapour_kg_m3 >= 0.0
        assert after == pytest.approx(before + came_in_kg + dt_s * spools_kg_s, rel=1e-9)


def test_an_empty_box_leaks_as_an_exponential():
    """Its half-time at 0.1 changes a day is 166 h."""
    enclosure, water = tight_box(None), BoxWater(vapour_kg_m3=0.0)
    for _ in range(1660):
        water, _ = step_box(enclosure, water, 360.0, 22.0, ROOM)
    assert water.vapour_kg_m3 / ROOM == pytest.approx(0.5, abs=0.002)


def test_a_dry_box_lets_in_the_grams_published():
    """10 L, 0.1 changes a day, 22 °C and 50 %RH outside: 0.0078 g a day at 10 %RH inside."""
    bed, water = settled("silica_gel_a", 0.10)
    came_in_kg = 0.0
    for _ in range(24):
        water, part_kg = step_box(tight_box(bed), water, 3600.0, 22.0, ROOM)
        came_in_kg += float(part_kg)
    assert 1000.0 * came_in_kg == pytest.approx(0.0078, rel=0.02)


def test_a_charge_lasts_as_long_as_the_quasi_steady_sum_says():
    """100 g of silica in 10 L at one change a day: 57 days from 2 to 10 %RH."""
    bed, water = settled("silica_gel_a", 0.02)
    enclosure, days = tight_box(bed, changes_per_day=1.0), 0
    while water.vapour_kg_m3 < vapour_kg_m3(22.0, 0.10):
        water, _ = step_box(enclosure, water, DAY_S, 22.0, ROOM)
        days += 1
    assert days == pytest.approx(57, rel=0.05)


def test_after_a_lid_opening_air_dries_within_the_hour_and_the_bed_evens_out_over_days():
    """That is why no verdict may be taken from the hours after an opening."""
    bed, water = settled("silica_gel_a", 0.08)
    enclosure = tight_box(bed)
    water = BoxWater(vapour_kg_m3=ROOM, skin_loading=water.skin_loading, core_loading=water.core_loading)
    for _ in range(60):
        water, _ = step_box(enclosure, water, 60.0, 22.0, ROOM)
    assert water.vapour_kg_m3 / saturated_vapour_kg_m3(22.0) < 0.10
    uneven = float(water.skin_loading - water.core_loading)
    shares = []
    for _ in range(72):
        water, _ = step_box(enclosure, water, 3600.0, 22.0, ROOM)
        shares.append(float(water.skin_loading - water.core_loading) / uneven)
    assert 0.2 < shares[5] < 0.7
    assert abs(shares[-1]) < 0.05


def test_a_warm_afternoon_moves_vapour_by_much_and_humidity_by_little():
    """At constant load humidity moves by 0.06 to 0.08 %RH per kelvin, vapour by 6 to 7 % per kelvin."""
    bed, water = settled("silica_gel_a", 0.08)
    enclosure = tight_box(bed, changes_per_day=0.0)
    for _ in range(200):
        water, _ = step_box(enclosure, water, 3600.0, 27.0, ROOM)
    humidity = water.vapour_kg_m3 / saturated_vapour_kg_m3(27.0)
    assert 100.0 * (humidity - 0.08) / 5.0 == pytest.approx(0.07, abs=0.015)
    assert (float(water.vapour_kg_m3) / vapour_kg_m3(22.0, 0.08)) ** 0.2 == pytest.approx(1.065, abs=0.01)


def test_a_deliquescent_salt_holds_its_plateau():
    """Near 29 %RH brine forms while the air stands still: no leak."""
    bed = usual_bed(LIBRARY.desiccant("calcium_chloride"), 0.1)
    water = BoxWater(vapour_kg_m3=vapour_kg_m3(25.0, 0.29), skin_loading=1.05, core_loading=1.05)
    loading = float(mean_loading(bed, water))
    for _ in range(20):
        water, _ = step_box(tight_box(bed, changes_per_day=10.0), water, DAY_S, 25.0, ROOM)
        assert water.vapour_kg_m3 / saturated_vapour_kg_m3(25.0) == pytest.approx(0.29, abs=0.02)
    assert mean_loading(bed, water) > loading


def test_drier_desiccant_never_raises_humidity():
    bed, water = settled("silica_gel_a", 0.15)
    drier = BoxWater(vapour_kg_m3=water.vapour_kg_m3, skin_loading=0.05, core_loading=0.05)
    for dt_s in (10.0, 600.0, 50_000.0):
        usual = step_box(tight_box(bed), water, dt_s, 22.0, ROOM)[0]
        assert step_box(tight_box(bed), drier, dt_s, 22.0, ROOM)[0].vapour_kg_m3 <= usual.vapour_kg_m3


def test_many_boxes_at_once_give_what_each_gives_alone():
    bed = Bed(
        kind=LIBRARY.desiccant("silica_gel_a"),
        dry_kg=np.array([0.05, 0.5]),
        skin_rate_1_s=np.array([1e-4, 5e-5]),
        core_rate_1_s=1e-5,
    )
    both = Enclosure(volume_m3=np.array([0.01, 0.05]), leak_m3_s=1e-8, bed=bed)
    water = BoxWater(vapour_kg_m3=np.array([0.01, 0.004]), skin_loading=0.05, core_loading=0.1)
    found = step_box(both, water, 300.0, np.array([20.0, 25.0]), ROOM)[0]
    alone = Bed(kind=bed.kind, dry_kg=0.5, skin_rate_1_s=5e-5, core_rate_1_s=1e-5)
    second = step_box(
        Enclosure(volume_m3=0.05, leak_m3_s=1e-8, bed=alone),
        BoxWater(vapour_kg_m3=0.004, skin_loading=0.05, core_loading=0.1),
        300.0,
        25.0,
        ROOM,
    )[0]
    assert found.vapour_kg_m3[1] == pytest.approx(float(second.vapour_kg_m3), rel=1e-9)
    assert found.skin_loading[1] == pytest.approx(float(second.skin_loading), rel=1e-9)
