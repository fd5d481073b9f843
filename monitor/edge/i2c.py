"""A small I2C bus under the sensor driver, and one channel of a multiplexer on it.

Every user waits for the bus with a limit, and whatever fails, the bus is free again afterwards.
"""

import errno
import threading
from collections.abc import Callable
from typing import Protocol

from monitor.errors import BadSettingsError

LOCK_TIMEOUT_S = 2.0


class Bus(Protocol):
    """What the sensor driver calls; a bus on this board, an emulated one, or a multiplexer's channel."""

    def try_lock(self) -> bool: ...

    def unlock(self) -> None: ...

    def writeto(
        self, address: int, buffer: bytes | bytearray, *, start: int = 0, end: int | None = None
    ) -> None: ...

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None: ...


class BusLock:
    """The lock of one bus. Waiting ends in TimeoutError, since the driver itself would ask for ever."""

    def __init__(self, timeout_s: float = LOCK_TIMEOUT_S) -> None:
        self._lock = threading.Lock()
        self._timeout_s = timeout_s

    def try_lock(self) -> bool:
        if not self._lock.acquire(timeout=self._timeout_s):
            raise TimeoutError(errno.ETIMEDOUT, f"the I2C bus was not free within {self._timeout_s:g} s")
        return True

    def unlock(self) -> None:
        self._lock.release()


class LinuxBus(BusLock):
    """`/dev/i2c-N`, opened by number: no list of known boards has to know this one."""

    def __init__(self, number: int) -> None:
        super().__init__()
        from Adafruit_PureIO import smbus

        self._name = f"/dev/i2c-{number}"
        try:
            self._wires = smbus.SMBus(number)
        except OSError as error:
            raise BadSettingsError(_why_not_opened(self._name, error)) from None

    def writeto(
        self, address: int, buffer: bytes | bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        data = bytes(buffer)[start:end]
        self._said(address, lambda: self._wires.write_bytes(address, data))

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        stop = len(buffer) if end is None else end
        received = self._said(address, lambda: self._wires.read_bytes(address, stop - start)) or b""
        if len(received) != stop - start:
            raise OSError(
                errno.EIO, f"the device at 0x{address:02x} sent {len(received)} of {stop - start} bytes"
            )
        buffer[start:stop] = received

    def scan(self) -> list[int]:
        """Addresses that answer a read of one byte; a sensor that has nothing to say does not."""
        return [address for address in range(0x08, 0x78) if self._answers(address)]

    def close(self) -> None:
        self._wires.close()

    def _answers(self, address: int) -> bool:
        try:
            self._wires.read_byte(address)
        except OSError:
            return False
        return True

    def _said(self, address: int, transfer: Callable[[], bytes | None]) -> bytes | None:
        try:
            return transfer()
        except OSError as error:
            if error.errno == errno.EBUSY:
                raise OSError(errno.EBUSY, held_by_kernel(self._name, address)) from None
            raise


def held_by_kernel(bus_name: str, address: int) -> str:
    """What to do where the kernel's own driver has bound the sensor."""
    return (
        f"the kernel's own driver holds the sensor at 0x{address:02x} on {bus_name}: "
        "take its device-tree overlay out or unbind it, then start again"
    )


def _why_not_opened(name: str, error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return f"node.bus: there is no {name}; switch I2C on for this board or name another bus"
    if isinstance(error, PermissionError):
        return f"node.bus: {name} may not be opened; put this account into the group that owns it"
    return f"node.bus: {name} cannot be opened: {error.strerror}"


class MuxChannel:
    """One channel of a multiplexer of the TCA9548A kind, used like a bus of its own.

    Its protocol is one control byte whose bits are the open channels. The bus is held only once the
    channel is open; when opening or closing it fails, the bus is let go all the same.
    """

    def __init__(self, bus: Bus, mux_address: int, channel: int) -> None:
        if not 0 <= channel <= 7:
            raise ValueError(f"channel {channel} is not in 0 to 7")
        self._bus = bus
        self._mux_address = mux_address
        self._open_byte = bytes([1 << channel])
        self.close_faults = 0

    def try_lock(self) -> bool:
        if not self._bus.try_lock():
            return False
        opened = False
        try:
            self._bus.writeto(self._mux_address, self._open_byte)
            opened = True
        finally:
            if not opened:
                self._bus.unlock()
        return True

    def unlock(self) -> None:
        try:
            self._bus.writeto(self._mux_address, b"\x00")
        except OSError:
            # Harmless: opening the next channel closes this one. Raising would lose a good reading.
            self.close_faults += 1
        finally:
            self._bus.unlock()

    def writeto(
        self, address: int, buffer: bytes | bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        self._bus.writeto(address, buffer, start=start, end=end)

    def readfrom_into(
        self, address: int, buffer: bytearray, *, start: int = 0, end: int | None = None
    ) -> None:
        self._bus.readfrom_into(address, buffer, start=start, end=end)
