"""An oven as people see it: what it does, what it holds, what may be asked of it."""

from dataclasses import dataclass

from monitor.model.cycle import Cycle, EndedCycle, LatchedTrip, LoadItem, OvenRecord
from monitor.model.oven_progress import Progress


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckItem:
    """One line of the checklist for unattended use (B-40)."""

    key: str
    words: str
    is_ticked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenLook:
    """One oven at a moment, from its supervision and the newest state of its controller."""

    key: str
    name: str
    room: str
    phase: str  # of B-18
    version: int  # an order names the one that it was decided on (B-28)
    age_s: float | None  # of the newest state; None = never heard
    is_fresh: bool  # heard within ten seconds: else nothing shown here is to be trusted
    chamber_c: tuple[float | None, ...]
    hottest_c: float | None
    is_hot: bool | None  # at or above 55 degC (B-45); None = not known
    heater: float | None  # share of full power
    power_w: float | None
    fan: bool | None
    door_open: bool | None
    armed_s: float | None  # seconds of local arming left; None = there is no arming input (B-11)
    permit_left_s: float | None
    refused: str | None  # the controller's last refusal
    cycle: Cycle | None  # that runs or cools
    left_s: float | None
    ends_at_s: float | None  # Unix seconds
    ended: EndedCycle | None
    trip: LatchedTrip | None
    is_out_of_service: bool
    stop_asked_s: float | None  # seconds since a stop whose effect has not been seen (B-17)
    load: tuple[LoadItem, ...]  # what lies in it by the inventory
    checklist: tuple[CheckItem, ...]
    checklist_at_s: float | None  # Unix seconds; None = never gone through
    checklist_who: str
    proof_tested_s: float | None
    is_cutout_confirmed: bool
    records: tuple[OvenRecord, ...]  # the newest first
    progress: Progress | None = None  # of the cycle that runs, by its water; None = not worked out


@dataclass(frozen=True, slots=True, kw_only=True)
class StartWish:
    """What a person confirmed on a page (B-10): shown to them exactly so before."""

    order: str  # drawn when the page was made: a second press does nothing
    version: int
    load: tuple[str, ...]
    setpoint_c: float
    duration_s: float
    limited_by: str
    unattended: bool
    shown_s: float  # when the page was made [Unix s]
    target_pct: float | None = None  # of the plan that was shown; None = the printing limits
    first_m: float | None = None  # the target is for these metres alone
