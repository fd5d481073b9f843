"""How far the drying in an oven has got, by the water that is left and not by the clock (D-13)."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.answers import Spread


class Standing(StrEnum):
    DRYING = "drying"
    DRY = "dry"  # every winding under its limit, and another hour would gain less than what is known
    RELEASING = "releasing"  # dry by the estimate, yet the chamber's vapour is above the room's
    FLOOR = "floor"  # over a limit, and this air takes no more out of it (D-12)
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """What is left and what comes of it in the chamber's present air."""

    standing: Standing
    left_g: Spread
    rate_g_h: float
    gain_g: float
    known_g: float
    dry_after_h: Spread
    floor_pct: float  # the highest content that this air leaves in any of them
    is_releasing: bool | None  # by the vapour seen in the chamber; None = not seen
    target_pct: float | None = None  # of its plan, where that is drier than a printing limit inside
    first_m: float | None = None  # the target is for these metres alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """As of a moment; nothing of it is used but to lower or to end heat."""

    cycle: str
    at_s: float  # Unix s
    standing: Standing
    why: str  # one sentence
    left_g: Spread  # water above the printing limits of all inside, or above the plan's drier target
    rate_g_h: float | None = None  # given off now
    gain_g: float | None = None  # by another hour in this air
    known_g: float | None = None  # how closely the water inside is known
    dry_after_h: Spread | None = None  # a member None: not within two days
    is_seen: bool = False  # the chamber's own vapour shows that nothing more comes out
    hold_c: float | None = None  # where it stays dry; None = nowhere cooler, or not dry
    short_by_s: float | None = None  # by which the confirmed time falls short of the middle estimate
    ends_in_time: str = ""  # "yes" | "likely" | "no" | "" where it cannot be told
    said: tuple[str, ...] = ()  # all of this, in sentences
    target_pct: float | None = None  # a plan's drier target, by which it ends; None = the printing limits
    short: str = ""  # the one about a confirmed time that will not do; empty where it will


@dataclass(frozen=True, slots=True, kw_only=True)
class Rewet:
    """When a spool is over its limit in a room's air, from now on [h]; None = not within 90 days."""

    earliest_h: float | None  # one chance in ten by then
    likely_h: float | None
    latest_h: float | None
