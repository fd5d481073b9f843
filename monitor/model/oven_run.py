"""A commissioning run of an oven: an attended cycle at a low set-point, kept with its trace."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.cycle import Ending

COMMISSIONING = "commissioning"  # key of what marks such a cycle in its load; no spool may bear it
MARK_NAME = "the chamber itself, for a commissioning run"
MARK_LIMIT_C = 75.0  # no run is hotter than this, whatever the oven could
RUN_SETPOINT_C, RUN_S = 50.0, 3600.0
TRACE_MAX = 1500  # points; four seconds apart or more
TRACE_APART_S = 4.0


class RunKind(StrEnum):
    EMPTY = "empty"
    LOADED = "loaded"


@dataclass(frozen=True, slots=True, kw_only=True)
class TracePoint:
    """One state of the controller; `at_s` counts from the start of the run [s]."""

    at_s: float
    chamber_c: tuple[float | None, ...]
    heater: float  # share of full power
    power_w: float | None
    door_open: bool | None

    @property
    def hottest_c(self) -> float | None:
        return max((value for value in self.chamber_c if value is not None), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenRun:
    """As far as it was recorded; `ending` None = it runs still, or the program ended before it did."""

    oven: str
    run: str  # id of its cycle
    at_s: float  # Unix seconds of its start
    who: str
    kind: RunKind
    setpoint_c: float
    room_c: float | None
    trace: tuple[TracePoint, ...] = ()
    heated_s: float | None = None  # when heat was over, from the start [s]
    ending: Ending | None = None
    rule: str | None = None  # that ended it
    why: str = ""
    spools: int = 0
