"""An I2C bus that exists only in memory, with SHT4x sensors and a multiplexer after their data sheets.

The real driver runs on it unchanged. Faults can be set at will on every part.
"""

import errno
import math
import random
import time
from collections.abc import Callable, Mapping
from enum import StrEnum

from monitor.edge.i2c import LOCK_TIMEOUT_S, BusLock

# Longest conversion times of the data sheet [s].
_CONVERSIONS_S = {0xFD: 0.0083, 0xF6: 0.0045, 0xE0: 0.0016}
# Standard deviation of one conversion, temperature [K] and humidity [%RH]: a third of the repeatability.
_NOISE = {0xFD: (0.013, 0.027), 0xF6: (0.023, 0.05), 0xE0: (0.033, 0.083)}
# Heater commands: power [W] and pulse [s].
_HEATERS = {
    0x39: (0.2, 1.0),
    0x32: (0.2, 0.1),
    0x2F: (0.11, 1.0),
    0x24: (0.11, 0.1),
    0x1E: (0.02, 1.0),
    0x15: (0.02, 0.1),
}
_SERIAL, _RESET = 0x89, 0x94
_SERIAL_S, _RESET_S = 0.0005, 0.001
# Response to a step, to 63 % [s].
_RESPONSE_TEMPERATURE_S, _RESPONSE_HUMIDITY_S = 2.0, 6.0
# A chip on a small board warms by about 300 K per watt and follows within 1.5 s; the polymer needs
# minutes to take its water back.
_HEAT_K_PER_W, _HEAT_DECAY_S, _DRYNESS_DECAY_S = 300.0, 1.5, 60.0
# Heat of vaporisation over the gas constant of water vapour: 2.45 MJ/kg over 461.5 J/kg/K.
_CLAPEYRON_K = 5310.0

Air = tuple[float, float]  # temperature [°C], relative humidity 0 to 1


class SensorFault(StrEnum):
    """What can be wrong with an emulated sensor."""

    DEAD = "dead"  # acknowledges nothing
    FLIPPED_BIT = "flipped_bit"
    ALL_ZEROS = "all_zeros"
    ALL_ONES = "all_ones"
    ALL_ONES_CHECKED = "all_ones_checked"  # all ones with a checksum that fits
    WET = "wet"  # reads far above 100 %RH
    DRIFTED = "drifted"  # reads far below 0 %RH


_SHIFTS_PCT = {SensorFault.WET: 110.0, SensorFault.DRIFTED: -60.0}


class BusClock:
    """Time on the bus: real time, plus what was slept on it, plus what the simulation skipped."""

    def __init__(self) -> None:
        self._ahead_s = 0.0

    def monotonic_s(self) -> float:
        return time.monotonic() + self._ahead_s

    def sleep(self, duration_s: float) -> None:
        """Let time pass at once; nobody waits."""
        self._ahead_s += max(duration_s, 0.0)


