"""A drying plan: what is asked for, and the answer or its refusal; member names are the contract's."""

from dataclasses import dataclass

from monitor.model.answers import Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAir:
    """The air that the oven draws in."""

    temperature_c: float
    humidity_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """How dry it has to become: on average, or all of the metres that come first."""

    target_pct: float | None = None  # None = each material's own printing limit
    first_m: float | None = None  # None = the mean of all that is wound


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """Unix seconds."""

    now_s: float
    ready_by_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Regeneration:
    """Desiccant to be regenerated."""

    dry_g: float
    loading_pct: float | None = None  # g of water per 100 g dry; None = not known


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitedBy:
    """What one thing in the oven, or the oven itself, stands."""

    item: str
    limit_c: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why there is no plan."""

    title: str
    detail: str
    limiting_item: str | None = None
    limit_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """The answer to a wish that cannot be granted."""

    refused: Refusal


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPoint:
    """The spool that takes longest, some time after its start; the band is the 10th to 90th percentile."""

    h: float
    mean_pct: float
    outer_pct: float
    inner_pct: float
    mean_p10_pct: float
    mean_p90_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadingPoint:
    """A charge of desiccant some time after its start."""

    h: float
    mean_pct: float
    mean_p10_pct: float
    mean_p90_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolPlan:
    """One spool of the load: when it is done, and how far it gets."""

    key: str
    name: str
    material: str
    start_pct: Spread
    target_pct: float
    floor_pct: float
    reaches_target: bool
    leads_to_pct: float  # what `duration_h` leads to: the target, or what comes nearest to it
    duration_h: Spread
    water_g: Spread  # to be driven out until then
    rewet_h: Spread  # in the room's air, from the end on, until its outer windings are over the limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """After the end: cooler, and still dry."""

    temperature_c: float | None
    why: str
    temperature_c_why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FallBack:
    """Another way to the same target."""

    temperature_c: float
    duration_h: Spread
    start_at: str
    finish_at: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The answer."""

    temperature_c: float
    limited_by: LimitedBy
    guard_c: float
    duration_h: Spread
    floor_pct: float
    reaches_target: bool
    target_pct: float
    start_at: str
    finish_at: str  # cooled down, by the 90th percentile
    energy_wh: float | None
    curve: tuple[PlanPoint | LoadingPoint, ...]
    cautions: tuple[str, ...]
    # What follows is more than the contract asks for.
    temperature_why: str
    run_h: float  # finite, as an oven must be told: the 90th percentile where there is one
    cool_h: float
    chamber_humidity_pct: float
    is_in_time: bool | None  # None = nobody said when it has to be ready
    hold: Hold
    energy_basis: str
    energy_wh_why: str | None = None
    reaches_target_why: str | None = None
    spools: tuple[SpoolPlan, ...] = ()
    fall_backs: tuple[FallBack, ...] = ()
