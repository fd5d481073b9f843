"""The truth of the demonstration site: what its air, spools and desiccants really do.

Between two moments nothing is coarser than five minutes, and round an open lid nothing is coarser than
half a minute. Same seed, same start and same stops give the same world.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.library import Library
from monitor.model.inventory import Inventory
from monitor.physics.psychrometrics import saturation_pressure_pa
from monitor.simulator import scenarios
from monitor.simulator.bodies import VAPOUR_J_KG_K, Array, Bodies
from monitor.simulator.stock import bed_body, spool_body
from monitor.simulator.weather import RoomAir

_ZERO_C_K = 273.15
_COARSE_S = 300.0
_FINE_S = 30.0
# Swapping the air of an open box takes about this long.
_OPEN_SWAP_S = 25.0
# After a lid has closed the air settles within minutes: steps grow from there.
_AFTER_CLOSING_S = (20.0, 45.0, 80.0, 120.0, 180.0, 240.0, 360.0, 480.0, 600.0, 750.0, 1050.0, 1350.0)
# An oven's chamber follows its set-point and cools again [s].
_OVEN_WARMS_S, _OVEN_COOLS_S = 900.0, 3000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """True air at one place."""

    temperature_c: float
    relative_humidity: float


class World:
    """The site from `start_s` on; `live_s` is the moment from which the scenarios count."""

    def __init__(
        self, inventory: Inventory, library: Library, *, seed: int, start_s: float, live_s: float
    ) -> None:
        self._inventory = inventory
        self._seed = seed
        self._live_s = live_s
        self.time_s = start_s
        self._boxes = list(inventory.boxes.values())
        self._column = {box.key: column for column, box in enumerate(self._boxes)}
        self._truths = [scenarios.BOXES[box.key] for box in self._boxes]
        self._rooms = {key: RoomAir(scenarios.CLIMATES[key], f"{seed}/{key}") for key in inventory.rooms}
        self._volume_m3 = np.array([box.volume_l / 1000.0 for box in self._boxes])
        self._lag_s = np.array([truth.lag_s for truth in self._truths])
        self._warmer_c = np.array([truth.warmer_c for truth in self._truths])
        self._box_c = self._room_temperatures_c(start_s) + self._warmer_c
        self.spools = [spool for spool in inventory.spools.values() if spool.place in inventory.boxes]
        self.bodies = self._placed_bodies(library)
        self.leaked_in_kg = np.zeros(len(self._boxes))
        self._lids: dict[int, list[tuple[int, float, float]]] = {}
        # Set by ovens that are simulated in their own right: from then on they say how warm they are.
        self.chambers_c: dict[str, float] = {}

    def advance_to(self, time_s: float) -> None:
        """Let the world run on to a later moment."""
        while self.time_s < time_s:
            until_s = min(time_s, (math.floor(self.time_s / _COARSE_S) + 1) * _COARSE_S)
            for edge_s in self._edges(self.time_s, until_s):
                self._step_to(edge_s)

    def air(self, place: str) -> Air:
        """True air of a room, box or oven now."""
        inventory = self._inventory
        if place in inventory.boxes:
            return self._box_air(self._column[place])
        if place in inventory.rooms:
            room = self._rooms[place]
            return _air(room.temperature_c(self.time_s), room.dew_point_c(self.time_s))
        room = self._rooms[inventory.ovens[place].room]
        return _air(self.chamber_c(place), room.dew_point_c(self.time_s))

    def chamber_c(self, oven: str) -> float:
        """An oven's chamber: warm while a run lasts, then cooling down to its room."""
        if oven in self.chambers_c:
            return self.chambers_c[oven]
        room_c = self._rooms[self._inventory.ovens[oven].room].temperature_c(self.time_s)
        since_live_s = self.time_s - self._live_s
        above_c = 0.0
        for run in scenarios.OVEN_RUNS:
            if run.oven == oven and since_live_s > run.from_s:
                heated_s = min(since_live_s, run.to_s) - run.from_s
                reached_c = (run.chamber_c - room_c) * (1.0 - math.exp(-heated_s / _OVEN_WARMS_S))
                above_c += reached_c * math.exp(-max(since_live_s - run.to_s, 0.0) / _OVEN_COOLS_S)
        return room_c + above_c

    def is_lid_open(self, box: str) -> bool:
        column = self._column[box]
        return any(
            lid == column and opened < self.time_s <= shut
            for lid, opened, shut in self._lids_near(self.time_s)
        )

    def is_dead(self, channel: str) -> bool:
        """Whether that sensor says nothing now."""
        since_live_s = self.time_s - self._live_s
        return any(dead.channel == channel and dead.holds(since_live_s) for dead in scenarios.DEAD)

    def _placed_bodies(self, library: Library) -> Bodies:
        spools = [
            spool_body(spool, library, box=self._column[str(spool.place)], seed=self._seed)
            for spool in self.spools
        ]
        beds = [
            bed_body(box.desiccant, truth, library, box=self._column[box.key], seed=self._seed)
            for box, truth in zip(self._boxes, self._truths, strict=True)
            if box.desiccant is not None
        ]
        saturated = _saturated_kg_m3(self._box_c)
        begun = np.array([truth.bed_humidity for truth in self._truths]) * saturated
        return Bodies(spools + beds, self._volume_m3, begun, self._box_c + _ZERO_C_K, saturated)

    def _step_to(self, edge_s: float) -> None:
        dt_s = edge_s - self.time_s
        middle_s = self.time_s + dt_s / 2.0
        target_c = self._room_temperatures_c(middle_s) + self._warmer_c
        self._box_c = target_c + (self._box_c - target_c) * np.exp(-dt_s / self._lag_s)
        self.leaked_in_kg += self.bodies.step(
            dt_s,
            self._box_c + _ZERO_C_K,
            _saturated_kg_m3(self._box_c),
            self._exchange_m3_s(middle_s),
            self._room_vapour_kg_m3(middle_s),
        )
        self.time_s = edge_s

    def _exchange_m3_s(self, time_s: float) -> Array:
        per_day = np.array([truth.air_changes_per_day for truth in self._truths])
        for seal in scenarios.SEALS:
            if time_s - self._live_s >= seal.from_s:
                per_day[self._column[seal.box]] = seal.air_changes_per_day
        exchange = self._volume_m3 * per_day / scenarios.DAY_S
        for box, opened_s, shut_s in self._lids_near(time_s):
            if opened_s <= time_s < shut_s:
                exchange[box] = self._volume_m3[box] / _OPEN_SWAP_S
        return np.asarray(exchange)

    def _room_temperatures_c(self, time_s: float) -> Array:
        by_room = {key: room.temperature_c(time_s) for key, room in self._rooms.items()}
        return np.array([by_room[box.room] for box in self._boxes])

    def _room_vapour_kg_m3(self, time_s: float) -> Array:
        by_room = {
            key: float(saturation_pressure_pa(room.dew_point_c(time_s)))
            / (VAPOUR_J_KG_K * (room.temperature_c(time_s) + _ZERO_C_K))
            for key, room in self._rooms.items()
        }
        return np.array([by_room[box.room] for box in self._boxes])

    def _box_air(self, column: int) -> Air:
        temperature_c = float(self._box_c[column])
        saturated = float(_saturated_kg_m3(self._box_c)[column])
        humidity = float(self.bodies.box_vapour_kg_m3[column]) / saturated
        return Air(temperature_c=temperature_c, relative_humidity=min(max(humidity, 0.0), 1.0))

    def _edges(self, from_s: float, to_s: float) -> Iterator[float]:
        """Where the steps between two moments end: finer while a lid is open and just after."""
        marks = {to_s}
        for _, opened_s, shut_s in self._lids_near(from_s):
            marks.update({opened_s, shut_s, *(shut_s + after_s for after_s in _AFTER_CLOSING_S)})
            fine_s = max(opened_s, from_s)
            while fine_s < min(shut_s, to_s):
                marks.add(fine_s)
                fine_s += _FINE_S
        return iter(sorted(mark for mark in marks if from_s < mark <= to_s))

    def _lids_near(self, time_s: float) -> list[tuple[int, float, float]]:
        """Openings of this day and those left ajar, as (box, opened, shut)."""
        day = int(time_s // scenarios.DAY_S)
        if day not in self._lids:
            self._lids = {day: self._lids_of_day(day)}
        return self._lids[day]

    def _lids_of_day(self, day: int) -> list[tuple[int, float, float]]:
        openings = [
            (column, opened_s, shut_s)
            for key, column in self._column.items()
            for opened_s, shut_s in scenarios.lid_openings(key, day, self._seed)
        ]
        for ajar in scenarios.AJAR:
            openings.append((self._column[ajar.box], self._live_s + ajar.from_s, self._live_s + ajar.to_s))
        return openings


def _saturated_kg_m3(temperature_c: Array) -> Array:
    return np.asarray(saturation_pressure_pa(temperature_c)) / (VAPOUR_J_KG_K * (temperature_c + _ZERO_C_K))


def _air(temperature_c: float, dew_point_c: float) -> Air:
    """Warming at constant pressure leaves the vapour pressure as it was."""
    humidity = float(saturation_pressure_pa(dew_point_c)) / float(saturation_pressure_pa(temperature_c))
    return Air(temperature_c=temperature_c, relative_humidity=min(humidity, 1.0))
