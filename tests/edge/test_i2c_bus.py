"""The bus under the driver: it never stays locked, and says in a sentence why it cannot be used."""

import errno
import sys
import time
import types

import pytest

from monitor.edge.i2c import BusLock, LinuxBus, MuxChannel, held_by_kernel
from monitor.edge.sht4x import Sht4xSampler
from monitor.errors import BadSettingsError
from monitor.simulator.bus import BusClock, EmulatedBus, EmulatedMux, EmulatedSensor


class RecordedBus(BusLock):
    """A bus that keeps what was written and fails where told."""

    def __init__(self) -> None:
        super().__init__(timeout_s=0.01)
        self.written: list[tuple[int, bytes]] = []
        self.failing: set[bytes] = set()

    def writeto(self, address, buffer, *, start=0, end=None):
        data = bytes(buffer)[start:end]
        if data in self.failing:
            raise OSError(errno.EREMOTEIO, "Remote I/O error")
        self.written.append((address, data))

    def readfrom_into(self, *_args, **_options):
        raise OSError(errno.EREMOTEIO, "Remote I/O error")


def is_free(bus: BusLock) -> bool:
    bus.try_lock()
    bus.unlock()
    return True


def test_a_held_bus_ends_in_a_time_out_and_not_in_a_spin():
    """The driver asks for the lock in an endless loop, so that only an error gets it out."""
    bus = BusLock(timeout_s=0.02)
    bus.try_lock()
    spent_s = time.process_time()
    with pytest.raises(TimeoutError, match="was not free"):
        bus.try_lock()
    assert time.process_time() - spent_s < 0.02


def test_a_multiplexer_channel_opens_its_bit_and_closes_all():
    bus = RecordedBus()
    channel = MuxChannel(bus, 0x70, 3)
    channel.try_lock()
    channel.writeto(0x44, b"\xfd")
    channel.unlock()
    assert bus.written == [(0x70, b"\x08"), (0x44, b"\xfd"), (0x70, b"\x00")]


def test_a_channel_that_cannot_be_opened_leaves_the_bus_free():
    """Report: one I/O error while opening a channel left the bus locked for ever."""
    bus = RecordedBus()
    bus.failing = {b"\x08"}
    with pytest.raises(OSError, match="Remote"):
        MuxChannel(bus, 0x70, 3).try_lock()
    assert is_free(bus)


def test_a_channel_that_cannot_be_closed_leaves_the_bus_free_and_keeps_the_reading():
    bus = RecordedBus()
    channel = MuxChannel(bus, 0x70, 3)
    channel.try_lock()
    bus.failing = {b"\x00"}
    channel.unlock()
    assert is_free(bus)
    assert channel.close_faults == 1


def test_a_multiplexer_has_eight_channels():
    with pytest.raises(ValueError, match="0 to 7"):
        MuxChannel(RecordedBus(), 0x70, 8)


def mux_site(nack_share: float) -> tuple[EmulatedMux, dict[str, Sht4xSampler]]:
    clock = BusClock()
    sensors = {
        channel: {0x44: EmulatedSensor(lambda c=channel: (20.0 + c, 0.1), serial=channel + 1, clock=clock)}
        for channel in range(8)
    }
    mux = EmulatedMux(sensors, nack_share=nack_share, seed=7)
    bus = EmulatedBus(muxes={0x70: mux}, lock_timeout_s=0.05)
    samplers = {
        f"c{channel}": Sht4xSampler(
            MuxChannel(bus, 0x70, channel), 0x44, sleep=clock.sleep, monotonic_s=clock.monotonic_s
        )
        for channel in range(8)
    }
    return mux, samplers


def test_eight_sensors_of_one_address_are_told_apart_behind_a_multiplexer():
    _, samplers = mux_site(nack_share=0.0)
    read = [sampler.read() for sampler in samplers.values()]
    assert [round(sample.temperature_c) for sample in read if sample] == list(range(20, 28))
    assert [sample.serial for sample in read if sample] == list(range(1, 9))


