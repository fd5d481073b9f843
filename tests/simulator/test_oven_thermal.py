"""The simulated oven's heat and water add up, and its cut-out and fuse do what such parts do."""

import itertools
import random

import pytest

from monitor.physics.psychrometrics import relative_humidity
from monitor.simulator.oven_faults import SensorFault
from monitor.simulator.oven_sensor import ChamberSensor
from monitor.simulator.oven_thermal import Drive, OvenParameters, OvenThermal, Room


def run(oven, hours, drive, dt_s=2.0):
    for _ in range(round(hours * 3600.0 / dt_s)):
        oven.step(dt_s, drive)


@pytest.mark.parametrize(
    ("heated", "fan", "door", "spools", "layers_w_k"),
    list(itertools.product((False, True), (False, True), (False, True), (0, 1, 3), (None, 0.5))),
)
def test_energy_is_conserved(heated, fan, door, spools, layers_w_k):
    """Given, less lost, less what evaporation took, is what the lumps gained: to 1e-9."""
    oven = OvenThermal(OvenParameters(layers_w_k=layers_w_k), Room(temperature_c=17.0), spools=spools)
    oven.air_c, oven.wall_c = 40.0, 30.0
    before_j = oven.stored_j()
    run(oven, 0.5, Drive(heated=heated, fan=fan, door_open=door, water_kg_s=2e-7))
    gained_j = oven.stored_j() - before_j
    books_j = oven.given_j - oven.lost_j - oven.evaporated_j
    assert gained_j == pytest.approx(books_j, rel=1e-9, abs=1e-6)
    assert abs(books_j) > 100.0


def test_still_air_lies_in_layers_and_a_fan_mixes_them():
    """H21: with the element above, the air round the spools stays behind; the fan makes one of both."""
    oven = OvenThermal(OvenParameters(layers_w_k=0.5), Room(), spools=1)
    run(oven, 0.05, Drive(heated=True))
    assert oven.air_c - oven.low_c > 20.0
    stored_j = oven.stored_j()
    oven.step(1e-6, Drive(fan=True))
    assert oven.air_c == oven.low_c
    assert oven.stored_j() == pytest.approx(stored_j, rel=1e-6)
    by_itself = OvenThermal(OvenParameters(), Room(), spools=1)
    run(by_itself, 0.05, Drive(heated=True))
    assert by_itself.air_c == by_itself.low_c


def test_water_is_conserved():
    """Released is vented, or run down the walls, or still in the air."""
    oven = OvenThermal(OvenParameters(), Room(), spools=2)
    before_kg = oven.vapour_kg
    run(oven, 2.0, Drive(fan=True, water_kg_s=5e-6))
    changed_kg = oven.vapour_kg - before_kg
    assert changed_kg == pytest.approx(
        oven.released_kg - oven.vented_kg - oven.condensed_kg, rel=1e-9, abs=1e-15
    )
    assert oven.condensed_kg > 0.0
    assert oven.relative_humidity() == pytest.approx(1.0, abs=0.01)


def test_halving_the_step_changes_little():
    """Two seconds are fine enough: under half a degree after half an hour of full heat."""
    ends_c = []
    for dt_s in (2.0, 0.5):
        oven = OvenThermal(OvenParameters(cutout_c=500.0, fuse_c=500.0), Room(), spools=1)
        run(oven, 0.5, Drive(heated=True, fan=True), dt_s)
        ends_c.append((oven.air_c, oven.core_c[0], oven.element_c))
    assert ends_c[0] == pytest.approx(ends_c[1], abs=0.5)


def test_left_alone_everything_becomes_as_warm_as_the_room():
    oven = OvenThermal(OvenParameters(), Room(temperature_c=19.0), spools=1)
    oven.element_c, oven.air_c, oven.wall_c, oven.core_c[0] = 120.0, 70.0, 60.0, 55.0
    run(oven, 24.0, Drive())
    assert (oven.element_c, oven.air_c, oven.wall_c, oven.core_c[0]) == pytest.approx((19.0,) * 4, abs=0.05)


def test_warmed_room_air_keeps_its_vapour_pressure():
    """RH_oven = RH_room e_s(T_room) / e_s(T_oven): the physics that drying plans rest on."""
    room = Room(temperature_c=23.0, vapour_pa=1404.0)  # 50 %RH
    oven = OvenThermal(OvenParameters(), room, spools=0)
    run(oven, 2.0, Drive(fan=True))
    for _ in range(3600):
        oven.step(2.0, Drive(heated=oven.air_c < 50.0, fan=True))
    assert oven.relative_humidity() == pytest.approx(
        float(relative_humidity(oven.air_c, room.vapour_pa)), rel=0.02
    )


