"""Orders to an oven, the cycle that comes of one, and what is kept of both."""

from dataclasses import dataclass, field
from enum import StrEnum


class Origin(StrEnum):
    """Where an order came from. None of them counts as local: only the oven's own arming does."""

    PERSON = "person"
    SCHEDULE = "schedule"  # B-13: a remote start like any other


class Actuator(StrEnum):
    """What switches the heat."""

    CONTROLLER = "controller"  # counts a lease by itself, section 3 of the contract
    RELAY = "relay"  # a network relay that counts each ON down by itself (B-24)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadItem:
    """One thing inside the oven with the heat it stands; None = not known, which counts as the weakest."""

    key: str
    name: str
    material_limit_c: float | None
    body_limit_c: float | None  # reel, bag or tray
    is_body_needed: bool = True  # False = loose material without a reel, such as a tray of desiccant


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What every order carries (B-16). `state_version` is the one it was decided on."""

    id: str
    issuer: str  # the session or program that numbered it
    seq: int  # rises with each order of that issuer
    issued_wall_s: float
    expires_after_s: float
    state_version: int
    who: str
    is_retained: bool = False  # as the broker delivered it


@dataclass(frozen=True, slots=True, kw_only=True)
class StartOrder(Order):
    """A person confirmed: this load, so hot, so long."""

    load: tuple[str, ...]  # keys of the items that the person was shown
    setpoint_c: float
    duration_s: float
    ends_wall_s: float  # the end that was shown
    limited_by: str  # the item that was shown as limiting
    unattended: bool
    origin: Origin = Origin.PERSON
    resumes: str | None = None  # B-22: the cycle whose connection was lost less than five minutes ago
    learned_energy_wh: float | None = None  # of this recipe (R16); None = not learned yet
    target_pct: float | None = None  # of its plan; None = the printing limits
    first_m: float | None = None  # the target is for these metres alone; None = for all of it


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtendOrder(Order):
    """B-15: a new confirmed order, never a toggle."""

    cycle: str
    extra_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ResetOrder(Order):
    """B-30: who read what, and what was checked at the oven."""

    trip: str
    checked: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Why an order is refused, in words for the person who gave it."""

    rule: str  # the requirement that asks for it, "B-14"
    title: str
    detail: str
    limiting_item: str | None = None
    limit_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """An order that was decided on; the same id again gets the same answer and does nothing."""

    order: str
    issuer: str
    seq: int
    problem: Problem | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Permit:
    """Leave to heat for a while, as it goes to the controller (section 3 of the contract)."""

    cycle: str
    seq: int
    boot: str
    state_seq: int
    setpoint_c: float
    ceiling_c: float
    lease_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What adds up over a cycle."""

    energy_wh: float | None = 0.0  # None = the heater's power is not measured
    overshoots: int = 0
    is_overshooting: bool = False
    peak_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One drying that a person confirmed. Times `_mono_s` mean nothing after a restart: it never goes on."""

    id: str
    order: str
    who: str
    is_unattended: bool
    is_armed_locally: bool
    load: tuple[LoadItem, ...]
    setpoint_c: float  # lowered after an overshoot (R13), never raised
    asked_setpoint_c: float
    ceiling_c: float
    limit_c: float
    limited_by: str
    boot: str
    started_mono_s: float
    started_wall_s: float
    duration_s: float
    phase_since_mono_s: float  # the present phase
    warm_from_c: float  # where this warming up began
    warm_from_mono_s: float
    learned_energy_wh: float | None = None
    holds: int = 0
    hold_rule: str | None = None
    withheld_since_mono_s: float | None = None  # too hot to be given a permit (R8)
    asked_from_seq: int = 0  # permits from here on belong to the present attempt to heat
    is_acknowledged: bool = False  # the controller has shown one of them
    dry_since_wall_s: float | None = None  # found dry, so held cooler until it is taken out (D-13)
    target_pct: float | None = None  # of the plan it was confirmed on; None = the printing limits
    first_m: float | None = None  # the target is for these metres alone; None = for all of it
    tally: Tally = field(default_factory=Tally)

    @property
    def ends_mono_s(self) -> float:
        return self.started_mono_s + self.duration_s


class Ending(StrEnum):
    """How a cycle ended."""

    TIME_UP = "time_up"
    DRY = "dry"  # D-13: going on would gain nothing, or it was taken out after that was known
    STOPPED = "stopped"  # by a person or at the oven
    STOPPED_BY_RULE = "stopped_by_rule"
    LINK_LOST = "link_lost"  # B-22: may be resumed for five minutes
    RESTARTED = "restarted"  # B-21: of service, board or controller
    TRIPPED = "tripped"


@dataclass(frozen=True, slots=True, kw_only=True)
class EndedCycle:
    """The last cycle, to be shown: "interrupted at 2 h 10 of 6 h"."""

    cycle: str
    ending: Ending
    why: str
    ran_s: float | None  # None = not known after a restart
    duration_s: float
    setpoint_c: float
    load: tuple[str, ...]
    ended_wall_s: float
    ended_mono_s: float | None  # None after a restart
    has_door_opened: bool = False  # since then


@dataclass(frozen=True, slots=True, kw_only=True)
class Fired:
    """One rule that fired for a trip, in order; the first is the cause (A-25)."""

    rule: str
    what: str
    after_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LatchedTrip:
    """Heat is locked out until a person has looked (B-30)."""

    id: str
    rule: str
    what: str
    is_safety: bool  # may not be reset from afar
    at_wall_s: float
    at_mono_s: float | None  # None after a restart
    fired: tuple[Fired, ...]
    controller_trip: str | None = None  # its id, when the controller tripped itself
    boot: str | None = None
    reset_by: str | None = None  # granted, but the controller still shows its trip


class RecordKind(StrEnum):
    CYCLE_STARTED = "cycle_started"
    CYCLE_EXTENDED = "cycle_extended"
    CYCLE_ENDED = "cycle_ended"
    LOWERED = "lowered"  # D-13: dry, held cooler from here on
    PHASE = "phase"
    HELD = "held"
    ORDER_REFUSED = "order_refused"
    STOP_ASKED = "stop_asked"
    STOP_CONFIRMED = "stop_confirmed"
    TRIPPED = "tripped"
    FIRST_OUT = "first_out"
    RESET = "reset"
    NOTICE = "notice"
    CLOCK_STEP = "clock_step"
    PROOF_TESTED = "proof_tested"
    PROOF_FAILED = "proof_failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenRecord:
    """One line of the oven's book, written before heat may be switched on for its sake (H37)."""

    kind: RecordKind
    oven: str
    at_wall_s: float
    what: str
    cycle: str | None = None
    rule: str | None = None
    who: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceSample:
    """One moment of a first-out record."""

    after_ms: int  # the trip is at 0
    chamber_c: tuple[float | None, ...]
    heater: float
    power_w: float | None
    fan: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstOut:
    """A-25: the rules in the order they fired, and ten minutes on either side."""

    oven: str
    trip: str
    at_wall_s: float
    fired: tuple[Fired, ...]
    trace: tuple[TraceSample, ...]
    is_complete: bool  # False = written at the trip, or the ten minutes after it were cut short
