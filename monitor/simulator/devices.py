"""The nodes of the demonstration: real code on parts that exist only in memory."""

import random
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.edge.i2c import Bus, MuxChannel
from monitor.edge.node import Measured, NodeCore, Round, sample_all
from monitor.edge.sht4x import Sht4xSampler
from monitor.model.inventory import Inventory
from monitor.model.reading import Quantity
from monitor.simulator.bus import BusClock, EmulatedBus, EmulatedMux, EmulatedSensor, SensorFault, ticks
from monitor.simulator.world import World

LIVE_SAMPLE_S = 60.0
HISTORY_SAMPLE_S = 300.0
_ADDRESSES = (0x44, 0x45, 0x46)
_MUX = 0x70


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorTruth:
    """What is off about one sensor: within what its maker promises."""

    serial: int
    temperature_offset_c: float
    humidity_offset_pct: float


class VirtualNode:
    """One node: the real buffer and numbering, and the real driver on an emulated bus."""

    def __init__(
        self, key: str, places: Mapping[str, str], world: World, *, seed: int, boot_s: float
    ) -> None:
        self.key = key
        self.boot_s = boot_s
        self._world = world
        self._places = dict(places)  # channel to place
        self._dice = random.Random(f"{seed}/node/{key}")
        boot = f"{self._dice.getrandbits(32):08x}"
        self.core = NodeCore(node=key, boot=boot, sample_s=LIVE_SAMPLE_S)
        self._truths = {channel: self._sensor_truth() for channel in self._places}
        self._clock = BusClock()
        self._sensors = {channel: self._sensor(channel) for channel in self._places}
        self._samplers = self._wired()

    def sample_by_model(self, time_s: float) -> Round:
        """A round straight from the sensor's error, noise and steps, without its bus: 20 times as fast."""
        measured: list[Measured] = []
        for channel, place in self._places.items():
            if self._world.is_dead(f"{self.key}/{channel}"):
                continue
            air, truth, gauss = self._world.air(place), self._truths[channel], self._dice.gauss
            first, second = ticks(
                air.temperature_c + truth.temperature_offset_c + gauss(0.0, 0.013),
                100.0 * air.relative_humidity + truth.humidity_offset_pct + gauss(0.0, 0.027),
            )
            humidity_pct = -6.0 + 125.0 * second / 65535.0
            measured += _pair(channel, -45.0 + 175.0 * first / 65535.0, min(max(humidity_pct, 0.0), 100.0))
        return Round(uptime_s=time_s - self.boot_s, measured=tuple(measured))

    def sample_by_driver(self, time_s: float) -> Round:
        """A round as on a real board: through driver, bus and multiplexer."""
        for channel, sensor in self._sensors.items():
            dead = self._world.is_dead(f"{self.key}/{channel}")
            sensor.fault = SensorFault.DEAD if dead else None
        return sample_all(self._samplers, lambda: time_s - self.boot_s)

    def pass_time(self, duration_s: float) -> None:
        """Let the sensors feel the air for a while."""
        self._clock.sleep(duration_s)

    def _sensor_truth(self) -> SensorTruth:
        return SensorTruth(
            serial=self._dice.getrandbits(32),
            temperature_offset_c=self._dice.gauss(0.0, 0.08),
            humidity_offset_pct=self._dice.gauss(0.0, 0.6),
        )

    def _sensor(self, channel: str) -> EmulatedSensor:
        truth, place = self._truths[channel], self._places[channel]

        def air() -> tuple[float, float]:
            now = self._world.air(place)
            return now.temperature_c, now.relative_humidity

        return EmulatedSensor(
            air,
            serial=truth.serial,
            clock=self._clock,
            temperature_offset_c=truth.temperature_offset_c,
            humidity_offset_pct=truth.humidity_offset_pct,
        )

    def _wired(self) -> dict[str, Sht4xSampler]:
        """Up to three sensors by their addresses; more behind a multiplexer."""
        if len(self._sensors) <= len(_ADDRESSES):
            wiring = dict(zip(self._sensors, _ADDRESSES, strict=False))
            bus = EmulatedBus({wiring[channel]: sensor for channel, sensor in self._sensors.items()})
            return {channel: self._sampler(bus, address) for channel, address in wiring.items()}
        mux = EmulatedMux({number: {0x44: sensor} for number, sensor in enumerate(self._sensors.values())})
        shared = EmulatedBus(muxes={_MUX: mux})
        return {
            channel: self._sampler(MuxChannel(shared, _MUX, number), 0x44)
            for number, channel in enumerate(self._sensors)
        }

    def _sampler(self, bus: Bus, address: int) -> Sht4xSampler:
        return Sht4xSampler(bus, address, sleep=self._clock.sleep, monotonic_s=self._clock.monotonic_s)


def virtual_nodes(inventory: Inventory, world: World, *, seed: int, boot_s: float) -> list[VirtualNode]:
    """One node for each that the inventory's channels name."""
    places: dict[str, dict[str, str]] = {}
    for channel, (_, place) in inventory.placed_channels().items():
        node, _, name = channel.partition("/")
        places.setdefault(node, {})[name] = place
    return [VirtualNode(node, channels, world, seed=seed, boot_s=boot_s) for node, channels in places.items()]


def _pair(channel: str, temperature_c: float, humidity_pct: float) -> tuple[Measured, Measured]:
    return (
        Measured(channel=channel, quantity=Quantity.TEMPERATURE, value=temperature_c),
        Measured(channel=channel, quantity=Quantity.HUMIDITY, value=humidity_pct),
    )