def test_spools_that_give_off_water_stay_cooler():
    """Evaporation takes its heat from them."""
    cores_c = []
    for water_kg_s in (0.0, 3e-6):
        oven = OvenThermal(OvenParameters(), Room(), spools=1)
        for _ in range(3600):
            oven.step(2.0, Drive(heated=oven.air_c < 55.0, fan=True, water_kg_s=water_kg_s))
        cores_c.append(oven.core_c[0])
    assert cores_c[1] < cores_c[0] - 1.0


def test_the_cutout_opens_and_stays_open_until_reset_by_hand():
    oven = OvenThermal(OvenParameters(), Room(), spools=1)
    run(oven, 1.0, Drive(heated=True, fan=True))
    assert not oven.cutout_ok
    assert oven.fuse_ok
    assert oven.power_w == 0.0
    run(oven, 3.0, Drive(heated=True, fan=True))
    assert oven.power_w == 0.0
    oven.reset_cutout()
    run(oven, 0.001, Drive(heated=True, fan=True))
    assert oven.power_w == 350.0


def test_a_hot_cutout_cannot_be_reset():
    oven = OvenThermal(OvenParameters(), Room(), spools=1)
    while oven.cutout_ok:
        oven.step(2.0, Drive(heated=True, fan=True))
    oven.reset_cutout()
    assert not oven.cutout_ok


def test_the_fuse_opens_once_where_the_cutout_failed():
    oven = OvenThermal(OvenParameters(cutout_c=1e9), Room(), spools=1)
    run(oven, 2.0, Drive(heated=True, fan=True))
    assert not oven.fuse_ok
    oven.reset_cutout()
    run(oven, 6.0, Drive(heated=True, fan=True))
    assert oven.power_w == 0.0


def test_a_still_fan_makes_the_element_hotter():
    """Why heat needs a proven fan (R14)."""
    elements_c = []
    for fan in (True, False):
        oven = OvenThermal(OvenParameters(), Room(), spools=1)
        run(oven, 0.05, Drive(heated=True, fan=fan))
        elements_c.append(oven.element_c)
    assert elements_c[1] > elements_c[0] + 40.0


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (None, lambda c: c == pytest.approx(60.0, abs=0.2)),
        (SensorFault.OPEN, lambda c: c < -60.0),
        (SensorFault.SHORT, lambda c: c > 130.0),
        (SensorFault.DEAD, lambda c: c is None),
        (SensorFault.FALLEN_OUT, lambda c: c == pytest.approx(20.0, abs=0.2)),
        (SensorFault.LOW, lambda c: c == pytest.approx(50.0, abs=0.2)),
    ],
)
def test_a_broken_sensor_says_what_such_a_sensor_says(fault, expected):
    sensor = ChamberSensor(random.Random(1), 60.0)
    for _ in range(300):
        sensor.pass_time(1.0, 60.0, 20.0, fault)
    assert expected(sensor.sample(fault)[1])


def test_a_silent_sensor_repeats_its_number_and_a_stuck_one_its_value():
    """The driver that caches its last value is a different fault from the chip that hangs (H04)."""
    for fault, numbers_rise in ((SensorFault.SILENT, False), (SensorFault.STUCK, True)):
        sensor = ChamberSensor(random.Random(1), 60.0)
        said = []
        for second in range(20):
            sensor.pass_time(1.0, 60.0 + second, 20.0, fault if second > 5 else None)
            said.append(sensor.sample(fault if second > 5 else None))
        assert len({value for _, value in said[6:]}) == 1
        assert (said[-1][0] > said[6][0]) is numbers_rise


def test_a_sensor_follows_with_its_lag_noise_and_steps():
    sensor = ChamberSensor(random.Random(1), 20.0, lag_s=15.0, noise_c=0.02, step_c=0.01)
    sensor.pass_time(15.0, 30.0, 20.0, None)
    assert sensor.felt_c == pytest.approx(26.32, abs=0.01)
    values = []
    for _ in range(200):
        sensor.pass_time(1.0, 30.0, 20.0, None)
        values.append(sensor.sample(None)[1])
    assert len(set(values[100:])) > 5
    assert all(abs(value * 100.0 - round(value * 100.0)) < 1e-6 for value in values)
