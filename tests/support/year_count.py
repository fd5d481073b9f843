"""What a year of alarms comes to: load by A-19 to A-23, and each kind of alarm held against the truth."""

import datetime as dt
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from statistics import median

import numpy as np
from support.year_alarms import QUIET, START_S, Mishaps, Told
from support.year_boxes import NODE_BOXES, Gaps
from support.year_truth import BLOCK_S, DAY_S, HOUR_S, LIMIT, SENSOR_ERROR, Year, practical

from monitor.alarms.metrics import floods, health, occurrences
from monitor.model.message import Message, MessageKind, Priority

# Gone at the next look counts as fleeting: five samples of a sensor that reports every 75 s.
SAMPLE_S = 75.0
LONG_OPEN_S = HOUR_S  # an opening that somebody must be told of
Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One kind of alarm against the truth; of what was told, since what is hidden by design is not heard."""

    raised: int = 0
    false: int = 0
    events: int = 0  # that had to be told
    missed: int = 0
    delays_h: tuple[float, ...] = ()  # from when it became so to the alarm; below 0 = before it


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What people heard."""

    pushes: int
    a_day: float
    worst_30_d: float  # a day
    most_in_1_h: int
    most_in_1_h_incident_apart: int  # without storms, broker, nodes and clock
    in_quiet: int
    loud_in_quiet: int  # of these, by A-20 those which may sound
    high_share: float
    safety: int
    storms: int
    most_of_a_storm: int
    activations: int
    by_type: dict[str, int]
    pushes_by_type: dict[str, int]
    chattering: int
    slow_chattering: int
    fleeting: int
    most_stale: int  # active for more than a day, on the worst day
    mean_stale: float
    flood_share: float
    bad_actor_share: float
    hidden_safety: int


def pushes(told: Told) -> list[Message]:
    """What is sent: low and above, and no mere news of an end."""
    kinds = (MessageKind.ACTIVE, MessageKind.WORSE)
    return [m for m in told.messages if m.kind in kinds and m.priority is not Priority.NOTICE]


def load_of(told: Told, days: float, kinds: tuple[str, ...]) -> Load:
    """All counts of one year."""
    sent = pushes(told)
    at_s = [message.at_s - START_S for message in sent]
    found = occurrences(told.log)
    whole = health(told.log, kinds, START_S, START_S + days * DAY_S, SAMPLE_S)
    plain_s = [
        at
        for at, m in zip(at_s, sent, strict=True)
        if m.type not in ("storm", "broker_away", "clock_wrong", "node_offline", "oven_trip")
    ]
    quiet = [m for m in sent if _is_quiet(m.at_s)]
    stale = [sum(i.stands(START_S + day * DAY_S) for i in found) for day in range(1, math.ceil(days))]
    # Each time that a storm is told has a number behind the storm's own name.
    storms = Counter(m.occurrence.rpartition("-")[0] for m in sent if m.type == "storm")
    per_day = np.histogram(at_s, bins=np.arange(0.0, days + 1.0) * DAY_S)[0]
    span = min(30, len(per_day))
    return Load(
        pushes=len(sent),
        a_day=len(sent) / days,
        worst_30_d=float(np.convolve(per_day, np.ones(span) / span, mode="valid").max()),
        most_in_1_h=_most_within(at_s, HOUR_S),
        most_in_1_h_incident_apart=_most_within(plain_s, HOUR_S),
        in_quiet=len(quiet),
        loud_in_quiet=sum(_may_sound(m) for m in quiet),
        high_share=sum(m.priority is Priority.HIGH for m in sent) / max(len(sent), 1),
        safety=sum(m.priority is Priority.SAFETY for m in sent),
        storms=len(storms),
        most_of_a_storm=max(storms.values(), default=0),
        activations=len(found),
        by_type=dict(Counter(item.type for item in found).most_common()),
        pushes_by_type=dict(Counter(m.type for m in sent).most_common()),
        chattering=len(whole.chattering),
        slow_chattering=len(whole.slow_chattering),
        fleeting=sum(whole.fleeting.values()),
        most_stale=max(stale, default=0),
        mean_stale=sum(stale) / max(len(stale), 1),
        flood_share=sum(e - b for b, e in floods([m.at_s for m in sent], START_S + days * DAY_S))
        / (days * DAY_S),
        bad_actor_share=whole.bad_actor_share,
        hidden_safety=told.hidden_safety,
    )


