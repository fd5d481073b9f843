"""The air of a what-if: its gaps bridged, its mean, and the pieces it is stepped in."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.errors import BadInputError
from monitor.model.what_if import AirSpan, AirTaken

# Uptake begins as the root of time: the pieces of one long span are close together at first.
_CURVE_PIECES = 48
# Of many spans only the newest are stepped one by one, as the outer windings follow them; those before in
# blocks: days later filament hardly knows of a room's swings within hours.
_NEWEST_SPANS, _MOST_BLOCKS = 24, 40
# Whatever the spans are, the limit is often passed within the first of them.
_FIRST_PIECES = 6
_RECENT_H = 24.0
# What changes by less than this from one span to the next goes on, for the solver, as the same air.
_JUMP_PCT, _JUMP_C = 15.0, 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSpan:
    """Air that stays the same for a while."""

    hours: float
    temperature_c: float
    humidity_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One step of the course; the air has been about the same for `settled_h` before it."""

    hours: float
    settled_h: float
    temperature_c: float
    humidity_pct: float


def bridged(air: Sequence[AirSpan]) -> tuple[KnownSpan, ...]:
    """Every gap filled with the most humid air of the day before it, or after it where there is none."""
    known = [_known(span) for span in air]
    if not any(known):
        raise BadInputError("nothing was measured in all of that time: choose another room or another time")
    starts: list[float] = np.cumsum([0.0, *(span.hours for span in air)]).tolist()
    filled = []
    for number, span in enumerate(air):
        found = known[number] or _worst_near(known, starts, number)
        filled.append(
            KnownSpan(hours=span.hours, temperature_c=found.temperature_c, humidity_pct=found.humidity_pct)
        )
    return tuple(filled)


def mean_air(spans: Sequence[KnownSpan]) -> KnownSpan:
    """One span as long as all of them, with their mean."""
    hours = sum(span.hours for span in spans)
    return KnownSpan(
        hours=hours,
        temperature_c=sum(span.hours * span.temperature_c for span in spans) / hours,
        humidity_pct=sum(span.hours * span.humidity_pct for span in spans) / hours,
    )


def air_taken(air: Sequence[AirSpan], filled: Sequence[KnownSpan]) -> AirTaken:
    """The mean of the bridged air, and what was bridged."""
    missing_h = sum(span.hours for span in air if _known(span) is None)
    mean = mean_air(filled)
    return AirTaken(
        hours=float(f"{mean.hours:.6g}"),
        humidity_pct=round(mean.humidity_pct, 2),
        temperature_c=round(mean.temperature_c, 2),
        bridged_h=float(f"{missing_h:.3g}"),
        note=_note(missing_h) if missing_h else None,
    )


def pieces(spans: Sequence[KnownSpan]) -> Iterator[Piece]:
    """The steps of a course: some 48 for one long span, at least one for each of many."""
    total_h = sum(span.hours for span in spans)
    settled_h, before, least = 0.0, spans[0], _FIRST_PIECES
    for span in _blocks(spans):
        if _is_jump(before, span):
            settled_h = 0.0
        count = max(least, round(_CURVE_PIECES * span.hours / total_h))
        for hours in np.diff(span.hours * np.linspace(0.0, 1.0, count + 1) ** 2):
            yield Piece(
                hours=float(hours),
                settled_h=settled_h,
                temperature_c=span.temperature_c,
                humidity_pct=span.humidity_pct,
            )
            settled_h += float(hours)
        before, least = span, 1


def _blocks(spans: Sequence[KnownSpan]) -> Iterator[KnownSpan]:
    """The newest spans, and before them means over as many neighbours as it takes to have few enough."""
    newest = spans[-_NEWEST_SPANS:]
    older = spans[: -len(newest)]
    size = max(1, -(-len(older) // _MOST_BLOCKS))
    for first in range(0, len(older), size):
        yield mean_air(older[first : first + size])
    yield from newest


def _known(span: AirSpan) -> KnownSpan | None:
    if span.temperature_c is None or span.humidity_pct is None:
        return None
    return KnownSpan(hours=span.hours, temperature_c=span.temperature_c, humidity_pct=span.humidity_pct)


def _worst_near(known: Sequence[KnownSpan | None], starts: Sequence[float], number: int) -> KnownSpan:
    """The most humid span that ends within a day before this one, else the nearest known one's day."""
    before = [(starts[number] - starts[at + 1], known[at]) for at in range(number)]
    after = [(starts[at] - starts[number + 1], known[at]) for at in range(number + 1, len(known))]
    for side in (before, after):
        there = [(away_h, span) for away_h, span in side if span is not None]
        if there:
            nearest_h = min(away_h for away_h, _ in there)
            near = [span for away_h, span in there if away_h <= nearest_h + _RECENT_H]
            return max(near, key=lambda span: span.humidity_pct)
    raise AssertionError("some span is known")


def _is_jump(before: KnownSpan, now: KnownSpan) -> bool:
    is_moister = abs(now.humidity_pct - before.humidity_pct) > _JUMP_PCT
    return is_moister or abs(now.temperature_c - before.temperature_c) > _JUMP_C


def _note(missing_h: float) -> str:
    return (
        f"For {missing_h:.2g} h of that time nothing was measured: "
        "the most humid air of the day beside it stands in."
    )
