"""The truth of one oven: heat and water of chamber, walls, element and spools, with its cut-out and its fuse.

Lumps of heat exchange energy pairwise, so that none is made or lost: `stored_j` and the books of what went in
and out agree to rounding. The chamber's air is so light that it is solved exactly over a step while the other
lumps stand still; they get what its mean temperature gave them.
"""

import math
from dataclasses import dataclass

from monitor.physics.psychrometrics import saturation_pressure_pa

_ZERO_C_K = 273.15
# Specific gas constant of water vapour, and its heat of evaporation near 50 degC (steam tables).
_VAPOUR_J_KG_K = 461.5
_EVAPORATION_J_KG = 2.38e6
# Air at 50 degC: density times specific heat.
_AIR_J_M3_K = 1.09 * 1007.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenParameters:
    """The reference oven: 40 l, 350 W, sheet steel. Pairs are with the fan on, and without it."""

    heater_w: float = 350.0
    element_j_k: float = 140.0
    element_air_w_k: tuple[float, float] = (9.0, 2.0)
    element_wall_w_k: float = 0.8  # radiation
    air_j_k: float = 400.0  # with shelf and leads
    air_wall_w_k: tuple[float, float] = (9.0, 3.0)
    wall_j_k: float = 4000.0
    wall_room_w_k: float = 2.4
    spool_j_k: float = 1600.0  # one of 1 kg
    spool_skin_share: float = 0.25  # of its heat capacity lies in the outer windings
    air_spool_w_k: tuple[float, float] = (1.6, 0.6)
    skin_core_w_k: float = 0.6
    volume_m3: float = 0.040
    vent_m3_s: float = 0.6 / 3600.0
    door_m3_s: float = 0.02  # natural draught through an open door
    cutout_c: float = 95.0
    cutout_lag_s: float = 40.0
    cutout_element_share: float = 0.15  # its bulb sits where it sees something of the element
    fuse_c: float = 128.0
    fuse_lag_s: float = 20.0
    fuse_element_share: float = 0.5  # on the element's bracket
    # Without the fan: between the upper half of the air, with the element, and the lower, with the spools.
    # None = heated from below, so that its air turns over by itself.
    layers_w_k: float | None = None


@dataclass(slots=True, kw_only=True)
class Room:
    """The air outside; may be changed while time runs."""

    temperature_c: float = 21.0
    vapour_pa: float = 1100.0


@dataclass(slots=True, kw_only=True)
class Drive:
    """What is done to the oven during one step."""

    heated: bool = False  # both switches let current through
    fan: bool = False
    door_open: bool = False
    water_kg_s: float = 0.0  # given off by each spool


