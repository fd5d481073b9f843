"""What is so around an oven, as the service tells it whenever it changes and at least once a minute."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.cycle import LoadItem

SITE_FRESH_S = 150.0  # no start on what was said before


class Tick(StrEnum):
    """The checklist of B-40; unattended use needs every one."""

    LIMITER = "limiter"
    SMOKE_DETECTOR = "smoke_detector"
    CLEAR_DISTANCE = "clear_distance"
    OWN_SOCKET = "own_socket"
    VENTILATION = "ventilation"
    SPOOLS_SEATED = "spools_seated"


TICK_WORDS: dict[Tick, str] = {
    Tick.LIMITER: "a hardware limiter is fitted and tested",
    Tick.SMOKE_DETECTOR: "a smoke detector is in the room",
    Tick.CLEAR_DISTANCE: "nothing that burns is within 50 cm",
    Tick.OWN_SOCKET: "the plug is in a socket of its own, not in a strip",
    Tick.VENTILATION: "the room is aired",
    Tick.SPOOLS_SEATED: "the spools sit away from the heater",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Checklist:
    """B-40: what was ticked, by whom, when (Unix seconds)."""

    ticked: frozenset[Tick] = frozenset()
    at_wall_s: float = 0.0
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Detector:
    """B-44: a smoke or heat detector of the room."""

    is_heard: bool  # its heartbeat is fresh
    is_alarming: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """What is known of a network relay (B-20, B-24). None = could not be verified, which counts as no."""

    counts_down: bool | None
    stays_off_after_power_loss: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Facts that a start or a permit depends on and that the controller cannot know."""

    load: tuple[LoadItem, ...]
    is_storage_writable: bool  # B-26
    is_self_tested: bool  # H38: since the last update
    is_sole_owner: bool  # H39
    room_c: float | None = None
    room_dew_point_c: float | None = None
    door_open: bool | None = None  # a switch of another node; the controller tells its own
    detector: Detector | None = None  # None = there is none
    checklist: Checklist | None = None
    is_cutout_confirmed: bool = False  # B-51
    proof_tested_wall_s: float | None = None  # B-50
    relay: Relay | None = None
    unfit: str = ""  # H19: why this oven is unfit for what lies inside; empty = as far as known it is fit
