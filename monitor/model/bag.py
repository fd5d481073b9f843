"""A bag without a sensor: what is asked of it, and its answer as pages and programs get it."""

from dataclasses import dataclass
from enum import StrEnum


class BagAir(StrEnum):
    """Where the air round a bag comes from."""

    STEADY = "steady"  # the figures that were asked with
    NOW = "now"  # a room's newest reading
    MONTH = "month"  # the mean of a room's last 30 days


class Closure(StrEnum):
    WELDED = "welded"  # by heat, a seam as tight as the film
    ZIP = "zip"  # pressed shut


class ChargeState(StrEnum):
    """How full the desiccant is when the bag is shut."""

    FRESH = "fresh"  # from the oven or from a shut tin
    LOADED = "loaded"  # a percentage of water that somebody weighed


class Contents(StrEnum):
    """How wet what lies in the bag is."""

    DRIED = "dried"  # gives off nothing that counts
    ROOM = "room"  # as long in this air as it takes


class Leaked(StrEnum):
    LIKELY = "likely"  # more than the film and the contents can bring
    UNLIKELY = "unlikely"  # and an open seam would show by now
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class CardReading:
    """Spots of a card [%RH]: the highest that has turned, the lowest that has not; None = there is none."""

    turned_pct: float | None
    unturned_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BagWish:
    """What somebody asks."""

    film: str
    width_cm: float
    length_cm: float
    desiccant: str
    dry_g: float
    material: str
    air: BagAir
    room: str | None = None
    humidity_pct: float | None = None
    temperature_c: float | None = None
    closure: Closure = Closure.WELDED
    air_l: float = 0.5  # left in the bag when it is shut
    state: ChargeState = ChargeState.FRESH
    loading_pct: float | None = None
    contents: Contents = Contents.DRIED
    net_g: float = 1000.0
    openings_week: float = 0.0
    sealed_days: float = 0.0  # since it was shut
    first_card: CardReading | None = None  # when it was shut
    card: CardReading | None = None  # now


@dataclass(frozen=True, slots=True, kw_only=True)
class CardAnswer:
    """What a reading says of the bag."""

    low_pct: float
    high_pct: float
    most_explained_pct: float  # that film, openings and contents can have brought by now
    open_seam_pct: float  # that a seam standing open would show by now at the least
    leaked: Leaked
    leaked_why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BagAnswer:
    """The answer; days count from when the bag was shut, and end at 730, which then means "or more"."""

    limit_humidity_pct: float
    room_humidity_pct: float
    temperature_c: float
    needs_desiccant: bool  # False: the contents stay printable in this air without any
    days_worst: float | None  # None where none is needed
    days_usual: float | None
    film_g_day_worst: float  # film and zip together, into a dry bag
    film_g_day_usual: float
    opening_g_worst: float
    contents_g: float
    capacity_g_worst: (
        float  # of this charge, from how it was put in up to the limit; contents take of it, too
    )
    capacity_g_usual: float
    grams_6_months: float | None  # of this kind in this state, at the worst; None: no amount does it
    grams_12_months: float | None
    check_by: str | None  # a date of the site: the worst case is over
    renew_by: str | None  # a date of the site: so is the usual one
    card: CardAnswer | None
    cautions: tuple[str, ...]
    days_worst_why: str | None = None
    days_usual_why: str | None = None
    grams_6_months_why: str | None = None
    grams_12_months_why: str | None = None
    check_by_why: str | None = None
    renew_by_why: str | None = None
