"""When somebody is there: a cycle is started and taken out only then, and not in quiet hours."""

import bisect
import datetime as dt
import math
from collections.abc import Sequence

Span = tuple[float, float]  # from, to [Unix s]
_DAY_S = 86_400.0


def daily(first: dt.date, days: int, begin: dt.time, end: dt.time, zone: dt.tzinfo) -> tuple[Span, ...]:
    """The same local hours on each of so many dates, one span a date whatever the clocks do that night.

    An end not after its beginning is of the next date. Of an hour that comes twice the first counts; one that
    is skipped is as long after midnight as usual.
    """
    over = 0 if end > begin else 1
    dates = [first + dt.timedelta(days=day) for day in range(days)]
    return tuple(
        (_local_s(date, begin, zone), _local_s(date + dt.timedelta(days=over), end, zone)) for date in dates
    )


def _local_s(date: dt.date, at: dt.time, zone: dt.tzinfo) -> float:
    return dt.datetime.combine(date, at.replace(fold=0), zone).timestamp()


class Calendar:
    """The moments at which a person may start or take out; the pattern given repeats after whole days.

    Without attended hours every moment outside the quiet ones is good. ValueError where none is left.
    """

    def __init__(self, attended: Sequence[Span], quiet: Sequence[Span]) -> None:
        self._always = not attended and not quiet
        if self._always:
            return
        given = [*attended, *quiet]
        self._origin_s = min(begin for begin, _ in given)
        length_s = max(end for _, end in given) - self._origin_s
        self._period_s = max(math.ceil(length_s / _DAY_S - 1e-9), 1) * _DAY_S
        whole = [(self._origin_s, self._origin_s + self._period_s)]
        spans = _without(_merged(attended or whole), _merged(quiet))
        if not spans:
            raise ValueError("no attended moment is left outside the quiet hours")
        self._begins = [begin - self._origin_s for begin, _ in spans]
        self._ends = [end - self._origin_s for _, end in spans]

    def next_s(self, time_s: float) -> float:
        """The first good moment at or after a time."""
        if self._always:
            return time_s
        round_s, within_s = self._split(time_s)
        at = bisect.bisect_left(self._ends, within_s)
        if at == len(self._ends):
            return round_s + self._period_s + self._begins[0]
        return time_s if self._begins[at] <= within_s else round_s + self._begins[at]

    def last_s(self, time_s: float) -> float:
        """The last good moment at or before a time; minus infinity before the pattern begins."""
        if self._always:
            return time_s
        round_s, within_s = self._split(time_s)
        at = bisect.bisect_right(self._begins, within_s) - 1
        if at < 0:
            return -math.inf if round_s <= self._origin_s else round_s - self._period_s + self._ends[-1]
        return time_s if within_s <= self._ends[at] else round_s + self._ends[at]

    def _split(self, time_s: float) -> tuple[float, float]:
        """Where the pattern's round of that time begins, and how far into it the time is."""
        rounds = max(math.floor((time_s - self._origin_s) / self._period_s), 0)
        round_s = self._origin_s + rounds * self._period_s
        return round_s, time_s - round_s


def _merged(spans: Sequence[Span]) -> list[Span]:
    merged: list[Span] = []
    for begin, end in sorted(span for span in spans if span[1] > span[0]):
        if merged and begin <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    return merged


def _without(spans: Sequence[Span], cut: Sequence[Span]) -> list[Span]:
    left = list(spans)
    for begin, end in cut:
        left = [part for a, b in left for part in ((a, min(b, begin)), (max(a, end), b)) if part[1] > part[0]]
    return left