class OvenThermal:
    """One chamber with `spools` spools."""

    def __init__(
        self, parameters: OvenParameters, room: Room, *, spools: int = 1, start_c: float | None = None
    ) -> None:
        """Everything begins at `start_c`, or as warm as the room."""
        self.parameters, self.room = parameters, room
        start_c = room.temperature_c if start_c is None else start_c
        self.element_c = self.air_c = self.wall_c = start_c
        self.low_c = start_c  # air round the spools; another than above only where layers form
        self.cutout_bulb_c = self.fuse_c = start_c
        self.skin_c, self.core_c = [start_c] * spools, [start_c] * spools
        self.vapour_kg = room.vapour_pa / (_VAPOUR_J_KG_K * (start_c + _ZERO_C_K)) * parameters.volume_m3
        self.cutout_ok = self.fuse_ok = True
        self.power_w = 0.0
        # The books: what the mains gave, what left through walls, vent and door, what evaporation took.
        self.given_j = self.lost_j = self.evaporated_j = 0.0
        self.released_kg = self.vented_kg = self.condensed_kg = 0.0

    def step(self, dt_s: float, drive: Drive) -> None:
        """Let `dt_s` pass, at most some seconds."""
        self.power_w = self.parameters.heater_w if drive.heated and self.cutout_ok and self.fuse_ok else 0.0
        self._warm(dt_s, drive)
        self._wet(dt_s, drive)
        self._guard(dt_s)

    def reset_cutout(self) -> None:
        """The button inside the enclosure; it holds only once the bulb has cooled by a fifth of its rise."""
        self.cutout_ok = self.cutout_bulb_c < self.parameters.cutout_c - 15.0

    def relative_humidity(self) -> float:
        pressure_pa = self.vapour_kg / self.parameters.volume_m3 * _VAPOUR_J_KG_K * (self.air_c + _ZERO_C_K)
        return min(pressure_pa / saturation_pressure_pa(min(max(self.air_c, -40.0), 150.0)), 1.0)

    def stored_j(self) -> float:
        """Heat above 0 degC in all lumps."""
        p = self.parameters
        skin_j_k = p.spool_j_k * p.spool_skin_share
        spools_j = sum(skin_j_k * c for c in self.skin_c)
        spools_j += sum((p.spool_j_k - skin_j_k) * c for c in self.core_c)
        air_j = p.air_j_k / 2.0 * (self.air_c + self.low_c)
        lumps_j = p.element_j_k * self.element_c + air_j + p.wall_j_k * self.wall_c
        return lumps_j + spools_j

    def _warm(self, dt_s: float, drive: Drive) -> None:
        p, still = self.parameters, 0 if drive.fan else 1
        room_c = self.room.temperature_c
        to_element, to_wall, to_spool = (
            p.element_air_w_k[still],
            p.air_wall_w_k[still],
            p.air_spool_w_k[still],
        )
        to_room = _AIR_J_M3_K * (p.vent_m3_s + (p.door_m3_s if drive.door_open else 0.0))
        of_element, of_room = (to_element, self.element_c), (to_room, room_c)
        of_spools = [(to_spool, skin_c) for skin_c in self.skin_c]
        if drive.fan or p.layers_w_k is None:
            self.air_c = (self.air_c + self.low_c) / 2.0
            of_wall = (to_wall, self.wall_c)
            self.air_c, high_c = _drawn(
                self.air_c, [of_element, of_wall, of_room, *of_spools], p.air_j_k, dt_s
            )
            self.low_c, low_c = self.air_c, high_c
        else:
            half_j_k, of_wall = p.air_j_k / 2.0, (to_wall / 2.0, self.wall_c)
            apart_c = (self.air_c - self.low_c) / 2.0 * -math.expm1(-2.0 * p.layers_w_k * dt_s / half_j_k)
            self.air_c, high_c = _drawn(self.air_c - apart_c, [of_element, of_wall, of_room], half_j_k, dt_s)
            self.low_c, low_c = _drawn(self.low_c + apart_c, [of_wall, *of_spools], half_j_k, dt_s)
        by_wall_c = (high_c + low_c) / 2.0
        radiated_w = p.element_wall_w_k * (self.element_c - self.wall_c)
        out_w = p.wall_room_w_k * (self.wall_c - room_c)
        self._warm_spools(dt_s, low_c, to_spool, drive.water_kg_s * _EVAPORATION_J_KG)
        into_element_w = self.power_w - radiated_w - to_element * (self.element_c - high_c)
        self.element_c += into_element_w * dt_s / p.element_j_k
        self.wall_c += (radiated_w - out_w + to_wall * (by_wall_c - self.wall_c)) * dt_s / p.wall_j_k
        self.given_j += self.power_w * dt_s
        self.lost_j += (out_w + to_room * (high_c - room_c)) * dt_s

    def _warm_spools(self, dt_s: float, air_c: float, to_spool: float, evaporating_w: float) -> None:
        p = self.parameters
        skin_j_k = p.spool_j_k * p.spool_skin_share
        core_j_k = p.spool_j_k - skin_j_k
        for place, skin_c in enumerate(self.skin_c):
            inward_w = p.skin_core_w_k * (skin_c - self.core_c[place])
            skin_w = to_spool * (air_c - skin_c) - inward_w - evaporating_w
            self.skin_c[place] = skin_c + skin_w * dt_s / skin_j_k
            self.core_c[place] += inward_w * dt_s / core_j_k
        self.evaporated_j += evaporating_w * len(self.skin_c) * dt_s

    def _wet(self, dt_s: float, drive: Drive) -> None:
        """Vapour of the chamber's air; what is more than saturated runs down the walls."""
        p = self.parameters
        flow_m3_s = p.vent_m3_s + (p.door_m3_s if drive.door_open else 0.0)
        outside_kg_m3 = self.room.vapour_pa / (_VAPOUR_J_KG_K * (self.room.temperature_c + _ZERO_C_K))
        # Air that comes in expands as it warms: its vapour pressure stays, its vapour a cubic metre does not.
        entering_kg_m3 = outside_kg_m3 * (self.room.temperature_c + _ZERO_C_K) / (self.air_c + _ZERO_C_K)
        released_kg_s = drive.water_kg_s * len(self.skin_c)
        goal_kg = (entering_kg_m3 + released_kg_s / flow_m3_s) * p.volume_m3
        after_kg = goal_kg + (self.vapour_kg - goal_kg) * math.exp(-flow_m3_s * dt_s / p.volume_m3)
        self.vented_kg += self.vapour_kg + released_kg_s * dt_s - after_kg
        self.released_kg += released_kg_s * dt_s
        saturated_pa = saturation_pressure_pa(min(max(self.air_c, -40.0), 150.0))
        most_kg = saturated_pa / (_VAPOUR_J_KG_K * (self.air_c + _ZERO_C_K)) * p.volume_m3
        self.condensed_kg += max(after_kg - most_kg, 0.0)
        self.vapour_kg = min(after_kg, most_kg)

    def _guard(self, dt_s: float) -> None:
        """Cut-out with manual reset, and a fuse that opens once; each with its own feeling of the heat."""
        p = self.parameters
        above_c = self.element_c - self.air_c
        felt_c = self.air_c + p.cutout_element_share * above_c
        self.cutout_bulb_c += (felt_c - self.cutout_bulb_c) * -math.expm1(-dt_s / p.cutout_lag_s)
        felt_c = self.air_c + p.fuse_element_share * above_c
        self.fuse_c += (felt_c - self.fuse_c) * -math.expm1(-dt_s / p.fuse_lag_s)
        self.cutout_ok = self.cutout_ok and self.cutout_bulb_c < p.cutout_c
        self.fuse_ok = self.fuse_ok and self.fuse_c < p.fuse_c


def _drawn(
    air_c: float, pulls: list[tuple[float, float]], capacity_j_k: float, dt_s: float
) -> tuple[float, float]:
    """Air after a step between lumps that stand still, (W/K, degC) each, and its mean over the step.

    What the others lose to the mean is exactly what the air gains.
    """
    total = sum(conductance for conductance, _ in pulls)
    goal_c = sum(conductance * lump_c for conductance, lump_c in pulls) / total
    exponent = total * dt_s / capacity_j_k
    left = math.exp(-exponent)
    return goal_c + (air_c - goal_c) * left, goal_c + (air_c - goal_c) * (1.0 - left) / exponent
