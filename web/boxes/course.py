"""A box's desiccant over time as a picture: its past with its range, and where it is heading."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.model.answers import BoxAnswer, BoxCourse, Spread
from web.axes import Tick, percents_up, share
from web.boxes import marks
from web.boxes.figures import LONGEST_DAYS, known
from web.inside import sentence
from web.present import Presenter, day
from web.timeframe import Band, Frame, across, area, cut, line, spread_bands

DAY_S = 86_400.0
LONGEST_AHEAD_S = 120.0 * DAY_S
_BREAK_S = 12.5 * 3600.0  # two of the states that are kept every six hours are missing
_HEADROOM = 1.12
_PAST_ROWS, _AHEAD_ROWS = 15, 10
_SOON_S = 60.0
# A forecast of months would press a past of a day to nothing: it gets this share of what is ahead.
_LEAST_PAST = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Positions of marks in percent of the picture, lines in its inner square."""

    past: tuple[str, ...]
    past_band: tuple[str, ...]
    ahead: str
    ahead_band: str
    now_x: str | None
    limit_y: str | None
    limit_words: str
    limit_dy: str
    marks: marks.Marks
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    sentence: str
    past_rows: tuple[tuple[str, str], ...]
    ahead_rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """How far a picture looks back and ahead of a moment [s]."""

    back_s: float
    ahead_s: float


def window(box: BoxAnswer, back_s: float) -> Window:
    """As far ahead as back, or to the day on which it is spent, at most 120 days."""
    days = None if box.desiccant is None else box.desiccant.days_left.p50
    to_the_end_s = 0.0 if days is None else 1.1 * days * DAY_S  # the passing itself is to be seen
    ahead_s = min(max(back_s, to_the_end_s), LONGEST_AHEAD_S)
    return Window(back_s=max(back_s, _LEAST_PAST * ahead_s), ahead_s=ahead_s)


def figure(
    box: BoxAnswer, course: BoxCourse, wanted: Window, present: Presenter, now_s: float
) -> Figure | None:
    """The picture; None where nothing of the desiccant is known over time."""
    past = _past(box, course, now_s, wanted)
    ahead = _ahead(course, past, now_s, wanted)
    if len(past) + len(ahead) < 2:
        return None
    limit = course.limit_loading_pct
    frame = Frame(
        from_s=past[0][0] if past else now_s,
        to_s=ahead[-1][0] if ahead else now_s,
        top=_HEADROOM * max([band[3] for band in (*past, *ahead)] + [limit or 0.0, 1e-6]),
    )
    if frame.to_s <= frame.from_s:
        return None
    runs = _runs(past, _changes(course))
    limit_y = 0.0 if limit is None else frame.y(limit)
    return Figure(
        past=tuple(line(frame, [(band[0], band[2]) for band in run]) for run in runs),
        past_band=tuple(_area(frame, run) for run in runs if len(run) > 1),
        ahead=line(frame, [(band[0], band[2]) for band in ahead]) if ahead else "",
        ahead_band=_area(frame, ahead),
        now_x=share(frame.x(now_s)) if ahead else None,
        limit_y=None if limit is None else share(limit_y),
        limit_words="spent for what is inside",
        limit_dy="-5" if limit_y > 0.12 else "14",
        marks=marks.over(course.marks, frame, present),
        across=across(present, frame.from_s, frame.to_s),
        up=percents_up(frame.top),
        sentence=_sentence(box, limit, present, now_s),
        past_rows=_rows(_by_day(past, present), _PAST_ROWS, present),
        ahead_rows=tuple(reversed(_rows(list(reversed(ahead)), _AHEAD_ROWS, present))),
    )


def _past(box: BoxAnswer, course: BoxCourse, now_s: float, wanted: Window) -> list[Band]:
    kept = [
        band
        for band in spread_bands((point.at_s, point.loading_pct) for point in course.past)
        if now_s - wanted.back_s <= band[0] < now_s - _SOON_S
    ]
    present = [] if box.desiccant is None else spread_bands([(now_s, box.desiccant.loading_pct)])
    return kept + present


def _ahead(course: BoxCourse, past: Sequence[Band], now_s: float, wanted: Window) -> list[Band]:
    bands = spread_bands((point.at_s, point.loading_pct) for point in course.ahead)
    if not bands:
        return []
    if bands[0][0] > now_s and past and past[-1][0] == now_s:
        bands = [past[-1], *bands]
    from_s = max(now_s, bands[0][0])
    to_s = min(now_s + wanted.ahead_s, bands[-1][0])
    return cut(bands, from_s, to_s) if to_s > from_s else []


def _changes(course: BoxCourse) -> list[float]:
    return [mark.at_s for mark in course.marks if mark.kind == "recharged"]


def _runs(bands: Sequence[Band], changes_s: Sequence[float]) -> list[list[Band]]:
    """Stretches without a gap; another charge begins another line."""
    runs: list[list[Band]] = []
    for band in bands:
        last_s = runs[-1][-1][0] if runs else None
        is_near = last_s is not None and band[0] - last_s <= _BREAK_S
        if is_near and not any(last_s < at_s <= band[0] for at_s in changes_s if last_s is not None):
            runs[-1].append(band)
        else:
            runs.append([band])
    return runs


def _area(frame: Frame, bands: Sequence[Band]) -> str:
    return area(frame, [(at_s, low, high) for at_s, low, _, high in bands])


def _sentence(box: BoxAnswer, limit: float | None, present: Presenter, now_s: float) -> str:
    charge = box.desiccant
    if charge is None:
        return sentence(box.desiccant_why)
    if charge.loading_pct.p50 is None:
        words = f"How much water it holds now cannot be told: {charge.loading_pct.why or 'not known'}."
    else:
        words = f"It holds {known(charge.loading_pct, ' %')} of its dry mass in water."
    if limit is None:
        return words
    spent = f"Spent for what is inside it is at {known(_sharp(limit), ' %').removeprefix('about ')}"
    if charge.spent:
        return f"{words} {spent}: that is passed."
    return f"{words} {spent}{_when(charge.days_left, present, now_s)}"


def _sharp(value: float) -> Spread:
    return Spread(p10=value, p50=value, p90=value)


def _when(left: Spread, present: Presenter, now_s: float) -> str:
    if left.p10 is None or left.p50 is None or left.p90 is None:
        return f"; when that comes cannot be told: {left.why or 'not known'}."
    if left.p50 >= LONGEST_DAYS:
        return ", which is years away."
    first, last = (_day(present, now_s, days) for days in (left.p10, left.p90))
    if left.p90 >= LONGEST_DAYS:
        return f", which comes not before {first}."
    return f", which comes between {first} and {last}."


def _day(present: Presenter, now_s: float, days: float) -> str:
    moment = present.local(now_s + days * DAY_S)
    return day(moment) if moment.year == present.local(now_s).year else f"{day(moment)} {moment.year}"


def _by_day(bands: Sequence[Band], present: Presenter) -> list[Band]:
    """The last of each day, the newest first."""
    by_day = {present.local(band[0]).date(): band for band in bands}
    return list(reversed(by_day.values()))


def _rows(bands: Sequence[Band], most: int, present: Presenter) -> tuple[tuple[str, str], ...]:
    every = -(-len(bands) // most) or 1
    return tuple(
        (
            present.clock(at_s, "%d %b %Y %H:%M"),
            known(Spread(p10=low, p50=middle, p90=high), "").removeprefix("about "),
        )
        for at_s, low, middle, high in bands[::every]
    )