class EmulatedSensor:
    """One SHT4x. It answers nothing while it converts, and lags behind the air as a real one does."""

    def __init__(
        self,
        air: Callable[[], Air],
        *,
        serial: int,
        clock: BusClock,
        temperature_offset_c: float = 0.0,
        humidity_offset_pct: float = 0.0,
        noisy: bool = True,
    ) -> None:
        self._air = air
        self.serial = serial
        self._clock = clock
        self._offsets = (temperature_offset_c, humidity_offset_pct)
        self._random = random.Random(serial)
        self._noisy = noisy
        self.fault: SensorFault | None = None
        self.commands: list[int] = []
        self._busy_until_s = 0.0
        self._answer: bytes | None = None
        self._seen_s = clock.monotonic_s()
        self._felt: Air = air()
        self._heat_k = 0.0
        self._dryness = 0.0  # share of the humidity that is missing after a heater pulse

    def write(self, data: bytes) -> None:
        self._acknowledge()
        if not data:
            return  # an address probe
        command = data[0]
        self.commands.append(command)
        self._follow_air()
        if command == _RESET:
            self._answer = None
            self._busy(_RESET_S)
        elif command == _SERIAL:
            self._say(self.serial >> 16, self.serial & 0xFFFF, _SERIAL_S)
        elif command in _CONVERSIONS_S:
            self._convert(command, _CONVERSIONS_S[command])
        elif command in _HEATERS:
            power_w, pulse_s = _HEATERS[command]
            self._heat_k += power_w * _HEAT_K_PER_W * (1.0 - math.exp(-pulse_s / _HEAT_DECAY_S))
            self._dryness = min(self._dryness + 0.2 * pulse_s, 0.6)
            self._convert(0xFD, pulse_s + _CONVERSIONS_S[0xFD])
        else:
            raise _not_acknowledged()

    def read(self, length: int) -> bytes:
        self._acknowledge()
        if self._answer is None:
            raise _not_acknowledged()
        answer, self._answer = self._spoilt(self._answer), None
        return answer[:length]

    def _acknowledge(self) -> None:
        if self.fault is SensorFault.DEAD or self._clock.monotonic_s() < self._busy_until_s:
            raise _not_acknowledged()

    def _busy(self, duration_s: float) -> None:
        self._busy_until_s = self._clock.monotonic_s() + duration_s

    def _follow_air(self) -> None:
        now_s = self._clock.monotonic_s()
        passed_s, self._seen_s = now_s - self._seen_s, now_s
        felt_c, felt_rh = self._felt
        air_c, air_rh = self._air()
        self._felt = (
            air_c + (felt_c - air_c) * math.exp(-passed_s / _RESPONSE_TEMPERATURE_S),
            air_rh + (felt_rh - air_rh) * math.exp(-passed_s / _RESPONSE_HUMIDITY_S),
        )
        self._heat_k *= math.exp(-passed_s / _HEAT_DECAY_S)
        self._dryness *= math.exp(-passed_s / _DRYNESS_DECAY_S)

    def _convert(self, command: int, duration_s: float) -> None:
        felt_c, felt_rh = self._felt
        chip_c = felt_c + self._heat_k
        # A warm chip sees the same vapour against a higher saturation pressure.
        chip_rh = felt_rh * (1.0 - self._dryness) * _warming_factor(felt_c, chip_c)
        temperature_c = chip_c + self._offsets[0]
        humidity_pct = 100.0 * chip_rh + self._offsets[1]
        if self._noisy:
            temperature_c += self._random.gauss(0.0, _NOISE[command][0])
            humidity_pct += self._random.gauss(0.0, _NOISE[command][1])
        if self.fault in _SHIFTS_PCT:
            humidity_pct += _SHIFTS_PCT[self.fault]
        self._say(*ticks(temperature_c, humidity_pct), duration_s)

    def _say(self, first: int, second: int, duration_s: float) -> None:
        words = (first.to_bytes(2, "big"), second.to_bytes(2, "big"))
        self._answer = b"".join(word + bytes([checksum(word)]) for word in words)
        self._busy(duration_s)

    def _spoilt(self, answer: bytes) -> bytes:
        match self.fault:
            case SensorFault.FLIPPED_BIT:
                at = self._random.randrange(48)
                return bytes(byte ^ (1 << at % 8 if at // 8 == i else 0) for i, byte in enumerate(answer))
            case SensorFault.ALL_ZEROS:
                return bytes(6)
            case SensorFault.ALL_ONES:
                return b"\xff" * 6
            case SensorFault.ALL_ONES_CHECKED:
                return b"\xff\xff\xac" * 2
        return answer


class EmulatedMux:
    """A multiplexer of the TCA9548A kind: one control byte whose bits are the open channels."""

    def __init__(
        self, channels: Mapping[int, Mapping[int, EmulatedSensor]], *, nack_share: float = 0.0, seed: int = 0
    ) -> None:
        self.channels = channels
        self.nack_share = nack_share
        self.mask = 0
        self._random = random.Random(seed)

    def write(self, data: bytes) -> None:
        if self._random.random() < self.nack_share:
            raise _not_acknowledged()
        if data:
            self.mask = data[-1]

    def read(self, length: int) -> bytes:
        return bytes([self.mask] * length)

    def device(self, address: int) -> EmulatedSensor | None:
        for channel, devices in self.channels.items():
            if self.mask >> channel & 1 and address in devices:
                return devices[address]
        return None


class EmulatedBus(BusLock):
    """What the driver takes for `/dev/i2c-N`."""

    def __init__(
        self,
        sensors: Mapping[int, EmulatedSensor] | None = None,
        muxes: Mapping[int, EmulatedMux] | None = None,
        *,
        lock_timeout_s: float = LOCK_TIMEOUT_S,
    ) -> None:
        super().__init__(lock_timeout_s)
        self._sensors = dict(sensors or {})
        self._muxes = dict(muxes or {})

    def plug(self, address: int, sensor: EmulatedSensor | None) -> None:
        """Put a sensor on the bus, or pull it off."""
        if sensor is None:
            self._sensors.pop(address, None)
        else:
            self._sensors[address] = sensor

    def writeto(
        self, address: int, buffer: bytes | bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        self._device(address).write(bytes(buffer)[start:end])

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        stop = len(buffer) if end is None else end
        buffer[start:stop] = self._device(address).read(stop - start)

    def _device(self, address: int) -> "EmulatedSensor | EmulatedMux":
        if address in self._muxes:
            return self._muxes[address]
        if address in self._sensors:
            return self._sensors[address]
        for mux in self._muxes.values():
            if (sensor := mux.device(address)) is not None:
                return sensor
        raise _not_acknowledged()


def ticks(temperature_c: float, humidity_pct: float) -> tuple[int, int]:
    """The two words of a conversion; the data sheet's scales, cut off at both ends."""
    raw = (round((temperature_c + 45.0) / 175.0 * 65535.0), round((humidity_pct + 6.0) / 125.0 * 65535.0))
    return (min(max(raw[0], 0), 0xFFFF), min(max(raw[1], 0), 0xFFFF))


def checksum(word: bytes) -> int:
    """CRC-8 of one word by polynomial division of its bits, 0x131, start 0xFF."""
    remainder = int.from_bytes(word, "big") << 8 ^ 0xFF0000
    for bit in range(23, 7, -1):
        if remainder >> bit & 1:
            remainder ^= 0x131 << (bit - 8)
    return remainder


def _warming_factor(from_c: float, to_c: float) -> float:
    """Clausius-Clapeyron with a constant heat of vaporisation: near enough for a chip that is hot."""
    return math.exp(_CLAPEYRON_K * (1.0 / (to_c + 273.15) - 1.0 / (from_c + 273.15)))


def _not_acknowledged() -> OSError:
    return OSError(errno.EREMOTEIO, "Remote I/O error")
