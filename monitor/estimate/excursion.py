"""Times over a limit, in a row of means with gaps. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.model.report import Excursion, Gap


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """One span of a place's humidity; None where nothing covers it."""

    from_s: float
    seconds: float
    place: str
    humidity_pct: float | None
    lowest_pct: float | None = None
    highest_pct: float | None = None


def excursions(means: Sequence[Mean], limit_pct: float) -> tuple[Excursion, ...]:
    """Every time over the limit, oldest first.

    Args:
        means: By time, without holes: a gap is a mean without humidity.
        limit_pct: [%RH].

    A gap between two means over the limit ends nothing, and counts for nothing: it is no evidence of either.
    """
    found: list[Excursion] = []
    inside: list[Mean] = []
    for mean in means:
        if mean.humidity_pct is None:
            continue
        is_over = mean.humidity_pct > limit_pct
        if inside and not (is_over and inside[-1].place == mean.place):
            found.append(_excursion(inside, limit_pct, is_under_way=False))
            inside = []
        if is_over:
            inside.append(mean)
    if inside:
        found.append(_excursion(inside, limit_pct, is_under_way=True))
    return tuple(found)


def gaps(means: Sequence[Mean], least_s: float) -> tuple[Gap, ...]:
    """Times without a reading of at least so long (A-36)."""
    found: list[Gap] = []
    for mean in means:
        if mean.humidity_pct is not None:
            continue
        last = found[-1] if found else None
        if last is not None and last.to_s == mean.from_s and last.place == mean.place:
            found[-1] = Gap(from_s=last.from_s, to_s=mean.from_s + mean.seconds, place=mean.place)
        else:
            found.append(Gap(from_s=mean.from_s, to_s=mean.from_s + mean.seconds, place=mean.place))
    return tuple(gap for gap in found if gap.to_s - gap.from_s >= least_s)


def _excursion(inside: Sequence[Mean], limit_pct: float, *, is_under_way: bool) -> Excursion:
    measured_s = sum(mean.seconds for mean in inside)
    weighted = sum((mean.humidity_pct or 0.0) * mean.seconds for mean in inside)
    return Excursion(
        from_s=inside[0].from_s,
        to_s=inside[-1].from_s + inside[-1].seconds,
        place=inside[0].place,
        measured_s=measured_s,
        mean_pct=weighted / measured_s,
        highest_pct=max(mean.highest_pct or mean.humidity_pct or 0.0 for mean in inside),
        area_pct_h=(weighted - limit_pct * measured_s) / 3_600.0,
        is_under_way=is_under_way,
    )
