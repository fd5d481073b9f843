"""What the trade knows of materials, desiccants and reels, as the catalogue's files tell it."""

from dataclasses import dataclass, field
from enum import StrEnum


class Confidence(StrEnum):
    """How far a figure may be trusted: low ones serve for ordering and defaults, never as a promise."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a figure comes from."""

    text: str
    confidence: Confidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Lowest and highest figure that the literature gives."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RationalIsotherm:
    """Water over relative humidity a: scale a^exponent / (1 + linear a + quadratic a^2), whatever the warmth.

    `henry` has scale alone; `hyper` k, b has scale = k and linear = -b; `gab` m, C, K has scale = m C K,
    linear = (C - 2) K and quadratic = (1 - C) K^2.
    """

    scale: float  # [kg/kg]
    exponent: float = 1.0  # other than 1 only where linear and quadratic are 0: the inverse stays closed
    linear: float = 0.0
    quadratic: float = 0.0

    def __post_init__(self) -> None:
        if self.scale <= 0.0 or self.exponent <= 0.0:
            raise ValueError("an isotherm's scale and exponent are above 0")
        if self.exponent != 1.0 and (self.linear or self.quadratic):
            raise ValueError("an isotherm's exponent is 1 where linear or quadratic is not 0")
        # With these the denominator stays above 0 and the curve rises all the way to saturated air.
        if not (self.quadratic < 1.0 and 1.0 + self.linear + min(self.quadratic, 0.0) > 0.0):
            raise ValueError("an isotherm rises all the way from dry to saturated air")


@dataclass(frozen=True, slots=True, kw_only=True)
class PotentialTerm:
    """loading [kg/kg] * exp(-(A / energy)^exponent), A = R T ln(1 / relative humidity)."""

    loading: float
    energy_j_mol: float
    exponent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PotentialIsotherm:
    """Sum of terms in the adsorption potential, through which alone temperature enters (Dubinin-Astakhov)."""

    terms: tuple[PotentialTerm, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HydrateIsotherm:
    """Steps from hydrate to hydrate, and above `brine_from` a solution (Conde 2004)."""

    hydrates: tuple[tuple[float, float], ...]  # (humidity from which on, loading [kg/kg]); the first at 0
    brine_from: float | None = None  # relative humidity; None = never dissolves
    brine: tuple[float, ...] = ()  # constants k0 to k9 of the equation of the solution


DesiccantIsotherm = RationalIsotherm | PotentialIsotherm | HydrateIsotherm


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """One filament polymer. Contents are kg of water per kg of dry polymer at 23 °C."""

    key: str
    name: str
    confidence: Confidence
    density_kg_m3: float
    isotherm: RationalIsotherm
    content_50: float  # at 50 %RH
    content_50_band: Band
    content_saturated: float
    content_saturated_band: Band
    diffusivity_m2_s: float  # at 23 °C
    diffusivity_band_m2_s: Band
    activation_j_mol: float
    glass_c: float
    softening_c: float
    dry_c: float  # the usual drying temperature
    max_safe_c: float  # of the polymer alone; reel and oven have their own
    dry_s: float
    limit_content: float  # above it printing suffers: the moulder's figure
    looser_limit_content: float | None  # below it prints look right; None = no figure known
    excess_water: str  # what printing above the limit does
    is_excess_permanent: bool  # the polymer itself is damaged: drying the part mends nothing
    sources: dict[str, Source] = field(default_factory=dict)  # by member of this class
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DesiccantKind:
    """One kind of desiccant. Loadings are kg of water per kg of dry desiccant."""

    key: str
    name: str
    confidence: Confidence
    isotherm: DesiccantIsotherm
    regenerate_c: float | None  # the usual temperature; None = not regenerated
    regenerate_least_c: float | None  # below it a cycle is in vain
    max_safe_c: float | None  # destroys it or its dye
    regenerate_s: float | None  # in a layer of at most 2 cm
    oven_refusal: str | None  # why it must not go into an oven at all; None = it may
    heat_j_mol: float
    bulk_density_kg_m3: float
    source: Source
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reel:
    """What filament is wound on."""

    key: str
    name: str
    softening_c: float
    max_safe_c: float
    water_content: float  # kg of water per kg of reel at 23 °C, 50 %RH
    source: Source
