"""How the alarms themselves do, counted from the log of their transitions (A-18, A-19, A-33)."""

import math
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import fmean, pstdev

from monitor.alarms.state import Shown
from monitor.model.alarm_change import AlarmTransition

CHATTER_S, CHATTER_TIMES = 60.0, 3
FLEETING_S, FLEETING_SAMPLES = 60.0, 5
SLOW_CHATTER_SAMPLES = 60  # three activations within so many samples
STALE_S = 86_400.0
FLOOD_WINDOW_S, FLOOD_BEGINS, FLOOD_ENDS = 600.0, 10, 5
BAD_ACTORS = 10
HASTY_S = 5.0  # acknowledged sooner than it can be read


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """One activation: from when to when it was active [Unix s]."""

    key: str
    type: str
    from_s: float
    to_s: float | None  # None = still
    acked_s: float | None = None
    told: bool = False
    hidden: tuple[tuple[float, float | None], ...] = ()  # from, to: by a declared rule; None = still

    def stands(self, at_s: float) -> bool:
        """Whether it was active for over a day by then, before people.

        What a declared rule hides stands before nobody: its cause does.
        """
        is_active = self.from_s < at_s - STALE_S and (self.to_s is None or self.to_s > at_s)
        is_hidden = any(begin_s <= at_s and (end_s is None or at_s < end_s) for begin_s, end_s in self.hidden)
        return self.told and is_active and not is_hidden


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmHealth:
    """Keys are those of alarms, types those of the table. Shares are 0 to 1."""

    activations: int
    told: int  # messages' worth: activations and re-alarms that people were told of
    told_per_day: float
    chattering: tuple[str, ...]
    slow_chattering: tuple[str, ...]
    fleeting: dict[str, int]  # times, by key
    noisy: tuple[tuple[str, str, str], ...]  # key, type and place of those that chatter or are fleeting
    stale: tuple[str, ...]  # active for more than a day now
    floods: tuple[tuple[float, float], ...]  # from, to [Unix s]
    flood_share: float
    bad_actors: tuple[tuple[str, int], ...]  # key, activations; most first
    bad_actor_share: float
    detection_delay_s: dict[str, float]  # mean, by key
    never_fired: tuple[str, ...]
    always_shelved: tuple[str, ...]
    never_acked: tuple[str, ...]
    hasty: dict[str, int]  # acknowledged within seconds, by key
    always_together: tuple[tuple[str, str], ...]  # one of each pair may be a consequence of the other


def health(
    log: Sequence[AlarmTransition], kinds: tuple[str, ...], from_s: float, to_s: float, sample_s: float
) -> AlarmHealth:
    """All of it over a window.

    Args:
        log: Transitions, oldest first.
        kinds: Types of the alarm table.
        from_s, to_s: The window [Unix s].
        sample_s: Usual time between two readings [s], > 0.
    """
    if sample_s <= 0.0 or to_s <= from_s:
        raise ValueError("sample_s must be above 0 and the window must have a length")
    found = occurrences(log)
    starts: dict[str, list[float]] = defaultdict(list)
    for item in found:
        starts[item.key].append(item.from_s)
    told_s = [line.at_ms / 1000.0 for line in log if line.told and line.what != "cleared"]
    spans = floods(told_s, to_s)
    times = Counter({key: len(at) for key, at in starts.items()})
    chattering, slow = _often(starts, CHATTER_S), _often(starts, SLOW_CHATTER_SAMPLES * sample_s)
    fleeting = Counter(item.key for item in found if _is_fleeting(item, sample_s))
    noisy = {*chattering, *slow, *fleeting}
    worst = tuple(sorted(times.items(), key=lambda item: (-item[1], item[0]))[:BAD_ACTORS])
    return AlarmHealth(
        activations=len(found),
        told=len(told_s),
        told_per_day=len(told_s) / ((to_s - from_s) / 86_400.0),
        chattering=chattering,
        slow_chattering=slow,
        fleeting=dict(fleeting),
        noisy=tuple(sorted({(line.key, line.type, line.place) for line in log if line.key in noisy})),
        stale=tuple(sorted({item.key for item in found if item.stands(to_s)})),
        floods=spans,
        flood_share=sum(end - begin for begin, end in spans) / (to_s - from_s),
        bad_actors=worst,
        bad_actor_share=sum(count for _, count in worst) / len(found) if found else 0.0,
        detection_delay_s=detection_delays_s(log),
        never_fired=tuple(sorted(set(kinds) - {line.type for line in log if line.what == "activated"})),
        always_shelved=_always_shelved(log),
        never_acked=_never_acked(found),
        hasty=dict(Counter(item.key for item in found if _is_hasty(item))),
        always_together=_together(starts),
    )


def occurrences(log: Iterable[AlarmTransition]) -> tuple[Occurrence, ...]:
    """Activations with their ends, in the order in which they began."""
    done: list[Occurrence] = []
    newest: dict[str, int] = {}  # where in `done`, by key
    for line in log:
        if line.what == "activated":
            newest[line.key] = len(done)
            done.append(Occurrence(key=line.key, type=line.type, from_s=line.at_ms / 1000.0, to_s=None))
        at = newest.get(line.key)
        if at is not None:
            done[at] = _with(done[at], line)
    return tuple(done)


