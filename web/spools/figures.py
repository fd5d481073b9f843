"""Two pictures of a spool, drawn on the server: its winding by depth, and its water over time."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.model.answers import ProfilePoint, SpoolAnswer
from web.axes import SIDE, Tick, percents_up, share, steps
from web.inside import content
from web.spools.words import metres, percent

_LEAST_TOP = 1.15  # headroom over whatever stands highest


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """One layer of the winding, shaded by its water: `level` 0 (dry) to 4 (far over)."""

    x: str
    width: str
    level: str
    is_over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """Water over depth; positions in percent of the picture."""

    line: str
    rings: tuple[Ring, ...]
    limit_y: str
    limit_words: str
    limit_dy: str
    looser_y: str | None
    looser_words: str
    end_x: str | None  # where the dry length ends
    end_words: str
    end_anchor: str
    up: tuple[Tick, ...]
    across: tuple[Tick, ...]
    sentence: str
    rows: tuple[tuple[str, str], ...]  # depth, water


def winding(spool: SpoolAnswer) -> Winding | None:
    """None where no profile is known."""
    points, limit = spool.profile, spool.limit_pct
    if len(points) < 2 or not limit:
        return None
    depth_m = points[-1].depth_m + (points[-1].depth_m - points[-2].depth_m) / 2.0
    highest = max(point.moisture_pct for point in points)
    looser = spool.looser_limit_pct
    is_near = looser is not None and looser < 2.5 * max(highest, limit)
    top = _LEAST_TOP * max(highest, limit, looser if looser is not None and is_near else 0.0)
    limit_y = 1.0 - limit / top
    end = _crossing(points, limit) if _ends_within(spool) else None
    drawn = [(0.0, points[0].moisture_pct), *((p.depth_m, p.moisture_pct) for p in points)]
    drawn.append((depth_m, points[-1].moisture_pct))
    return Winding(
        line=" ".join(f"{SIDE * x / depth_m:.1f},{SIDE * (1.0 - y / top):.1f}" for x, y in drawn),
        rings=_rings(points, depth_m, limit),
        limit_y=share(limit_y),
        limit_words=f"limit {percent(limit)}",
        limit_dy="-5" if limit_y > 0.12 else "14",
        looser_y=share(1.0 - looser / top) if looser is not None and is_near else None,
        looser_words="" if looser is None else f"looks right below {percent(looser)}",
        end_x=None if end is None else share(end / depth_m),
        end_words="" if end is None else f"{spool.dry_length_m.p50:g} m",
        end_anchor="start" if end is not None and end < 0.5 * depth_m else "end",
        up=percents_up(top),
        across=_depths(depth_m),
        sentence=_winding_words(spool),
        rows=tuple((f"{1000.0 * p.depth_m:.1f}", content(p.moisture_pct)) for p in points),
    )


def _ends_within(spool: SpoolAnswer) -> bool:
    dry, length = spool.dry_length_m.p50, spool.length_m
    return dry is not None and length is not None and 0.0 < dry < length


def _crossing(points: Sequence[ProfilePoint], limit: float) -> float | None:
    """Depth at which the profile first passes the limit [m]."""
    for near, far in zip(points, points[1:], strict=False):
        if near.moisture_pct <= limit < far.moisture_pct:
            part = (limit - near.moisture_pct) / (far.moisture_pct - near.moisture_pct)
            return near.depth_m + part * (far.depth_m - near.depth_m)
    return None


def _rings(points: Sequence[ProfilePoint], depth_m: float, limit: float) -> tuple[Ring, ...]:
    middles = [(a.depth_m + b.depth_m) / 2.0 for a, b in zip(points, points[1:], strict=False)]
    edges = [0.0, *middles, depth_m]
    return tuple(
        Ring(
            x=share(left / depth_m),
            width=share((right - left) / depth_m),
            level=_level(point, limit),
            is_over=point.moisture_pct > limit,
        )
        for point, left, right in zip(points, edges, edges[1:], strict=False)
    )


def _level(point: ProfilePoint, limit: float) -> str:
    times = point.moisture_pct / limit
    return str(sum(times > bound for bound in (0.5, 1.0, 2.0, 4.0)))


def _winding_words(spool: SpoolAnswer) -> str:
    surface, hub = spool.profile[0].moisture_pct, spool.profile[-1].moisture_pct
    ends = f"{percent(surface)} of water at the surface, {percent(hub)} at the hub."
    dry, length = spool.dry_length_m, spool.length_m
    if dry.p50 is None or length is None:
        return ends
    if dry.p50 >= length:
        return f"{ends} All of its {length:g} m are under the limit."
    if dry.p50 <= 0.0:
        return f"{ends} No part of its {length:g} m is under the limit."
    return f"{ends} Of its {length:g} m the outer {metres(dry)} are under the limit."


def _depths(depth_m: float) -> tuple[Tick, ...]:
    inner = [mm for mm in steps(1000.0 * depth_m) if 0.0 < mm < 880.0 * depth_m]
    return (
        Tick(at="0.00", words="surface", anchor="start"),
        *(
            Tick(at=share(mm / 1000.0 / depth_m), words=f"{mm:g} mm", anchor="middle")
            for mm in inner
            if mm > 160.0 * depth_m
        ),
        Tick(at="100.00", words="hub", anchor="end"),
    )
