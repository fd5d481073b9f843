"""An SHT4x sensor read so that a fault never looks like a plausible number.

Words are read through the driver's bus device, not through its `measurements`, which clamps the
humidity to 0..100 and so hides a sensor that has drifted or got wet. The heater is never used.
"""

import errno
import logging
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from monitor.edge.i2c import Bus

if TYPE_CHECKING:
    from adafruit_sht4x import SHT4x

log = logging.getLogger(__name__)

TRIES = 3
RETRY_S = 0.02
_MEASURE, _READ_SERIAL = 0xFD, 0x89  # high precision without heater; serial number
_MEASURE_S, _SERIAL_S = 0.01, 0.002
# Two conversions this far apart must agree. Air in a box changes by less than 0.02 K in that time and
# the sensor repeats to 0.04 K, while a chip that somebody heated still cools by more five seconds later.
_SETTLE_S, _SETTLED_C = 0.25, 0.1
# Air round a chip that was heated stays too dry for minutes.
_HUMIDITY_PAUSE_S = 180.0
# The sensor's stated error near both ends is 2 %RH: that much beyond the range is still 0 or 100.
_BEYOND_PCT = 2.0
_RAILS = (0x0000, 0xFFFF)


class Fault(StrEnum):
    """Why a sensor gave nothing, or not all; counted per kind."""

    ABSENT = "absent"  # nobody at that address
    NO_ANSWER = "no_answer"
    CHECKSUM = "checksum"
    BUS_STUCK = "bus_stuck"
    HELD = "held"  # by a driver of the kernel
    RAIL = "rail"  # a word is all zeros or all ones
    OUT_OF_RANGE = "out_of_range"
    UNSETTLED = "unsettled"  # two readings a moment apart differ: heated, or disturbed


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """The sensor's own two numbers, as it sent them."""

    temperature: int
    humidity: int

    @property
    def temperature_c(self) -> float:
        return -45.0 + 175.0 * self.temperature / 65535.0

    @property
    def humidity_pct(self) -> float:
        return -6.0 + 125.0 * self.humidity / 65535.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AirSample:
    """One reading; a quantity that cannot be believed is None."""

    temperature_c: float
    humidity_pct: float | None  # exactly 0 or 100 where the sensor's word lies a little beyond
    words: Words
    serial: int


class SensorFaultError(Exception):
    """This reading cannot be used; stays inside the sampler."""

    def __init__(self, fault: Fault, why: str) -> None:
        super().__init__(why)
        self.fault = fault