def _is_quiet(at_s: float) -> bool:
    hour = dt.datetime.fromtimestamp(at_s, dt.UTC).hour
    return not QUIET[1] <= hour < QUIET[0]


def _may_sound(message: Message) -> bool:
    """A-20: safety, or high that cannot wait for the end of quiet hours."""
    if message.priority is Priority.SAFETY:
        return True
    hour = dt.datetime.fromtimestamp(message.at_s, dt.UTC)
    left_s = ((QUIET[1] - hour.hour - hour.minute / 60.0) % 24.0) * HOUR_S
    cannot_wait = message.deadline_s is not None and message.deadline_s < message.at_s + left_s
    return message.priority is Priority.HIGH and cannot_wait


def _most_within(at_s: list[float], span_s: float) -> int:
    at = np.sort(np.array(at_s))
    return int((np.searchsorted(at, at + span_s, side="left") - np.arange(len(at))).max()) if len(at) else 0


class Truths:
    """When each kind of alarm had reason to be raised, by place."""

    def __init__(self, year: Year, gaps: Gaps, mishaps: Mishaps) -> None:
        self._year, self._gaps, self._mishaps = year, gaps, mishaps
        self._boxes = len(year.boxes) - year.plan.tables
        self._end_s = float(year.time_s[-1])

    def judge(self, told: Told) -> dict[str, Judged]:
        """By kind; kinds that were neither raised nor had to be are left out."""
        by_kind: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
        heard: dict[str, list[tuple[str, float]]] = defaultdict(list)
        places = {line.key: line.place for line in told.log}
        for item in occurrences(told.log):
            to_s = self._end_s if item.to_s is None else item.to_s - START_S
            by_kind[item.type].append((places[item.key], item.from_s - START_S, to_s))
            if item.told:
                heard[item.type].append((places[item.key], item.from_s - START_S))
        found = {}
        for kind in sorted({*by_kind, *_EVENTS}):
            raised = heard[kind]
            events = list(_EVENTS[kind](self)) if kind in _EVENTS else []
            false = sum(not _TRUE[kind](self, place, at_s) for place, at_s in raised if kind in _TRUE)
            answers = [self._answered(kind, place, span, by_kind) for place, span in events]
            found[kind] = Judged(
                raised=len(raised),
                false=false,
                events=len(events),
                missed=sum(answer is None for answer in answers),
                delays_h=tuple(a / HOUR_S for a in answers if a is not None),
            )
        return found

    def _answered(
        self, kind: str, place: str, span: Span, by_kind: dict[str, list[tuple[str, float, float]]]
    ) -> float | None:
        """Delay of the first alarm that was there in the span, itself or one that stands for it; None = missed."""
        early_s = _EARLY_S.get(kind, 0.0)
        at = [
            max(from_s - span[0], -early_s)
            for other in (kind, *_STANDS_FOR.get(kind, ()))
            for where, from_s, to_s in by_kind.get(other, ())
            if (where in (place, "") or other == "broker_away") and from_s <= span[1] and to_s >= span[0]
        ]
        return min(at, default=None)

    # --- truth at a moment ---

    def _number(self, place: str) -> int:
        return int(place.split("-")[1])

    def _at(self, at_s: float) -> int:
        return min(max(round(at_s / BLOCK_S) - 1, 0), len(self._year.time_s) - 1)

    def lid(self, place: str, at_s: float) -> bool:
        number = self._number(place)
        return any(
            o.box == number and o.from_s <= at_s <= o.to_s + 2.0 * BLOCK_S and o.to_s - o.from_s >= 600.0
            for o in self._year.plan.openings
        )

    def humid(self, place: str, at_s: float) -> bool:
        number, at = self._number(place), self._at(at_s)
        limit = practical(self._year.boxes[number].limit_humidity)
        return float(self._year.humidity[max(at - 6, 0) : at + 1, number].max()) > limit

    def settled(self, number: int, at_s: float) -> float:
        times = self._year.settled_time_s
        return float(self._year.settled[max(int(np.searchsorted(times, at_s, side="right")) - 1, 0), number])

    def spent(self, place: str, at_s: float) -> bool:
        """Within what the sensor can tell."""
        number = self._number(place)
        return self.settled(number, at_s) >= practical(self._year.boxes[number].limit_humidity) - SENSOR_ERROR

    def soon(self, place: str, at_s: float) -> bool:
        """So within twice the week that is told: who is told changes the charge before it is truly spent."""
        return self._comes_to_be_spent(place, at_s - DAY_S, at_s + 14.0 * DAY_S)

    def _comes_to_be_spent(self, place: str, from_s: float, to_s: float) -> bool:
        within = self._year.settled_time_s
        within = within[(within >= max(from_s, 0.0)) & (within <= to_s)]
        return any(self.spent(place, float(time_s)) for time_s in within)

    def leaky(self, place: str, at_s: float) -> bool:
        number = self._number(place)
        leaks = self._year.plan.leaks
        return any(k.box == number and k.from_s <= at_s <= k.to_s + 14.0 * DAY_S for k in leaks)

    def wet(self, place: str, at_s: float) -> bool:
        number, month_s = self._number(place), 30.0 * DAY_S
        if at_s < month_s and max(s.start_humidity for s in self._year.boxes[number].spools) > 0.25:
            return True
        return any(
            s.box == number and s.is_wet and s.to_s <= at_s <= s.to_s + month_s for s in self._year.plan.swaps
        )

    def small(self, place: str, at_s: float) -> bool:
        """The charge that is in lasts less than a month."""
        number = self._number(place)
        filled = [0.0, *(r.at_s for r in self._year.recharges if r.box == number)]
        since_s = max(at for at in filled if at <= at_s)
        return self._comes_to_be_spent(place, since_s + DAY_S, since_s + 30.0 * DAY_S)

    def off(self, place: str, _at_s: float) -> bool:
        return abs(self._year.boxes[self._number(place)].sensor_offset) > 0.015

    def unheard(self, place: str, at_s: float) -> bool:
        span = self._mishaps.clock
        if span is not None and span[0] <= at_s <= span[1] + BLOCK_S:
            return False  # the readings came
        at = slice(max(self._at(at_s) - 2, 0), self._at(at_s) + 1)
        if place == "room":
            return bool(self._gaps.broker[at].any())
        return not bool(self._gaps.heard(self._number(place))[at].all())

    def node_off(self, place: str, at_s: float) -> bool:
        at = slice(max(self._at(at_s) - 3, 0), self._at(at_s) + 1)
        return bool(self._gaps.node[at, self._number(place) // NODE_BOXES].any())

    def rewets(self, place: str, at_s: float) -> bool:
        """The air round it is truly over what its material bears."""
        _, box, spool = place.split("-")
        number = int(box)
        material = self._year.boxes[number].spools[int(spool)].material
        at = self._at(at_s)
        air = self._year.humidity if number < self._boxes else self._year.room_humidity
        return float(air[max(at - 72, 0) : at + 1, number].max()) > LIMIT[material]

    # --- what had to be told ---

    def lids(self) -> Iterator[tuple[str, Span]]:
        for o in self._year.plan.openings:
            # Whoever changes the desiccant meanwhile shuts it.
            to_s = min(
                [o.to_s, *(r.at_s for r in self._year.recharges if r.box == o.box and r.at_s > o.from_s)]
            )
            if to_s - o.from_s >= LONG_OPEN_S and self._is_heard(o.box, o.from_s, to_s):
                yield f"box-{o.box}", (o.from_s, to_s + 1200.0)

    def humids(self) -> Iterator[tuple[str, Span]]:
        """Clearly over for three hours, a quarter of the time to respond, and measured."""
        for number in range(self._boxes):
            limit = practical(self._year.boxes[number].limit_humidity) + 2.0 * SENSOR_ERROR
            for begin_s, end_s in self._spans(self._year.humidity[:, number] > limit, 3.0 * HOUR_S):
                if self._is_heard(number, begin_s, end_s):
                    yield f"box-{number}", (begin_s, end_s)

    def spent_spans(self) -> Iterator[tuple[str, Span]]:
        """From when the bed settles at the limit to its change."""
        times = self._year.settled_time_s
        for number in range(self._boxes):
            over = self._year.settled[:, number] >= practical(self._year.boxes[number].limit_humidity)
            edges = np.flatnonzero(np.diff(np.concatenate([[0], over.astype(int), [0]])))
            for begin, end in zip(edges[::2], edges[1::2], strict=True):
                span = (float(times[begin]), float(times[end - 1]))
                if span[1] - span[0] >= 2.0 * DAY_S:
                    yield f"box-{number}", span

    def leaks(self) -> Iterator[tuple[str, Span]]:
        for leak in self._year.plan.leaks:
            yield f"box-{leak.box}", (leak.from_s, leak.to_s)

    def gaps(self) -> Iterator[tuple[str, Span]]:
        for number in range(self._boxes):
            for span in self._spans(~self._gaps.heard(number), 3.0 * HOUR_S):
                yield f"box-{number}", span

    def broker(self) -> Iterator[tuple[str, Span]]:
        for span in self._spans(self._gaps.broker, HOUR_S):
            yield "", span

    def tables(self) -> Iterator[tuple[str, Span]]:
        """Spools that truly pass their limit on a table: told before they do, or an hour after at most."""
        from support.year_boxes import LIBRARY

        for swap in self._year.plan.swaps:
            if swap.box < self._boxes:
                continue
            material = self._year.boxes[swap.box].spools[0].material
            begin, end = self._at(swap.from_s) + 1, self._at(swap.to_s)
            content = self._year.table_content[begin:end, swap.box - self._boxes]
            over = np.flatnonzero(content > LIBRARY.material(material).limit_content)
            if len(over) and len(over) < len(content):
                passes_s = swap.from_s + float(over[0]) * BLOCK_S
                yield f"spool-{swap.box}-0", (passes_s - 12.0 * HOUR_S, passes_s + HOUR_S)

    def trip(self) -> Iterator[tuple[str, Span]]:
        if self._mishaps.trip is not None:
            yield "oven", self._mishaps.trip

    def clock(self) -> Iterator[tuple[str, Span]]:
        if self._mishaps.clock is not None:
            yield "", self._mishaps.clock

    def _is_heard(self, number: int, from_s: float, to_s: float) -> bool:
        return bool(self._gaps.heard(number)[self._at(from_s) : self._at(to_s) + 1].all())

    def _spans(self, holds: np.ndarray, least_s: float) -> list[Span]:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], holds.astype(int), [0]])))
        spans = [(b * BLOCK_S, e * BLOCK_S) for b, e in zip(edges[::2], edges[1::2], strict=True)]
        return [span for span in spans if span[1] - span[0] >= least_s]


