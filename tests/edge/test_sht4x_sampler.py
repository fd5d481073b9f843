"""The real driver on an emulated bus: a fault never becomes a plausible number."""

import errno

import pytest

from monitor.edge.sht4x import Fault, Sht4xSampler, _crc8
from monitor.simulator.bus import BusClock, EmulatedBus, EmulatedSensor, SensorFault, checksum, ticks

AIR = (23.4, 0.12)


class Rig:
    """One sensor on one bus, and its sampler."""

    def __init__(self, air: tuple[float, float] = AIR, **options: float) -> None:
        self.air = air
        self.clock = BusClock()
        self.sensor = self.new_sensor(serial=0x0A1B2C3D, **options)
        self.bus = EmulatedBus({0x44: self.sensor}, lock_timeout_s=0.01)
        self.sampler = Sht4xSampler(
            self.bus, 0x44, sleep=self.clock.sleep, monotonic_s=self.clock.monotonic_s
        )

    def new_sensor(self, serial: int, **options: float) -> EmulatedSensor:
        return EmulatedSensor(lambda: self.air, serial=serial, clock=self.clock, **options)


def test_a_sound_sensor_is_read_to_its_own_noise():
    sample = Rig().sampler.read()
    assert sample is not None
    assert sample.temperature_c == pytest.approx(23.4, abs=0.08)
    assert sample.humidity_pct == pytest.approx(12.0, abs=0.2)
    assert sample.serial == 0x0A1B2C3D


def test_the_heater_is_never_used():
    """A heater mode measures while hot and stays selected."""
    rig = Rig()
    for fault in (None, SensorFault.DEAD, SensorFault.FLIPPED_BIT, None):
        rig.sensor.fault = fault
        rig.sampler.read()
    assert set(rig.sensor.commands) <= {0x94, 0x89, 0xFD}


# Report 14: each fault ends in no reading or in none of the quantity that is wrong.
FAULTS = [
    (SensorFault.DEAD, Fault.ABSENT, False),
    (SensorFault.FLIPPED_BIT, Fault.CHECKSUM, False),
    (SensorFault.ALL_ZEROS, Fault.CHECKSUM, False),
    (SensorFault.ALL_ONES, Fault.CHECKSUM, False),
    (SensorFault.ALL_ONES_CHECKED, Fault.RAIL, False),
    (SensorFault.WET, Fault.OUT_OF_RANGE, True),
    (SensorFault.DRIFTED, Fault.OUT_OF_RANGE, True),
]


@pytest.mark.parametrize(("set_fault", "counted", "temperature_stays"), FAULTS)
def test_report_14_a_fault_never_looks_like_a_plausible_number(set_fault, counted, temperature_stays):
    rig = Rig()
    assert rig.sampler.read() is not None
    rig.sensor.fault = set_fault
    for _ in range(20):
        sample = rig.sampler.read()
        if temperature_stays:
            assert sample is not None
            assert sample.humidity_pct is None
            assert sample.temperature_c == pytest.approx(23.4, abs=0.1)
        else:
            assert sample is None
    assert rig.sampler.faults[counted] >= 20


@pytest.mark.parametrize("set_fault", list(SensorFault))
def test_a_sensor_that_recovers_is_read_again_at_once(set_fault):
    rig = Rig()
    rig.sensor.fault = set_fault
    rig.sampler.read()
    rig.sensor.fault = None
    sample = rig.sampler.read()
    assert sample is not None
    assert sample.humidity_pct == pytest.approx(12.0, abs=0.3)


def test_one_lost_answer_is_retried_after_20_ms():
    rig = Rig()
    rig.sampler.read()
    slept: list[float] = []

    def sleep(duration_s: float) -> None:
        slept.append(duration_s)
        rig.clock.sleep(duration_s)
        if duration_s == 0.02:
            rig.sensor.fault = None

    rig.sampler._sleep = sleep
    rig.sensor.fault = SensorFault.DEAD
    assert rig.sampler.read() is not None
    assert slept.count(0.02) == 1
    assert sum(rig.sampler.faults.values()) == 1


def test_three_tries_then_a_reset_then_a_fresh_start():
    rig = Rig()
    rig.sampler.read()
    rig.sensor.commands.clear()
    rig.sensor.fault = SensorFault.FLIPPED_BIT
    rig.sampler.read()
    # Serial number three times, once after a reset, once after a fresh start, which resets, too.
    assert rig.sensor.commands == [0x89, 0x89, 0x89, 0x94, 0x89, 0x94, 0x89]


def test_an_absent_sensor_is_counted_as_absent():
    rig = Rig()
    rig.bus.plug(0x44, None)
    assert rig.sampler.read() is None
    assert rig.sampler.faults[Fault.ABSENT] == 5


def test_a_swapped_sensor_is_noticed_by_its_serial_number():
    rig = Rig()
    rig.sampler.read()
    rig.bus.plug(0x44, rig.new_sensor(serial=0x55667788))
    sample = rig.sampler.read()
    assert sample is not None
    assert (sample.serial, rig.sampler.swaps) == (0x55667788, 1)


