"""What the hour after an opening tells of the desiccant inside."""

import math
from dataclasses import replace

from monitor.estimate.box_belief import BoxBelief, Recovery
from monitor.estimate.box_lid import BoxReading
from monitor.physics.constants import NORMAL_K, ZERO_C_K

# Water brought in divides at once between bed and windings by their areas; half an hour later the windings
# give it back, and the air over the bed stands in proportion to what its area has to take.
_EARLY_S, _LATE_FROM_S, _LATE_TO_S = 900.0, 1800.0, 3600.0
_LEAST_EARLY, _LEAST_LATE = 2, 3
_LEAST_EXCESS = 0.0008  # a late excess below it is the sensor's own scatter
_STILL_OPEN = 0.7  # of the peak left after a quarter of an hour: the lid was not shut at once


def followed(before: BoxBelief, after: BoxBelief, reading: BoxReading) -> BoxBelief:
    """The belief with its recovery carried on by a reading; a finished one is kept for the half day.

    Args:
        before: Belief before the reading.
        after: With the lid as the reading left it.
        reading: The reading.
    """
    if before.lid.phase == "shut" and after.lid.phase == "doubtful":
        block = before.block
        base = block.humidity / block.count if block.count > 1 else before.humidity
        warmth = block.temperature_c / block.count if block.count > 1 else reading.temperature_c
        begun = Recovery(since_s=reading.time_s, base=_at_25_c(base, warmth))
        return replace(after, recovery=_with(begun, reading))
    recovery = before.recovery
    if recovery.since_s == 0.0:
        return after
    if reading.time_s - before.seen_s > _EARLY_S or after.lid.is_told:
        return replace(after, recovery=Recovery())
    if reading.time_s - recovery.since_s <= _LATE_TO_S:
        return replace(after, recovery=_with(recovery, reading))
    told = _told(recovery)
    return replace(
        after, recovery=Recovery(), half_recovery_ln=after.half_recovery_ln if told is None else told
    )


def _with(recovery: Recovery, reading: BoxReading) -> Recovery:
    since_s = reading.time_s - recovery.since_s
    excess = _at_25_c(reading.relative_humidity, reading.temperature_c) - recovery.base
    if since_s < _EARLY_S:
        return replace(
            recovery,
            peak=max(recovery.peak, excess),
            early=recovery.early + excess,
            early_count=recovery.early_count + 1,
        )
    if since_s < _LATE_FROM_S:
        if excess > _STILL_OPEN * recovery.peak:
            return Recovery()
        return recovery
    return replace(recovery, late=recovery.late + excess, late_count=recovery.late_count + 1)


def _told(recovery: Recovery) -> float | None:
    """Logarithm of the late excess over the early one, each a mean; None where too little was read."""
    if recovery.early_count < _LEAST_EARLY or recovery.late_count < _LEAST_LATE:
        return None
    early, late = recovery.early / recovery.early_count, recovery.late / recovery.late_count
    return math.log(late / early) if late > _LEAST_EXCESS and early > late else None


def _at_25_c(relative_humidity: float, temperature_c: float) -> float:
    return float(max(relative_humidity, 1e-4) ** ((temperature_c + ZERO_C_K) / NORMAL_K))
