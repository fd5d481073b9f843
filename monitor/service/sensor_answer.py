"""One sensor as the list shows it: its newest reading, its correction, its check and when the next is due."""

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from monitor.model.history import Newest
from monitor.model.reading import Quantity
from monitor.model.records import effective
from monitor.model.sensor_answers import CheckAnswer, CorrectionAnswer, Due, SensorAnswer
from monitor.model.sensor_check import (
    FAILED_INTERVAL_MONTHS,
    INTERVAL_MONTHS,
    NO_CORRECTION,
    Checked,
    Correction,
    CorrectionSet,
    Installed,
    SensorEvent,
    Verdict,
    in_jar,
    installed,
    since_installed,
)
from monitor.service import sensor_words
from monitor.service.air import rfc3339
from monitor.service.sensor_guide import checks_of, newest_round, tolerance_pct, worst
from monitor.service.sensor_readings import Channel

MONTH_S = 365.25 / 12.0 * 86_400.0
SOON_S = 30 * 86_400.0


def sensor_answer(
    channel: Channel, events: Sequence[SensorEvent], newest: Mapping[Quantity, Newest], now_s: float
) -> SensorAnswer:
    """As of now."""
    events = [event for event in events if event.at_s <= now_s]
    first, jar, check = installed(events), in_jar(events), check_of(events)
    what = None if first is None else first.what
    is_told = isinstance(what, Installed)
    months = what.interval_months if isinstance(what, Installed) else INTERVAL_MONTHS
    humidity = newest.get(Quantity.HUMIDITY)
    due_s = due_of(events, months)
    state = _state(due_s, check, now_s)
    held = correction_of(events)
    return SensorAnswer(
        channel=channel.key,
        place=channel.place,
        place_name=channel.place_name,
        at=None if humidity is None else rfc3339(humidity.time_ms / 1000.0),
        raw_pct=None if humidity is None else humidity.value,
        shown_pct=None if humidity is None else held.corrected(humidity.value),
        serial=what.serial if isinstance(what, Installed) else None,
        installed=rfc3339(first.at_s) if first is not None and is_told else None,
        tolerance_pct=tolerance_pct(events),
        interval_months=months,
        away_since=None if jar is None else rfc3339(jar.at_s),
        correction=_correction_answer(events),
        check=check,
        due=None if due_s is None else rfc3339(due_s),
        due_state=state,
        sentence=_sentence(check, tolerance_pct(events), state, due_s, is_away=jar is not None),
    )


def correction_of(events: Sequence[SensorEvent]) -> Correction:
    """The newest of the sensor that is on the channel, also while it lies in a jar."""
    what = _newest_correction(events)
    if what is None or not isinstance(what.what, CorrectionSet):
        return NO_CORRECTION
    return Correction(offset_pct=what.what.offset_pct, gain=what.what.gain)


def check_of(events: Sequence[SensorEvent]) -> CheckAnswer | None:
    """The newest round of check points."""
    points = newest_round(events)
    if not points:
        return None
    judged, furthest = worst(checks_of(points))
    corrected = _newest_correction(events)
    return CheckAnswer(
        at=rfc3339(points[-1].at_s),
        verdict=judged,
        error_pct=furthest.error_pct,
        uncertainty_pct=furthest.uncertainty_pct,
        salts=tuple(what.salt for what in checks_of(points)),
        is_corrected_since=corrected is not None and corrected.at_s >= points[-1].at_s,
    )


def due_of(events: Sequence[SensorEvent], interval_months: int) -> float | None:
    """When the next check is due [Unix s]; after a failed one sooner (A-35); None where nothing was told."""
    points, first = newest_round(events), installed(events)
    if not points:
        return None if first is None else first.at_s + interval_months * MONTH_S
    has_failed = worst(checks_of(points))[0] is not Verdict.WITHIN
    months = min(interval_months, FAILED_INTERVAL_MONTHS) if has_failed else interval_months
    return points[-1].at_s + months * MONTH_S


def overdue_ms(events: Sequence[SensorEvent]) -> tuple[int, ...]:
    """When a check became, or will become, overdue: of each sensor and check that none followed in time."""
    told = effective(events)
    moments = [e.at_s for e in told if isinstance(e.what, Installed | Checked)]
    found = []
    for at_s, next_s in pairwise([*moments, math.inf]):
        known = [event for event in told if event.at_s <= at_s]
        first = installed(known)
        what = None if first is None else first.what
        months = what.interval_months if isinstance(what, Installed) else INTERVAL_MONTHS
        due_s = due_of(known, months)
        if due_s is not None and due_s < next_s:
            found.append(round(1000.0 * due_s))
    return tuple(found)


def _newest_correction(events: Sequence[SensorEvent]) -> SensorEvent | None:
    told = [event for event in since_installed(events) if isinstance(event.what, CorrectionSet)]
    return told[-1] if told else None


def _correction_answer(events: Sequence[SensorEvent]) -> CorrectionAnswer | None:
    told = _newest_correction(events)
    if told is None or not isinstance(told.what, CorrectionSet) or correction_of(events) == NO_CORRECTION:
        return None
    return CorrectionAnswer(
        since=rfc3339(told.at_s),
        offset_pct=told.what.offset_pct,
        gain=told.what.gain,
        uncertainty_pct=told.what.uncertainty_pct,
    )


def _state(due_s: float | None, check: CheckAnswer | None, now_s: float) -> Due:
    if due_s is not None and now_s > due_s:
        return Due.OVERDUE
    if due_s is not None and now_s > due_s - SOON_S:
        return Due.SOON
    return Due.NEVER if check is None else Due.GOOD


def _sentence(
    check: CheckAnswer | None, allowed_pct: float, state: Due, due_s: float | None, *, is_away: bool
) -> str:
    words = ["It lies in a jar; its readings do not count for its place."] if is_away else []
    if check is not None:
        if check.is_corrected_since:
            words.append(sensor_words.mended(check.error_pct, check.uncertainty_pct))
        else:
            words.append(
                sensor_words.point(check.error_pct, check.uncertainty_pct, allowed_pct, check.verdict)
            )
    day = None if due_s is None else dt.datetime.fromtimestamp(due_s, dt.UTC).strftime("%d %b %Y")
    words.append(sensor_words.due(str(state), day))
    return " ".join(words)
