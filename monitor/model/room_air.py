"""Advice on a room's air: what is asked, and its answer as pages and programs get it."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.answers import Spread


class Airing(StrEnum):
    """What letting outside air in does."""

    DRIER = "drier"
    SAME = "same"  # no more than the two readings can be wrong
    DAMPER = "damper"
    DEW = "dew"  # it is so moist that it wets what is as cool as the room


class Basis(StrEnum):
    """What the room's usual air is taken from."""

    PAST = "past"  # the mean of the last 14 days
    NOW = "now"  # the newest reading
    ASSUMED = "assumed"  # nothing was measured


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomWish:
    """What somebody asks of a room besides how it is; None = not asked."""

    outside_c: float | None = None
    outside_pct: float | None = None
    target_pct: float | None = None
    target_hours: float = 24.0  # of each day


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualAir:
    """The air that the room's advice reckons with."""

    basis: Basis
    temperature_c: float
    humidity_pct: float
    vapour_g_m3: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HourAnswer:
    """One hour of the site's local day, over the last 14 days."""

    hour: int
    days: int  # on which it was measured
    vapour_g_m3: Spread
    opening_g: float  # let in by one opening of a box of usual volume


@dataclass(frozen=True, slots=True, kw_only=True)
class DayAnswer:
    """When in the day a box is best opened."""

    days: int
    hours: tuple[HourAnswer, ...]
    driest: HourAnswer
    dampest: HourAnswer
    swing_g_m3: float  # of the part that comes again each day; next to 0 where there is none
    worth_waiting: bool
    box_volume_l: float
    volume_is_assumed: bool
    charge_g: float | None  # of desiccant that a box here usually holds
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthAnswer:
    month: str  # "2026-07", by days in UTC
    days: int
    vapour_g_m3: float
    dew_point_c: float | None
    humidity_pct: float
    temperature_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonAnswer:
    months: tuple[MonthAnswer, ...]
    driest: MonthAnswer
    dampest: MonthAnswer
    ratio: float  # of the vapour of these two
    is_whole_year: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AiringAnswer:
    """Outside air come to the room's temperature."""

    outside_c: float
    outside_pct: float
    inside_pct: float  # at the room's temperature; 100 where it wets
    vapour_g_m3: float
    dew_point_c: float | None
    room_pct: float
    verdict: Airing
    least_change_pct: float  # below it the readings cannot tell
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureBox:
    """What a drier room does to one box; None where it cannot be told."""

    key: str
    name: str
    leak_share: float | None  # of what comes in now
    leak_g_day: float | None
    leak_then_g_day: float | None
    leak_share_why: str | None = None
    leak_g_day_why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureAnswer:
    target_pct: float
    target_hours: float
    vapour_g_m3: float  # in the mean over the day
    leak_share: float  # into a dry box
    boxes: tuple[MeasureBox, ...]
    advice: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAdvice:
    """The whole answer."""

    key: str
    name: str
    at: str
    usual: UsualAir
    warmed_c: float
    warmed_pct: float  # the same air warmed so far: no water gone
    cool_c: float  # an example of cool air, and what it becomes when it is warmed
    cool_pct: float
    cool_carried_c: float
    cool_carried_pct: float
    day: DayAnswer | None
    season: SeasonAnswer | None
    airing: AiringAnswer | None
    measure: MeasureAnswer | None
    missing: tuple[str, ...]
    day_why: str | None = None
    season_why: str | None = None
    airing_why: str | None = None
    measure_why: str | None = None
