"""The truth of the demonstration site: its water adds up, and its story is told."""

import dataclasses

import numpy as np
import pytest

from monitor.simulator import scenarios
from monitor.simulator.demo import DemoSite
from monitor.simulator.scenarios import DAY_S, HOUR_S
from monitor.simulator.weather import RoomAir, weekday
from monitor.simulator.world import World

LIVE_S = 1_795_000_200.0  # a Tuesday


class StoppedClock:
    def wall_s(self) -> float:
        return LIVE_S


def demo(seed: int = 1, days: float = 30.0) -> DemoSite:
    return DemoSite(seed, LIVE_S, StoppedClock(), history_days=days)


def advance(world: World, to_s: float, step_s: float = 300.0) -> None:
    while world.time_s < to_s:
        world.advance_to(min(world.time_s + step_s, to_s))


def opening_of(world: World, box: str, seed: int = 1) -> tuple[float, float]:
    """The first opening of a box after the world's present."""
    day = int(world.time_s // DAY_S) + 1
    while not (openings := scenarios.lid_openings(box, day, seed)):
        day += 1
    return min(openings)


@pytest.fixture(scope="module")
def five_days() -> World:
    world = demo(days=5.0).world
    advance(world, LIVE_S)
    return world


def test_water_is_conserved_over_days_with_lids_and_leaks():
    """Whatever a box gained came in through its lid and its leaks, to 1e-9."""
    world = demo(days=5.0).world
    before = world.bodies.box_water_kg()
    advance(world, LIVE_S)
    gained = world.bodies.box_water_kg() - before
    np.testing.assert_allclose(before + world.leaked_in_kg, before + gained, rtol=1e-9)
    assert world.leaked_in_kg.max() > 1e-3


def test_the_same_seed_gives_the_same_world():
    worlds = [demo(seed=4, days=1.0).world for _ in range(2)]
    for world in worlds:
        advance(world, LIVE_S)
    np.testing.assert_array_equal(worlds[0].bodies.water, worlds[1].bodies.water)


def test_another_seed_gives_another_world():
    worlds = [demo(seed=seed, days=0.5).world for seed in (4, 5)]
    for world in worlds:
        advance(world, LIVE_S)
    assert not np.allclose(worlds[0].bodies.water, worlds[1].bodies.water)


def test_stops_in_between_change_little():
    """Looking every minute instead of every five: by night, lids long shut, no box differs by 0.05 %RH."""
    coarse, fine = (demo(days=1.0).world for _ in range(2))
    night_s = LIVE_S - 10.0 * HOUR_S
    advance(coarse, night_s)
    advance(fine, night_s, step_s=60.0)
    for box in scenarios.BOXES:
        assert fine.air(box).relative_humidity == pytest.approx(coarse.air(box).relative_humidity, abs=5e-4)


def test_an_open_lid_raises_the_humidity_at_once_and_it_falls_within_hours():
    """An opened lid swaps the air within a minute; a dry bed takes it down again."""
    world = demo(days=6.0).world
    opened_s, shut_s = opening_of(world, "heron")
    advance(world, opened_s - 60.0)
    dry = world.air("heron").relative_humidity
    advance(world, min(shut_s, opened_s + 90.0))
    assert world.is_lid_open("heron")
    wet = world.air("heron").relative_humidity
    assert wet > dry + 0.10
    advance(world, shut_s + 1.0 * HOUR_S)
    assert not world.is_lid_open("heron")
    assert world.air("heron").relative_humidity < dry + 0.25 * (wet - dry)


def test_a_failed_seal_lets_in_grams_a_day():
    world = demo(days=7.5).world
    column = world._column["dunlin"]
    advance(world, LIVE_S - 6.3 * DAY_S)
    tight_kg = world.leaked_in_kg[column]
    advance(world, LIVE_S)
    leaked_kg_a_day = (world.leaked_in_kg[column] - tight_kg) / 6.3
    assert leaked_kg_a_day > 0.002


def test_air_stays_physical(five_days):
    for place in [*scenarios.CLIMATES, *scenarios.BOXES, "kiln-low", "kiln-high"]:
        air = five_days.air(place)
        assert 0.0 < air.relative_humidity < 1.0
        assert 5.0 < air.temperature_c < 90.0
    assert five_days.bodies.humidity.min() > 0.0
    assert five_days.bodies.humidity.max() < 1.0


def test_a_box_lags_behind_its_room_but_keeps_near_it(five_days):
    assert abs(five_days.air("heron").temperature_c - five_days.air("print-room").temperature_c) < 3.0


def test_an_oven_that_ran_is_warm_when_the_site_goes_live(five_days):
    """A run ended half an hour before; its chamber cools, with the room's vapour in it."""
    room, chamber = five_days.air("print-room"), five_days.air("kiln-low")
    assert chamber.temperature_c > room.temperature_c + 10.0
    assert chamber.relative_humidity < room.relative_humidity


def test_an_oven_is_cold_hours_after_its_run():
    world = demo(days=0.5).world
    advance(world, LIVE_S + 8.0 * HOUR_S, step_s=3600.0)
    assert world.chamber_c("kiln-low") == pytest.approx(world.air("print-room").temperature_c, abs=0.2)


def test_one_sensor_drops_out_in_the_past_and_again_live():
    past, live = scenarios.DEAD
    assert past.holds(past.from_s + 1.0)
    assert not past.holds(past.to_s)
    assert not past.holds(0.0)
    assert live.holds(live.from_s)
    assert live.holds(live.from_s + 3.0 * DAY_S)
    assert not live.holds(live.to_s + 60.0)
    assert not live.holds(0.0)


def test_nobody_opens_a_box_while_the_workshop_is_shut():
    for day in range(20_770, 20_800):
        if weekday(day * DAY_S) in (0, 6):
            assert scenarios.lid_openings("heron", day, 1) == []


def test_openings_come_as_often_as_the_box_is_used():
    days = [day for day in range(20_000, 21_400) if weekday(day * DAY_S) not in (0, 6)]
    per_day = sum(len(scenarios.lid_openings("heron", day, 3)) for day in days) / len(days)
    assert per_day == pytest.approx(scenarios.BOXES["heron"].openings_per_day, rel=0.05)


def test_unix_time_began_on_a_thursday():
    assert [weekday(day * DAY_S) for day in range(7)] == [3, 4, 5, 6, 0, 1, 2]


@pytest.mark.parametrize("room", sorted(scenarios.CLIMATES))
def test_weather_goes_on_for_years_within_its_bounds(room):
    """Live may run for ever: the weather is a function of time, not a list that ends."""
    climate = scenarios.CLIMATES[room]
    air = RoomAir(climate, f"1/{room}")
    times_s = LIVE_S + np.arange(0.0, 3.0 * 365.0 * DAY_S, 7_777.0)
    temperatures = np.array([air.temperature_c(time_s) for time_s in times_s])
    dew_points = np.array([air.dew_point_c(time_s) for time_s in times_s])
    assert abs(temperatures.mean() - climate.temperature_c) < 1.0
    assert np.ptp(temperatures) < 12.0
    assert np.all(dew_points <= temperatures - 2.0)


def test_every_box_of_the_site_has_its_truth():
    inventory = demo(days=0.1).inventory
    assert set(inventory.boxes) == set(scenarios.BOXES)
    assert set(inventory.rooms) == set(scenarios.CLIMATES)
    channels = set(inventory.placed_channels())
    assert {dead.channel for dead in scenarios.DEAD} <= channels
    assert {run.oven for run in scenarios.OVEN_RUNS} <= set(inventory.ovens)
    assert {event.box for event in (*scenarios.SEALS, *scenarios.AJAR)} <= set(inventory.boxes)


def test_the_truth_is_off_the_catalogue():
    """The monitor is handed table values; were the truth the same, a passing test would mean nothing."""
    site = demo(days=0.1)
    other = demo(seed=2, days=0.1)
    assert dataclasses.asdict(site.inventory) == dataclasses.asdict(other.inventory)
    assert not np.allclose(site.world.bodies._table, other.world.bodies._table)
