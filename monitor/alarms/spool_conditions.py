"""What may be wrong with a spool where it lies."""

from collections.abc import Iterable
from dataclasses import replace

from monitor.alarms import wording
from monitor.alarms.box_conditions import OLD
from monitor.model.answers import AirAnswer, BoxAnswer, Freshness, SpoolAnswer, seconds_of
from monitor.model.condition import Condition

REWET_H = 12.0  # a working day and the way home: sooner than that somebody must act


def rewetting(spools: Iterable[SpoolAnswer], boxes: Iterable[BoxAnswer], now_s: float) -> list[Condition]:
    """Of every spool, whether it is about to become too wet where it is (P20, D-14)."""
    measured = {box.key: box.air for box in boxes if box.air.freshness is not Freshness.NEVER}
    return [_rewet(spool, measured.get(spool.place or ""), now_s) for spool in spools]


def _rewet(spool: SpoolAnswer, box: AirAnswer | None, now_s: float) -> Condition:
    """Of what lies in a measured box the box's own alarms tell, with the deadline of this very spool."""
    if box is not None:
        return Condition(type="spool_rewet", place=spool.key, holds=None if box.freshness in OLD else False)
    if spool.use_before is None:
        return _perhaps_over(spool)
    deadline_s = seconds_of(spool.use_before)
    hours = (deadline_s - now_s) / 3600.0
    what, act = wording.rewet_soon(spool.name, max(hours, 0.0), None)
    return Condition(
        type="spool_rewet",
        place=spool.key,
        holds=hours <= REWET_H,
        value=hours,
        limit=REWET_H,
        deadline_s=deadline_s,
        what=what,
        act=act,
    )


def _perhaps_over(spool: SpoolAnswer) -> Condition:
    """No time is left to tell: it stays dry where it is, or it may be over its limit already.

    As long as it is likelier dry than not somebody can still save it; once it is not, nothing is left to do
    but what its verdict says.
    """
    condition = Condition(type="spool_rewet", place=spool.key, holds=False)
    if spool.use_before_why is None or spool.trend in ("pause", "recover", "sealed"):
        return condition
    middle, limit = spool.outer_pct.p50, spool.limit_pct
    if middle is None or limit is None:
        return replace(condition, holds=None)
    if middle > limit or spool.verdict == "damaged":
        return condition
    what, act = wording.rewet_now(spool.name)
    return replace(condition, holds=True, what=what, act=act)
