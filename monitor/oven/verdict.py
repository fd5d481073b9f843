"""What a rule sees and what it says."""

from dataclasses import dataclass
from enum import IntEnum

from monitor.model.cycle import Cycle
from monitor.model.oven import OvenPhase
from monitor.oven.parameters import OvenParameters
from monitor.oven.site import Site
from monitor.oven.window import Sample, Window

# A cycle that heats or is about to.
RUNNING = frozenset({OvenPhase.PREHEAT_CHECK, OvenPhase.HEATING, OvenPhase.DRYING, OvenPhase.HOLD})
# Permits are given in these alone.
HEATED = frozenset({OvenPhase.PREHEAT_CHECK, OvenPhase.HEATING, OvenPhase.DRYING})


class Level(IntEnum):
    """How far a rule goes; the highest of all is done."""

    FINE = 0
    NOTICE = 1  # say so
    WITHHOLD = 2  # no permit now; neither a hold of B-04 nor an end
    HOLD = 3  # heat off at once, goes on by itself if it clears soon (B-04)
    STOP = 4  # the cycle ends
    TRIP = 5  # locked out until a person has looked (B-03)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    rule: str
    level: Level
    what: str  # one sentence for the person


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """All that a rule may look at."""

    window: Window
    parameters: OvenParameters
    phase: OvenPhase
    cycle: Cycle | None
    site: Site | None
    now_mono_s: float
    late_s: float = 0.0  # time since the step before this one (R19)
    clock_step_s: float = 0.0  # by how much the wall clock has moved against the monotonic one (R19)

    @property
    def is_running(self) -> bool:
        return self.phase in RUNNING and self.cycle is not None

    @property
    def newest(self) -> Sample | None:
        return self.window.newest

    @property
    def room_c(self) -> float | None:
        return self.site.room_c if self.site else None

    def ambient_c(self) -> float:
        """The room, or where this warming began, whichever is warmer: it asks less of the heater [°C]."""
        begun_c = self.cycle.warm_from_c if self.cycle else 20.0
        return begun_c if self.room_c is None else self.room_c

    def expected_rate_c_s(self, duty: float, chamber_c: float) -> float:
        """Rate of the learned first-order model: what a duty gives less what the walls lose [°C/s]."""
        figures = self.parameters
        loss_c_s = max(chamber_c - self.ambient_c(), 0.0) / figures.time_constant_s
        return duty * figures.full_duty_rate_c_s - loss_c_s

    def least_rate_c_s(self, duty: float, chamber_c: float) -> float:
        """The same for a heater 30 % weaker and walls that lose 20 % more [°C/s]: none is slower.

        What a rule asks for must lie below it, or an oven that is nearly in balance would be taken for dead.
        """
        loss_c_s = max(chamber_c - self.ambient_c(), 0.0) / self.parameters.time_constant_s
        return 0.7 * duty * self.parameters.full_duty_rate_c_s - 1.2 * loss_c_s
