"""All that the supervision of one oven remembers: frozen, of plain values."""

from dataclasses import dataclass

from monitor.model.cycle import Answered, Cycle, EndedCycle, LatchedTrip, Permit
from monitor.model.oven import OvenPhase
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Site
from monitor.oven.window import Window


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """The newest permit, or the newest ON of a relay."""

    permit: Permit
    given_mono_s: float
    rests_on_mono_s: float  # when the state was heard from which its lease counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Supervised:
    """One oven. Times `_mono_s` are of this run of the program; `restarted` drops them all."""

    oven: str
    parameters: OvenParameters
    phase: OvenPhase = OvenPhase.IDLE
    version: int = 0  # B-16, B-28: an order names the one that it was decided on
    cycle: Cycle | None = None  # also the one that cools
    ended: EndedCycle | None = None
    trip: LatchedTrip | None = None
    safety_trips: tuple[float, ...] = ()  # Unix seconds, newest last
    is_out_of_service: bool = False
    is_proof_tested_since_trip: bool = False
    answered: tuple[Answered, ...] = ()
    permit_seq: int = 0
    cycles: int = 0
    trips: int = 0
    stops: int = 0
    # What follows is of this run of the program only.
    window: Window = Window()
    old_boots: tuple[str, ...] = ()
    site: Site | None = None
    site_mono_s: float = 0.0
    given: Given | None = None
    armed_s: float | None = None  # as last heard; None also where there is no arming input
    is_arming_void: bool = False  # the door opened, or a stop came, since it was armed (B-10)
    stop_since_mono_s: float | None = None  # a stop whose effect has not been seen yet (B-17)
    stop_sent_mono_s: float | None = None
    noticed: tuple[str, ...] = ()  # rules that have been told of in this phase
    first_out_due_mono_s: float | None = None
    stepped_mono_s: float | None = None
    wall_ahead_s: float | None = None  # wall clock less monotonic clock


def begin(oven: str, parameters: OvenParameters) -> Supervised:
    """An oven that nothing is known of yet: off until its controller has been heard."""
    return Supervised(oven=oven, parameters=parameters)
