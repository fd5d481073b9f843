"""The energy that a cycle takes: what the chamber loses, the air that goes through it, the load and its "
"water."""

from dataclasses import dataclass

from monitor.model.inventory import Oven

# Nobody enters how well an oven is insulated: about 3 W/m2/K for a small one with double walls, within a
# factor of 2 either way (handbook, not verified). A usual one holds some 20 litres.
_LOSS_W_M2_K = 3.0
_USUAL_L = 20.0
_USUAL_VENT_M3_H = 0.2
_AIR_J_M3_K = 1_150.0
_LOAD_J_KG_K = 1_500.0
_EVAPORATION_J_KG = 2.45e6
_WH_J = 3_600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Energy:
    """Of one cycle."""

    used_wh: float
    steady_w: float  # to hold the temperature
    basis: str


def energy_of(
    oven: Oven, *, above_room_k: float, hours: float, load_kg: float, water_kg: float, heat_j_kg: float | None
) -> Energy:
    """Energy from the start to the end of heating.

    Args:
        oven: Its volume and vent, where they are known.
        above_room_k: Temperature of the chamber over the room's [K].
        hours: Of heating [h].
        load_kg: What is heated, reels included [kg].
        water_kg: Driven out [kg].
        heat_j_kg: Heat of that [J/kg]; None = water's own.
    """
    volume_l = _USUAL_L if oven.volume_l is None else oven.volume_l
    vent_m3_h = _USUAL_VENT_M3_H if oven.vent_m3_h is None else oven.vent_m3_h
    walls_m2 = 6.0 * (volume_l / 1000.0) ** (2.0 / 3.0)
    steady_w = above_room_k * (_LOSS_W_M2_K * walls_m2 + _AIR_J_M3_K * vent_m3_h / 3600.0)
    once_j = above_room_k * _LOAD_J_KG_K * load_kg + water_kg * (heat_j_kg or _EVAPORATION_J_KG)
    known = "its own volume" if oven.volume_l is not None else f"a usual {_USUAL_L:g} l"
    return Energy(
        used_wh=float(f"{steady_w * hours + once_j / _WH_J:.2g}"),
        steady_w=steady_w,
        basis=f"For the middle duration, {known} and double walls: good within a factor of 2.",
    )
