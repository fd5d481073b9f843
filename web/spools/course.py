"""The past of a spool's water as a picture: two lines with their bands, events, sealed and hot stays."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.model.answers import SpoolAnswer, StayAnswer
from monitor.model.spool_event import Checkpoint, SpoolEvent
from web.axes import Tick, percents_up, share
from web.inside import content
from web.present import Presenter, seconds
from web.spools.words import percent
from web.timeframe import Frame, area, letters, midnights

# Name of the window: what it is called, its length in days.
WINDOWS: dict[str, tuple[str, int]] = {
    "week": ("7 days", 7),
    "month": ("30 days", 30),
    "year": ("1 year", 365),
}
_DAY_S = 86_400.0
_HEADROOM = 1.12
_ROWS = 31
MARK_LETTERS = {
    "moved": "M",
    "bagged": "B",
    "opened": "O",
    "used": "P",
    "weighed": "W",
    "dried": "D",
    "signs": "S",
    "spoiled": "X",
}
_MARK_WORDS = {
    "M": "moved",
    "B": "bagged",
    "O": "opened",
    "P": "printed with",
    "W": "weighed",
    "D": "dried",
    "S": "signs seen",
    "X": "beyond saving",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Its water at a time [%]: 10th, 50th and 90th percentile."""

    at_s: float
    mean: tuple[float, float, float]
    outer: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """A stay in a bag or in heat; positions in percent of the picture."""

    x: str
    width: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """Positions of marks and limits in percent of the picture, lines in its inner square."""

    mean: str
    outer: str
    mean_band: str
    outer_band: str
    limit_y: str
    limit_words: str
    limit_dy: str
    shades: tuple[Shade, ...]
    marks: tuple[Tick, ...]
    letters: tuple[tuple[str, str], ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    sentence: str
    rows: tuple[tuple[str, str, str], ...]


def course(
    spool: SpoolAnswer,
    past: Sequence[Checkpoint],
    events: Sequence[SpoolEvent],
    present: Presenter,
    now_s: float,
) -> Course | None:
    """The past of a window up to now; None where there is none to draw."""
    states = _states(spool, past, now_s)
    limit = spool.limit_pct
    if len(states) < 2 or not limit:
        return None
    highest = max(max(state.mean[2], state.outer[2]) for state in states)
    frame = Frame(from_s=states[0].at_s, to_s=states[-1].at_s, top=_HEADROOM * max(highest, limit))
    marks = _marks(events, frame)
    limit_y = 1.0 - limit / frame.top
    return Course(
        mean=" ".join(frame.point(state.at_s, state.mean[1]) for state in states),
        outer=" ".join(frame.point(state.at_s, state.outer[1]) for state in states),
        mean_band=area(frame, [(s.at_s, s.mean[0], s.mean[2]) for s in states]),
        outer_band=area(frame, [(s.at_s, s.outer[0], s.outer[2]) for s in states]),
        limit_y=share(limit_y),
        limit_words=f"limit {percent(limit)}",
        limit_dy="-5" if limit_y > 0.12 else "14",
        shades=_shades(spool.account.stays if spool.account else (), frame),
        marks=marks,
        letters=tuple((k, w) for k, w in _MARK_WORDS.items() if any(k in mark.words for mark in marks)),
        across=midnights(present, frame.from_s, frame.to_s),
        up=percents_up(frame.top),
        sentence=_sentence(states, limit, present),
        rows=_rows(states, present),
    )


def _states(spool: SpoolAnswer, past: Sequence[Checkpoint], now_s: float) -> list[State]:
    states = [
        State(at_s=point.at_ms / 1000.0, mean=point.mean_pct, outer=point.outer_pct)
        for point in past
        if point.at_ms / 1000.0 < now_s - 60.0
    ]
    mean, outer = spool.moisture_pct, spool.outer_pct
    if mean.p10 is None or mean.p50 is None or mean.p90 is None:
        return states
    if outer.p10 is None or outer.p50 is None or outer.p90 is None:
        return states
    now = State(at_s=now_s, mean=(mean.p10, mean.p50, mean.p90), outer=(outer.p10, outer.p50, outer.p90))
    return [*states, now]


def _marks(events: Sequence[SpoolEvent], frame: Frame) -> tuple[Tick, ...]:
    """Letters over the moments at which something was told."""
    return letters(
        [(event.at_s, letter) for event in events if (letter := MARK_LETTERS.get(event.what.kind))], frame
    )


def _shades(stays: Sequence[StayAnswer], frame: Frame) -> tuple[Shade, ...]:
    shades = []
    for stay in stays:
        if not (stay.is_sealed or stay.is_hot):
            continue
        begin = frame.x(seconds(stay.begin) or 0.0)
        end = frame.x(seconds(stay.end) or frame.to_s)
        if end > begin:
            # A drying of an afternoon in a month of rest must still be seen.
            width = max(end - begin, 0.006)
            kind = "sealed" if stay.is_sealed else "heat"
            shades.append(Shade(x=share(begin), width=share(width), kind=kind))
    return tuple(shades)


def _sentence(states: Sequence[State], limit: float, present: Presenter) -> str:
    first, last = states[0], states[-1]
    since = present.clock(first.at_s, "%d %b")
    over_s = sum(
        later.at_s - earlier.at_s
        for earlier, later in zip(states, states[1:], strict=False)
        if earlier.outer[1] > limit
    )
    part = over_s / (last.at_s - first.at_s)
    if part >= 0.995:
        over = "all of that time"
    elif part <= 0.005:
        over = "none of that time"
    else:
        over = f"{100.0 * part:.0f} % of that time"
    return (
        f"Since {since} the whole spool went from {percent(first.mean[1])} to {percent(last.mean[1])}, "
        f"its outer windings from {percent(first.outer[1])} to {percent(last.outer[1])}; "
        f"they were over the limit for {over}."
    )


def _rows(states: Sequence[State], present: Presenter) -> tuple[tuple[str, str, str], ...]:
    """The last state of each day, the newest first, thinned to what can be read."""
    by_day = {present.local(state.at_s).date(): state for state in states}
    chosen = list(reversed(by_day.values()))
    every = -(-len(chosen) // _ROWS)
    return tuple(
        (present.clock(state.at_s), _figures(state.mean), _figures(state.outer)) for state in chosen[::every]
    )


def _figures(spread: tuple[float, float, float]) -> str:
    low, middle, high = spread
    return f"{content(middle)} ({content(low)} to {content(high)})"