class Sht4xSampler:
    """Reads one sensor: three tries, then a reset, then a fresh start of the driver, then no reading."""

    def __init__(
        self, bus: Bus, address: int, *, sleep: Callable[[float], None], monotonic_s: Callable[[], float]
    ) -> None:
        self._bus = bus
        self._address = address
        self._sleep = sleep
        self._monotonic_s = monotonic_s
        self._driver: SHT4x | None = None
        self._humidity_from_s = float("-inf")
        self.faults: Counter[Fault] = Counter()
        self.last_fault: str | None = None
        self.serial: int | None = None
        self.swaps = 0

    def read(self) -> AirSample | None:
        """The newest reading, or None when there is none to believe."""
        for prepare in self._preparations():
            try:
                prepare()
                return self._read_once()
            except SensorFaultError as error:
                self._count(error.fault, str(error))
                if error.fault is Fault.UNSETTLED:
                    return None  # a retry would only meet the same warm chip
            except (OSError, RuntimeError, ValueError) as error:
                self._count(_fault_of(error), str(error))
            self._sleep(RETRY_S)
        return None

    def _preparations(self) -> list[Callable[[], None]]:
        return [self._ensure] * TRIES + [self._reset, self._create]

    def _ensure(self) -> None:
        if self._driver is None:
            self._create()

    def _reset(self) -> None:
        self._ensure()
        assert self._driver is not None
        self._driver.reset()

    def _create(self) -> None:
        import adafruit_sht4x  # 13 MiB that only a board with sensors should pay for

        self._driver = None
        try:
            self._driver = adafruit_sht4x.SHT4x(self._bus, self._address)
        except ValueError:
            self._raise_if_held()
            raise

    def _raise_if_held(self) -> None:
        """The driver takes every error of its first call for an absent sensor; this one needs telling."""
        self._bus.try_lock()
        try:
            self._bus.writeto(self._address, b"")
        except OSError as error:
            if error.errno == errno.EBUSY:
                raise
        finally:
            self._bus.unlock()

    def _read_once(self) -> AirSample:
        serial = self._read_serial()
        first = self._measure()
        self._sleep(_SETTLE_S)
        words = self._measure()
        if abs(words.temperature_c - first.temperature_c) > _SETTLED_C:
            self._humidity_from_s = self._monotonic_s() + _HUMIDITY_PAUSE_S
            why = "two readings a quarter of a second apart differ: heated or disturbed"
            raise SensorFaultError(Fault.UNSETTLED, why)
        return self._believed(words, serial)

    def _believed(self, words: Words, serial: int) -> AirSample:
        if words.temperature in _RAILS:
            raise SensorFaultError(Fault.RAIL, "the temperature word is all zeros or all ones")
        if not -40.0 <= words.temperature_c <= 125.0:
            why = f"{words.temperature_c:.1f} Cel is outside the sensor's range"
            raise SensorFaultError(Fault.OUT_OF_RANGE, why)
        raw_pct = words.humidity_pct
        humidity_pct: float | None = min(max(raw_pct, 0.0), 100.0)
        if not -_BEYOND_PCT <= raw_pct <= 100.0 + _BEYOND_PCT:
            self._count(Fault.OUT_OF_RANGE, f"{raw_pct:.1f} %RH cannot be: drifted, dirty or wet")
            humidity_pct = None
        elif self._monotonic_s() < self._humidity_from_s:
            humidity_pct = None
        return AirSample(
            temperature_c=words.temperature_c,
            humidity_pct=humidity_pct,
            words=words,
            serial=serial,
        )

    def _read_serial(self) -> int:
        """Read with every sample: a sensor swapped between two of them is noticed."""
        high, low = self._command(_READ_SERIAL, _SERIAL_S)
        serial = high << 16 | low
        if serial in (0, 0xFFFFFFFF):
            raise SensorFaultError(Fault.RAIL, "the serial number is all zeros or all ones")
        if self.serial is not None and serial != self.serial:
            self.swaps += 1
            log.warning("sensor swapped address=0x%02x was=%08x now=%08x", self._address, self.serial, serial)
        self.serial = serial
        return serial

    def _measure(self) -> Words:
        temperature, humidity = self._command(_MEASURE, _MEASURE_S)
        return Words(temperature=temperature, humidity=humidity)

    def _command(self, code: int, wait_s: float) -> tuple[int, int]:
        """Two checked words in answer to one command."""
        assert self._driver is not None
        answer = bytearray(6)
        with self._driver.i2c_device as device:
            device.write(bytes([code]))
            self._sleep(wait_s)
            device.readinto(answer)
        for start in (0, 3):
            if _crc8(answer[start : start + 2]) != answer[start + 2]:
                raise SensorFaultError(Fault.CHECKSUM, f"the checksum of {answer.hex(' ')} does not fit")
        return int.from_bytes(answer[0:2], "big"), int.from_bytes(answer[3:5], "big")

    def _count(self, fault: Fault, why: str) -> None:
        self.faults[fault] += 1
        self.last_fault = why
        log.debug("sensor fault address=0x%02x fault=%s why=%s", self._address, fault, why)


def _fault_of(error: OSError | RuntimeError | ValueError) -> Fault:
    if isinstance(error, TimeoutError):
        return Fault.BUS_STUCK
    if isinstance(error, OSError):
        return Fault.HELD if error.errno == errno.EBUSY else Fault.NO_ANSWER
    return Fault.ABSENT if isinstance(error, ValueError) else Fault.CHECKSUM


def _crc8(data: bytes | bytearray) -> int:
    """Polynomial 0x31, start 0xFF, as the data sheet gives it: BE EF has 92."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
    return crc & 0xFF
