"""A start of an oven that a person planned for later (D-11, B-13), and what became of it."""

from dataclasses import dataclass
from enum import StrEnum


class PlannedState(StrEnum):
    """Open are all but STARTED and WITHDRAWN: they stand on the pages until somebody answers."""

    PLANNED = "planned"
    ASKED = "asked"  # it does not begin by itself: a person confirms it, or plans anew
    STARTED = "started"
    MISSED = "missed"  # its time went by; it is asked about and never begun late
    WITHDRAWN = "withdrawn"


OPEN = frozenset({PlannedState.PLANNED, PlannedState.ASKED, PlannedState.MISSED})
# Kinds of notice (`Message.type`).
START_NOW, START_CHANGED, START_MISSED = "start_now", "start_changed", "start_missed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSpool:
    """A spool as it was when its person planned the start."""

    key: str
    place: str | None
    left_g: float | None  # None = not known


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStart:
    """Exactly what a person was shown and agreed to; anything else is asked about anew."""

    number: int  # 0 = not written yet
    oven: str
    load: tuple[str, ...]  # keys of spools, or of one desiccant
    is_tray: bool  # of desiccant, which no inventory places
    setpoint_c: float
    duration_s: float
    needed_s: float  # what its plan asked for then; the person may have wished for less
    limited_by: str
    unattended: bool
    start_s: float  # Unix s
    due_s: float | None  # when it is to be ready; None = no time was named
    who: str
    planned_s: float  # when it was planned
    target_pct: float | None = None  # the goal of its plan, which is computed again with it
    dry_g: float | None = None  # of a tray
    loading_pct: float | None = None  # of a tray; None = not known
    spools: tuple[SeenSpool, ...] = ()
    state: PlannedState = PlannedState.PLANNED
    changed_s: float = 0.0  # when the state became this
    why: str = ""  # sentences for the person
    cycle: str | None = None  # that it became

    @property
    def is_open(self) -> bool:
        return self.state in OPEN


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadableStart:
    """A row that this version cannot read: it is listed, never dropped, and never begun."""

    number: int
    oven: str
    start_s: float
    why: str


AnyStart = PlannedStart | UnreadableStart


@dataclass(frozen=True, slots=True, kw_only=True)
class StartLater:
    """What a person asks for on a page: as it was shown there."""

    load: tuple[str, ...]
    setpoint_c: float
    duration_s: float
    limited_by: str
    unattended: bool
    start_s: float
    due_s: float | None = None
    target_pct: float | None = None
    dry_g: float | None = None
    loading_pct: float | None = None
