"""The last twenty minutes of one oven, and what can be read off it."""

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from operator import attrgetter, sub

from monitor.model.oven import OvenState

KEEP_S = 1260.0  # a first-out record needs ten minutes on either side of a trip
MAX_SAMPLES = 700  # a state every two seconds makes 630
_APART_S = 1.9  # what comes faster is thinned, so that the window cannot shrink
# The whole window is gone through several times a step, of which one is due every two seconds.
_AT_S, _OFFSET_S, _DUTY, _HOTTEST_C = map(attrgetter, ("at_s", "offset_s", "state.heater", "hottest_c"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One state message. `at_s` is the controller's own clock, so delays of the network move nothing."""

    at_s: float
    heard_mono_s: float
    state: OvenState
    # The hottest sensor counts, for every limit and for control (R10) [°C]; read hundreds of times a step.
    hottest_c: float | None = field(init=False)
    offset_s: float = field(init=False)  # of this program's clock from the controller's

    def __post_init__(self) -> None:
        hottest_c = max((value for value in self.state.chamber_c if value is not None), default=None)
        object.__setattr__(self, "hottest_c", hottest_c)
        object.__setattr__(self, "offset_s", self.heard_mono_s - self.at_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Samples of one boot, oldest first; never more than `MAX_SAMPLES`."""

    samples: tuple[Sample, ...] = ()

    @property
    def newest(self) -> Sample | None:
        return self.samples[-1] if self.samples else None

    def add(self, sample: Sample) -> "Window":
        """With one more; another boot begins anew. The newest always stays; what came too fast is thinned."""
        kept = self.samples
        if kept and kept[-1].state.boot != sample.state.boot:
            kept = ()
        if len(kept) >= 2 and kept[-1].at_s - kept[-2].at_s < _APART_S:
            kept = kept[:-1]
        first = 0
        while first < len(kept) and kept[first].at_s < sample.at_s - KEEP_S:
            first += 1
        return replace(self, samples=(*kept[first:], sample)[-MAX_SAMPLES:])

    def is_next(self, state: OvenState) -> bool:
        """Whether it is newer than all heard; a copy, or one that was overtaken, tells nothing."""
        newest = self.newest
        if newest is None or newest.state.boot != state.boot:
            return True
        return state.seq > newest.state.seq and state.uptime_s >= newest.at_s

    def last(self, span_s: float) -> tuple[Sample, ...]:
        """The samples of the last `span_s`, oldest first."""
        if not self.samples:
            return ()
        from_s = self.samples[-1].at_s - span_s
        return self.samples[bisect_left(self.samples, from_s, key=_AT_S) :]

    def covers(self, span_s: float) -> tuple[Sample, ...]:
        """Those of the last `span_s` if it is covered without a gap of a fifth of it, else none at all."""
        part = self.last(span_s)
        gap_s = max(0.2 * span_s, 15.0)
        if len(part) < 3 or part[-1].at_s - part[0].at_s < 0.9 * span_s:
            return ()
        times_s = list(map(_AT_S, part))
        return part if max(map(sub, times_s[1:], times_s)) <= gap_s else ()

    def since(self, holds: Callable[[Sample], bool]) -> float:
        """For how long it has held without a break up to the newest sample [s]; 0 if it does not hold now."""
        since_s = 0.0
        for sample in reversed(self.samples):
            if not holds(sample):
                break
            since_s = self.samples[-1].at_s - sample.at_s
        return since_s

    def delay_s(self) -> float:
        """How much longer the newest message was under way than the fastest of the window [s].

        The least offset of the two clocks within the window stands for no delay, so
        a controller whose clock drifts by 100 ppm is off by less than 0.1 s.
        """
        return self.samples[-1].offset_s - min(map(_OFFSET_S, self.samples)) if self.samples else 0.0

    def is_below(self, temperature_c: float) -> bool:
        """Whether any sample's hottest sensor lay below a temperature."""
        heights = [*map(_HOTTEST_C, self.samples)]
        known = [height for height in heights if height is not None] if None in heights else heights
        return bool(known) and min(known) < temperature_c


def duties(samples: Sequence[Sample]) -> list[float]:
    """The heater's, as the states told it, 0 to 1."""
    return list(map(_DUTY, samples))


def slope(times_s: Sequence[float], values: Sequence[float]) -> float | None:
    """Least squares rate of a course [unit/s]; None when its times tell nothing."""
    count = len(times_s)
    if count < 3:
        return None
    mean_s, mean = sum(times_s) / count, sum(values) / count
    spread = sum((t - mean_s) ** 2 for t in times_s)
    if spread <= 0.0:
        return None
    return sum((t - mean_s) * (v - mean) for t, v in zip(times_s, values, strict=True)) / spread


def rate_c_s(samples: Sequence[Sample], sensor: int | None = None) -> float | None:
    """Rate of the hottest reading, or of one sensor [°C/s]; None where it cannot be told."""
    pairs = [(sample.at_s, reading_c(sample, sensor)) for sample in samples]
    known = [(at_s, value) for at_s, value in pairs if value is not None]
    return slope([at_s for at_s, _ in known], [value for _, value in known])


def reading_c(sample: Sample, sensor: int | None) -> float | None:
    """One sensor's reading, or the hottest of all [°C]."""
    if sensor is None:
        return sample.hottest_c
    return sample.state.chamber_c[sensor] if sensor < len(sample.state.chamber_c) else None