def _never(_truths: Truths, _place: str, _at_s: float) -> bool:
    return False


_TRUE: dict[str, Callable[[Truths, str, float], bool]] = {
    "lid_open": Truths.lid,
    "humidity_high": Truths.humid,
    "desiccant_spent": Truths.spent,
    "desiccant_soon": Truths.soon,
    "box_leaky": Truths.leaky,
    "wet_contents": Truths.wet,
    "charge_too_small": Truths.small,
    "sensor_implausible": Truths.off,
    "sensor_misplaced": _never,
    "contents_unannounced": Truths.wet,
    "reading_stale": Truths.unheard,
    "node_offline": Truths.node_off,
    "spool_rewet": Truths.rewets,
    "temperature_high": _never,
    "oven_hot_unasked": _never,
    "oven_silent_hot": _never,
}
_EVENTS: dict[str, Callable[[Truths], Iterator[tuple[str, Span]]]] = {
    "lid_open": Truths.lids,
    "humidity_high": Truths.humids,
    "desiccant_spent": Truths.spent_spans,
    "box_leaky": Truths.leaks,
    "reading_stale": Truths.gaps,
    "broker_away": Truths.broker,
    "spool_rewet": Truths.tables,
    "oven_trip": Truths.trip,
    "clock_wrong": Truths.clock,
}
# Whoever was told of the cause knows: the act is the same.
_STANDS_FOR = {
    "humidity_high": ("lid_open", "desiccant_spent", "box_leaky", "wet_contents"),
    "reading_stale": ("node_offline", "broker_away"),
    "desiccant_spent": ("box_leaky", "wet_contents", "humidity_high"),
}
# An alarm that was there already counts as told so long before at most.
_EARLY_S = {"desiccant_spent": 7.0 * DAY_S}


def median_delay_h(judged: Judged) -> float | None:
    return median(judged.delays_h) if judged.delays_h else None
