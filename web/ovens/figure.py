"""The course of a drying plan as a picture drawn here, the same in a sentence, and as a table."""

from dataclasses import dataclass

from monitor.model.plan import LoadingPoint, Plan, PlanPoint
from web.axes import Tick, hours_across, percents_up, share
from web.inside import content
from web.timeframe import Frame, area, line

_STEPS_H = (0.5, 1.0, 2.0, 3.0, 6.0, 12.0)
_MOST_MARKS = 7
_ROWS = 8
_BEYOND = 1.15  # drawn a little past the end; a plan computes further

Points = tuple[PlanPoint | LoadingPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Positions in percent of the picture, lines in its inner square."""

    mean: str
    band: str
    outer: str
    target_y: str
    target_dy: str
    target_words: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    sentence: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def figure(plan: Plan) -> Figure | None:
    """The spool that takes longest, or the charge; None where there is no course."""
    points = _drawn(plan)
    if len(points) < 2 or points[-1].h <= 0.0:
        return None
    outer = [(3600.0 * p.h, p.outer_pct) for p in points if isinstance(p, PlanPoint)]
    top = 1.12 * max([plan.target_pct, *(p.mean_p90_pct for p in points), *(pct for _, pct in outer)])
    frame = Frame(from_s=0.0, to_s=3600.0 * points[-1].h, top=max(top, 1e-6))
    target = frame.y(plan.target_pct)
    return Figure(
        mean=line(frame, [(3600.0 * p.h, p.mean_pct) for p in points]),
        band=area(frame, [(3600.0 * p.h, p.mean_p10_pct, p.mean_p90_pct) for p in points]),
        outer=line(frame, outer) if outer else "",
        target_y=share(target),
        target_dy="-5" if target > 0.12 else "14",
        target_words=f"target {plan.target_pct:.2g} %",
        across=_across(points[-1].h),
        up=percents_up(frame.top),
        sentence=_sentence(points),
        head=("After", "water %", "from", "to", *(("outer windings %",) if outer else ())),
        rows=_rows(points),
    )


def _across(hours: float) -> tuple[Tick, ...]:
    step = next((step for step in _STEPS_H if hours / step <= _MOST_MARKS), hours / 4.0)
    return hours_across(hours, step)


def _drawn(plan: Plan) -> Points:
    """As far as the oven runs, and a little on."""
    within = tuple(point for point in plan.curve if point.h <= _BEYOND * plan.run_h)
    return within if len(within) > 1 else plan.curve


def _sentence(points: Points) -> str:
    first, last = points[0], points[-1]
    return (
        f"In {last.h:.1f} h the water of what takes longest goes from {content(first.mean_pct)} to "
        f"{content(last.mean_pct)} % ({content(last.mean_p10_pct)} to {content(last.mean_p90_pct)})."
    )


def _rows(points: Points) -> tuple[tuple[str, ...], ...]:
    every = max(1, -(-len(points) // _ROWS))
    chosen = [*points[:-1:every], points[-1]]
    return tuple(
        (
            f"{point.h:.1f} h",
            *(content(value) for value in (point.mean_pct, point.mean_p10_pct, point.mean_p90_pct)),
            *((content(point.outer_pct),) if isinstance(point, PlanPoint) else ()),
        )
        for point in chosen
    )
