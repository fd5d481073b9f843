"""What can be broken about a simulated oven, switched on at will while it runs."""

from dataclasses import dataclass, field
from enum import StrEnum


class SensorFault(StrEnum):
    """How a chamber sensor fails."""

    OPEN = "open"  # reads far below the range
    SHORT = "short"  # reads far above it
    DEAD = "dead"  # answers nothing usable
    SILENT = "silent"  # the driver gives its last sample over and over
    STUCK = "stuck"  # fresh samples, always the same value
    FALLEN_OUT = "fallen_out"  # lies in the room
    LOW = "low"  # reads 10 degC low


@dataclass(slots=True)
class Faults:
    """Nothing is broken in a new one."""

    welded_1: bool = False  # the enabling relay
    welded_2: bool = False  # the solid-state switch
    cutout_dead: bool = False  # the cut-out never opens
    fuse_dead: bool = False
    element_dead: bool = False
    fan_dead: bool = False
    tacho_lies: bool = False  # says that the fan turns whenever it is told to
    meter_dead: bool = False  # gives nothing
    door_open: bool = False
    mains_off: bool = False
    network_gone: bool = False
    loop_hangs: bool = False  # the program stands still; outputs stay as they are until the watchdog bites
    watchdog_dead: bool = False
    sensors: dict[int, SensorFault] = field(default_factory=dict)