def test_a_bad_serial_number_is_no_swap():
    rig = Rig()
    rig.sampler.read()
    rig.sensor.fault = SensorFault.ALL_ONES_CHECKED
    rig.sampler.read()
    rig.sensor.fault = None
    rig.sampler.read()
    assert rig.sampler.swaps == 0


def test_nothing_is_believed_within_seconds_of_a_heater_pulse():
    """Report 14: someone else's program heats the chip; its hot and then dry values stay out."""
    rig = Rig()
    rig.sampler.read()
    rig.sensor.write(b"\x39")
    rig.clock.sleep(1.2)
    heated_s = rig.clock.monotonic_s()
    while rig.clock.monotonic_s() - heated_s < 5.0:
        assert rig.sampler.read() is None
        rig.clock.sleep(0.5)
    assert rig.sampler.faults[Fault.UNSETTLED] > 0


def test_humidity_stays_out_for_minutes_after_a_heater_pulse():
    rig = Rig()
    rig.sampler.read()
    rig.sensor.write(b"\x39")
    rig.clock.sleep(2.0)
    assert rig.sampler.read() is None
    rig.clock.sleep(20.0)
    sample = rig.sampler.read()
    assert sample is not None
    assert sample.humidity_pct is None
    rig.clock.sleep(240.0)
    recovered = rig.sampler.read()
    assert recovered is not None
    assert recovered.humidity_pct == pytest.approx(12.0, abs=0.4)


def test_a_little_below_zero_is_zero_and_keeps_its_word():
    """The stated error is 2 %RH: a good sensor in a very dry box may say -1, which is the rail."""
    rig = Rig(air=(23.0, 0.002), humidity_offset_pct=-1.2)
    sample = rig.sampler.read()
    assert sample is not None
    assert sample.humidity_pct == 0.0
    assert sample.words.humidity_pct == pytest.approx(-1.0, abs=0.2)


def test_further_below_zero_is_no_humidity():
    rig = Rig(air=(23.0, 0.002), humidity_offset_pct=-3.5)
    sample = rig.sampler.read()
    assert sample is not None
    assert sample.humidity_pct is None


def test_a_sensor_held_by_the_kernel_says_so():
    """The driver's own probe would call it absent, and a person would look for a broken wire."""

    class HeldBus(EmulatedBus):
        def writeto(self, *_args, **_options):
            raise OSError(errno.EBUSY, "the kernel's own driver holds the sensor")

        def readfrom_into(self, *_args, **_options):
            raise OSError(errno.EBUSY, "the kernel's own driver holds the sensor")

    clock = BusClock()
    sampler = Sht4xSampler(HeldBus(), 0x44, sleep=clock.sleep, monotonic_s=clock.monotonic_s)
    assert sampler.read() is None
    assert sampler.faults == {Fault.HELD: 5}
    assert sampler.last_fault is not None
    assert "kernel's own driver" in sampler.last_fault


def test_a_bus_somebody_else_keeps_is_a_fault_and_not_a_hang():
    rig = Rig()
    rig.sampler.read()
    rig.bus.try_lock()
    assert rig.sampler.read() is None
    assert rig.sampler.faults[Fault.BUS_STUCK] == 5
    rig.bus.unlock()
    assert rig.sampler.read() is not None


def test_the_checksum_is_that_of_the_data_sheet():
    """BE EF has 92: the data sheet's own example, in both of our implementations."""
    assert _crc8(b"\xbe\xef") == checksum(b"\xbe\xef") == 0x92


def test_both_checksums_agree_on_every_word():
    assert all(
        _crc8(word.to_bytes(2, "big")) == checksum(word.to_bytes(2, "big")) for word in range(0, 65536, 251)
    )


def test_a_busy_sensor_answers_nothing():
    """The data sheet: a read before the conversion is over is not acknowledged."""
    rig = Rig()
    rig.sensor.write(b"\xfd")
    with pytest.raises(OSError, match="Remote"):
        rig.sensor.read(6)
    rig.clock.sleep(0.0084)
    assert len(rig.sensor.read(6)) == 6


def test_words_are_cut_off_at_the_ends_of_their_scale():
    assert ticks(-60.0, -10.0) == (0, 0)
    assert ticks(200.0, 130.0) == (0xFFFF, 0xFFFF)


def test_a_sensor_lags_behind_the_air_by_its_response_time():
    """63 % of a step of humidity after 6 s."""
    rig = Rig(air=(23.0, 0.10), noisy=False)
    rig.sampler.read()
    rig.air = (23.0, 0.50)
    rig.clock.sleep(6.0 - 0.272)
    sample = rig.sampler.read()
    assert sample is not None
    assert sample.humidity_pct == pytest.approx(10.0 + 40.0 * 0.632, abs=1.5)