def test_a_multiplexer_that_fails_at_random_costs_no_round():
    """Report 13: with 5 % of its answers missing, each sensor is still read in every round."""
    _, samplers = mux_site(nack_share=0.05)
    spent_s, rounds = time.process_time(), 60
    for _ in range(rounds):
        for sampler in samplers.values():
            assert sampler.read() is not None
    assert sum(sum(sampler.faults.values()) for sampler in samplers.values()) > rounds
    # A round is due once a minute at the most demanding; 5 % of that would be 3 s each.
    assert (time.process_time() - spent_s) / rounds < 0.3


def test_one_dead_channel_does_not_stop_the_others():
    """Report 13: the sensor next to a broken one is read as if nothing were wrong."""
    mux, samplers = mux_site(nack_share=0.0)
    mux.channels[2].clear()
    read = {name: sampler.read() for name, sampler in samplers.items()}
    assert [name for name, sample in read.items() if sample is None] == ["c2"]


class FakeWires:
    """Stands for the system's I2C device file."""

    def __init__(self, error: OSError | None = None, answer: bytes = b"") -> None:
        self.error, self.answer = error, answer

    def write_bytes(self, *_args):
        if self.error:
            raise self.error

    def read_bytes(self, *_args):
        if self.error:
            raise self.error
        return self.answer

    def read_byte(self, address):
        if address != 0x44:
            raise OSError(errno.EREMOTEIO, "Remote I/O error")
        return 0

    def close(self):
        self.error = OSError(errno.EBADF, "closed")


def linux_bus(monkeypatch: pytest.MonkeyPatch, opened) -> LinuxBus:
    def open_bus(_number: int) -> FakeWires:
        if isinstance(opened, OSError):
            raise opened
        return opened

    module = types.ModuleType("Adafruit_PureIO.smbus")
    module.SMBus = open_bus
    package = types.ModuleType("Adafruit_PureIO")
    package.smbus = module
    monkeypatch.setitem(sys.modules, "Adafruit_PureIO", package)
    monkeypatch.setitem(sys.modules, "Adafruit_PureIO.smbus", module)
    return LinuxBus(1)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (FileNotFoundError(errno.ENOENT, "No such file"), "there is no /dev/i2c-1"),
        (PermissionError(errno.EACCES, "Permission denied"), "group that owns it"),
        (OSError(errno.ENXIO, "No such device"), "cannot be opened: No such device"),
    ],
)
def test_a_bus_that_cannot_be_opened_is_said_in_one_sentence(monkeypatch, error, said):
    with pytest.raises(BadSettingsError, match="node.bus") as caught:
        linux_bus(monkeypatch, error)
    assert said in str(caught.value)


def test_a_sensor_held_by_the_kernel_is_said_in_one_sentence(monkeypatch):
    """EBUSY alone would send a person searching for a broken wire."""
    bus = linux_bus(monkeypatch, FakeWires(OSError(errno.EBUSY, "Device or resource busy")))
    with pytest.raises(OSError, match="kernel's own driver holds") as caught:
        bus.writeto(0x44, b"\xfd")
    assert caught.value.errno == errno.EBUSY
    assert caught.value.strerror == held_by_kernel("/dev/i2c-1", 0x44)


def test_a_short_answer_is_an_error_and_not_a_shorter_buffer(monkeypatch):
    bus = linux_bus(monkeypatch, FakeWires(answer=b"\x01\x02"))
    buffer = bytearray(6)
    with pytest.raises(OSError, match="2 of 6 bytes"):
        bus.readfrom_into(0x44, buffer)
    assert buffer == bytes(6)


def test_a_scan_lists_who_answers(monkeypatch):
    assert linux_bus(monkeypatch, FakeWires()).scan() == [0x44]


def test_bytes_go_to_the_named_part_of_the_buffer(monkeypatch):
    bus = linux_bus(monkeypatch, FakeWires(answer=b"\xaa\xbb"))
    buffer = bytearray(4)
    bus.readfrom_into(0x44, buffer, start=1, end=3)
    assert buffer == b"\x00\xaa\xbb\x00"


def test_a_board_without_that_bus_is_told_so_by_the_real_library():
    """No board here has 250 buses; the library under us must still give what our sentence is made from."""
    with pytest.raises(BadSettingsError, match="no /dev/i2c-250"):
        LinuxBus(250)
