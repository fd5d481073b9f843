"""Readings to spans: how many, how low and high, their sum, and how much of the time they cover."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median

RawRow = tuple[int, int, int]  # time_ms, series_id, value; in time order
RollUpRow = tuple[int, int, int, int | None, int | None, int | None, int]
"""start_ms, series_id, n, lowest, highest, total, covered_ms: the columns of the tables."""

HOLD_CAP_MS = 3_600_000
HOLD_UNKNOWN_MS = 600_000
SPACINGS_NEEDED = 3


@dataclass(slots=True)
class _Span:
    """One span of one series while it is being added up."""

    n: int = 0
    lowest: int | None = None
    highest: int | None = None
    total: int | None = None
    covered_ms: int = 0

    def add(self, value: int) -> None:
        if self.lowest is None or self.highest is None or self.total is None:
            self.lowest = self.highest = self.total = value
        else:
            if value < self.lowest:
                self.lowest = value
            elif value > self.highest:
                self.highest = value
            self.total += value
        self.n += 1


def hold_ms(due_ms: int | None, spacing_ms: int | None) -> int:
    """For how long after a reading the next one is not yet overdue.

    `ut` where the node gives it, else twice the usual spacing, else ten minutes; at most an hour,
    so that what a reading can change stays within an hour of it.
    """
    if due_ms is not None:
        return min(due_ms, HOLD_CAP_MS)
    if spacing_ms is not None:
        return min(2 * spacing_ms, HOLD_CAP_MS)
    return HOLD_UNKNOWN_MS


def usual_spacing_ms(times_ms: list[int]) -> int | None:
    """Median time between readings; None while there are too few to tell."""
    if len(times_ms) <= SPACINGS_NEEDED:
        return None
    return round(median(after - before for before, after in zip(times_ms, times_ms[1:], strict=False)))


def bucketed(
    rows: Iterable[RawRow], holds_ms: Mapping[int, int], from_ms: int, to_ms: int, span_ms: int
) -> list[RollUpRow]:
    """Roll-ups of the spans from `from_ms` to `to_ms`, which both lie on a span's edge.

    `rows` must reach back one hold before `from_ms`: those readings are not counted, but what they
    still cover is.
    """
    spans: dict[tuple[int, int], _Span] = defaultdict(_Span)
    reach_ms: dict[int, int] = {}  # series to the end of what it covers so far
    for time_ms, series_id, value in rows:
        if time_ms >= to_ms:
            break
        if time_ms >= from_ms:
            spans[time_ms - time_ms % span_ms, series_id].add(value)
        start_ms = max(time_ms, from_ms, reach_ms.get(series_id, 0))
        end_ms = min(time_ms + holds_ms[series_id], to_ms)
        while start_ms < end_ms:
            bucket_ms = start_ms - start_ms % span_ms
            stop_ms = min(bucket_ms + span_ms, end_ms)
            spans[bucket_ms, series_id].covered_ms += stop_ms - start_ms
            start_ms = reach_ms[series_id] = stop_ms
    return [
        (start_ms, series_id, span.n, span.lowest, span.highest, span.total, span.covered_ms)
        for (start_ms, series_id), span in sorted(spans.items(), key=lambda item: item[0])
    ]
