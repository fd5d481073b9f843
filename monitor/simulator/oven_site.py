"""The ovens of the demonstration site: the controller's own code on a simulated chamber, over real MQTT."""

import json
import threading
from collections import deque

from controller.limits import FIRMWARE_HARD_C, OvenLimits
from monitor.model.inventory import Inventory, Oven
from monitor.physics.psychrometrics import vapour_pressure_pa
from monitor.simulator.oven_rig import STEP_S, OvenRig
from monitor.simulator.oven_thermal import OvenParameters, Room
from monitor.simulator.world import World

FIRMWARE = "virtual-1"
# A chamber above this is still cooling down; below it is as good as cold.
_COOL_C = 40.0
_REFERENCE = OvenParameters()
_ORDERS_KEPT = 64
# After a pause of the whole program the newest states are told, not hours of old ones.
_STATES_TOLD = 5


class VirtualOven:
    """One oven from the moment the site goes live. It is cold, and without a permit it stays so."""

    def __init__(self, oven: Oven, world: World, *, seed: int) -> None:
        self.key = oven.key
        self._oven, self._world, self._seed = oven, world, seed
        self._room = Room()
        self._orders: deque[tuple[str, bytes, bool]] = deque(maxlen=_ORDERS_KEPT)
        self._stopped = threading.Event()
        self._states: deque[bytes] = deque(maxlen=_STATES_TOLD)
        self._begun_s = world.time_s
        self._look_at_room()
        self._rig = self._new_rig()

    def begin(self, time_s: float) -> None:
        """The controller starts now, on a chamber as warm as the world has it."""
        self._begun_s = time_s
        self._look_at_room()
        self._rig = self._new_rig()

    def receive(self, leaf: str, payload: bytes, retained: bool) -> None:
        """An order from the broker, on any thread; a stop is never pushed out by what comes after it."""
        if leaf == "stop":
            self._stopped.set()
        self._orders.append((leaf, payload, retained))

    def report(self, time_s: float) -> list[bytes]:
        """Run on until then; what the controller published meanwhile."""
        self._look_at_room()
        self._take_orders()
        while self._begun_s + self._rig.time_s + STEP_S <= time_s:
            self._rig.step()
        self._world.chambers_c[self.key] = self._rig.oven.air_c
        told = list(self._states)
        self._states.clear()
        return told

    def presence(self) -> bytes:
        boot = self._rig.controller.boot
        said = {"online": True, "boot": boot, "firmware": FIRMWARE, "sample_s": 10}
        return json.dumps(said, separators=(",", ":")).encode()

    def _take_orders(self) -> None:
        while self._orders:
            leaf, payload, retained = self._orders.popleft()
            self._rig.receive(leaf, payload, retained=retained)
        if self._stopped.is_set():
            self._stopped.clear()
            self._rig.receive("stop", b"{}")

    def _look_at_room(self) -> None:
        air = self._world.air(self._oven.room)
        self._room.temperature_c = air.temperature_c
        self._room.vapour_pa = float(vapour_pressure_pa(air.temperature_c, air.relative_humidity))

    def _new_rig(self) -> OvenRig:
        return OvenRig(
            parameters=parameters_of(self._oven),
            limits=limits_of(self._oven),
            room=self._room,
            start_c=self._world.chamber_c(self.key),
            seed=f"{self._seed}/{self.key}",
            on_state=self._states.append,
        )


def virtual_ovens(inventory: Inventory, world: World, *, seed: int) -> list[VirtualOven]:
    return [VirtualOven(oven, world, seed=seed) for oven in inventory.ovens.values()]


def parameters_of(oven: Oven) -> OvenParameters:
    """The reference oven, stretched to another one's heater and volume: a guess good enough to show."""
    heater_w, volume_m3 = oven.heater_w or 350.0, (oven.volume_l or 40.0) / 1000.0
    power, size = heater_w / _REFERENCE.heater_w, (volume_m3 / _REFERENCE.volume_m3) ** (2.0 / 3.0)
    cutout_c = oven.cutout_c or oven.max_c + 20.0
    ref = _REFERENCE
    return OvenParameters(
        heater_w=heater_w,
        element_j_k=ref.element_j_k * power,
        element_air_w_k=(ref.element_air_w_k[0] * power, ref.element_air_w_k[1] * power),
        element_wall_w_k=ref.element_wall_w_k * power,
        air_j_k=ref.air_j_k * power,
        air_wall_w_k=(ref.air_wall_w_k[0] * power, ref.air_wall_w_k[1] * size),
        wall_j_k=ref.wall_j_k * size * power**0.5,
        wall_room_w_k=ref.wall_room_w_k * size,
        volume_m3=volume_m3,
        vent_m3_s=(oven.vent_m3_h or 0.6) / 3600.0,
        cutout_c=cutout_c,
        fuse_c=cutout_c + 33.0,
    )


def limits_of(oven: Oven) -> OvenLimits:
    """Nobody stands at a virtual oven to press its button: it has none, and says so (B-11)."""
    cutout_c = oven.cutout_c or oven.max_c + 20.0
    return OvenLimits(
        hard_c=min(oven.max_c + oven.overshoot_c + 4.0, cutout_c - 8.0, FIRMWARE_HARD_C),
        has_arming=False,
        has_fan=bool(oven.fan),
        cooling_c=_COOL_C,
        step_ms=int(STEP_S * 1000.0),
    )