def _with(item: Occurrence, line: AlarmTransition) -> Occurrence:
    """After another line of its alarm."""
    at_s, hidden = line.at_ms / 1000.0, item.hidden
    is_hidden, was_hidden = line.now == Shown.DSUPR, bool(hidden) and hidden[-1][1] is None
    if is_hidden and not was_hidden:
        hidden = (*hidden, (at_s, None))
    elif was_hidden and not is_hidden:
        hidden = (*hidden[:-1], (hidden[-1][0], at_s))
    is_end = line.what in ("cleared", "vanished")
    return replace(
        item,
        to_s=at_s if is_end and item.to_s is None else item.to_s,
        acked_s=at_s if line.what == "acknowledged" and item.acked_s is None else item.acked_s,
        told=item.told or (line.told and line.what != "cleared"),
        hidden=hidden,
    )


def floods(told_s: Sequence[float], now_s: float) -> tuple[tuple[float, float], ...]:
    """From more than ten in ten minutes until there are fewer than five; (from, to) [Unix s]."""
    spans: list[tuple[float, float]] = []
    begin_s: float | None = None
    at = sorted(told_s)
    for index, moment_s in enumerate(at):
        if begin_s is not None:
            end_s = _flood_end_s(at, index)
            if end_s is not None and end_s <= moment_s:
                spans.append((begin_s, end_s))
                begin_s = None
        recent = index + 1 - bisect_right(at, moment_s - FLOOD_WINDOW_S)
        if begin_s is None and recent > FLOOD_BEGINS:
            begin_s = moment_s
    if begin_s is not None:
        end_s = _flood_end_s(at, len(at))
        spans.append((begin_s, now_s if end_s is None else min(end_s, now_s)))
    return tuple(spans)


def _flood_end_s(at: Sequence[float], count: int) -> float | None:
    """When, with nothing after the first `count`, that of the last ten minutes falls below five."""
    return None if count < FLOOD_ENDS else at[count - FLOOD_ENDS] + FLOOD_WINDOW_S


def detection_delays_s(log: Iterable[AlarmTransition]) -> dict[str, float]:
    """Mean time for which it held before the alarm was raised, by key, where that was kept [s] (A-18)."""
    waits: dict[str, list[float]] = defaultdict(list)
    for line in log:
        if line.waited_s is not None:
            waits[line.key].append(line.waited_s)
    return {key: fmean(found) for key, found in waits.items()}


def proposed_deadband(values: Sequence[float], resolution: float) -> float | None:
    """A deadband from recorded noise: three times its spread, in the unit of the values (A-15, A-18).

    The noise is what is left of neighbouring differences, so that a slow change of the air is not taken
    for it. None where fewer than 30 values were recorded.

    Args:
        values: Samples in order, evenly spaced.
        resolution: Step of the sensor; the answer is no less than it and a multiple of it [same unit], > 0.
    """
    if resolution <= 0.0:
        raise ValueError("resolution must be above 0")
    if len(values) < 30:
        return None
    steps = [after - before for before, after in zip(values, values[1:], strict=False)]
    noise: float = pstdev(steps) / math.sqrt(2.0)
    return max(math.ceil(3.0 * noise / resolution), 1) * resolution


def _often(starts: dict[str, list[float]], within_s: float) -> tuple[str, ...]:
    """Keys with three activations within so long."""
    gap = CHATTER_TIMES - 1
    return tuple(
        sorted(
            key
            for key, at in starts.items()
            if any(at[i + gap] - at[i] <= within_s for i in range(len(at) - gap))
        )
    )


def _is_fleeting(item: Occurrence, sample_s: float) -> bool:
    longest_s = max(FLEETING_S, FLEETING_SAMPLES * sample_s)
    return item.to_s is not None and item.to_s - item.from_s < longest_s


def _is_hasty(item: Occurrence) -> bool:
    return item.acked_s is not None and item.acked_s - item.from_s < HASTY_S


def _always_shelved(log: Sequence[AlarmTransition]) -> tuple[str, ...]:
    """Alarms that were put aside each time that they were raised, twice at least."""
    raised = Counter(line.key for line in log if line.what == "activated")
    shelved = Counter(line.key for line in log if line.what == "shelved")
    hidden = Counter(line.key for line in log if line.what == "activated" and line.now == "shlvd")
    aside = {key: shelved[key] + hidden[key] for key in raised}
    return tuple(sorted(key for key, count in raised.items() if count >= 2 and aside[key] >= count))


def _never_acked(found: Sequence[Occurrence]) -> tuple[str, ...]:
    """Alarms that people were told of and nobody ever acknowledged."""
    told = {item.key for item in found if item.told}
    return tuple(sorted(told - {item.key for item in found if item.acked_s is not None}))


def _together(starts: dict[str, list[float]]) -> tuple[tuple[str, str], ...]:
    """Pairs that were raised within a minute of each other every time, three times at least."""
    often = sorted(key for key, at in starts.items() if len(at) >= CHATTER_TIMES)[:200]
    return tuple(
        (one, other)
        for index, one in enumerate(often)
        for other in often[index + 1 :]
        if len(starts[one]) == len(starts[other])
        and all(abs(a - b) <= 60.0 for a, b in zip(starts[one], starts[other], strict=True))
    )
