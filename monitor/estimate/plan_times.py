"""When a cycle starts and ends: forwards from now, or backwards from when it has to be ready (D-11)."""

import datetime as dt
import math
from dataclasses import dataclass

from monitor.model.answers import Spread
from monitor.model.plan import When

# Cooling below 45 °C with the fan on, and a core that is no longer soft; a wound spool is slow to cool.
COOL_H = 1.0
# Where one in ten may never get there the middle is planned with half of it on top.
_UNSURE = 1.5
_LONGEST_RUN_H = 48.0
_STEP_H = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Of one cycle; Unix seconds."""

    run_h: float
    cool_h: float
    start_s: float
    finish_s: float
    is_in_time: bool
    cautions: tuple[str, ...]


def timing_of(duration: Spread, when: When) -> Timing:
    """Heating for the 90th percentile, then cooling; as late as it may start, or else at once."""
    run_h, said = _run_h(duration)
    cool_h = COOL_H if run_h > 0.0 else 0.0
    length_s = 3600.0 * (run_h + cool_h)
    earliest_s = when.now_s + length_s
    is_in_time = when.ready_by_s is None or earliest_s <= when.ready_by_s
    start_s = when.now_s
    if when.ready_by_s is not None and is_in_time and run_h > 0.0:
        start_s = when.ready_by_s - length_s
    if when.ready_by_s is not None and not is_in_time:
        said.append(
            f"It cannot be ready by {at_text(when.ready_by_s)}: started now, it is ready at "
            f"{at_text(earliest_s)} "
            "at the earliest."
        )
    return Timing(
        run_h=run_h,
        cool_h=cool_h,
        start_s=start_s,
        finish_s=start_s + length_s,
        is_in_time=is_in_time,
        cautions=tuple(said),
    )


def at_text(time_s: float) -> str:
    """RFC 3339 in UTC, to the second."""
    moment = dt.datetime.fromtimestamp(round(time_s), dt.UTC)
    return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def _run_h(duration: Spread) -> tuple[float, list[str]]:
    """A finite time to set (B-15), in quarters of an hour, and what is to be said of it."""
    if duration.p50 == 0.0:
        return 0.0, []
    if duration.p50 is None:
        return _LONGEST_RUN_H, [
            f"How long it takes cannot be told: weigh it after {_LONGEST_RUN_H:g} h, the longest one cycle "
            f"may be."
        ]
    if duration.p90 is None:
        return _quarters(_UNSURE * duration.p50), [
            "One in ten such spools might not get there however long it is dried: weigh it before and after."
        ]
    return _quarters(duration.p90), []


def _quarters(hours: float) -> float:
    return math.ceil(hours / _STEP_H - 1e-9) * _STEP_H
