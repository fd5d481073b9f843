"""What the trade knows of materials, desiccants and reels, as the catalogue's files tell it."""

from collections.abc import Mapping
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
# Drier than this no usual charge keeps a box for weeks [0 to 1].
KEPT_HUMIDITY = 0.10


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
    ruined_content: float | None = None  # from here on its windings grow together: beyond saving
    too_hot: str  # what more heat than `max_safe_c` does to it
    fumes: str  # what it gives off when warm
    sources: dict[str, Source] = field(default_factory=dict)  # by the figure's name in the files
    note: str | None = None

    @property
    def short_name(self) -> str:
        """'PETG', where the name is 'PETG (glycol-modified PET)'."""
        return self.name.partition(" (")[0].partition(",")[0]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureKind:
    """One figure of a material that a site may set to its own value, as the files write it."""

    member: str  # of Material
    words: str
    unit: str
    lowest: float  # in that unit
    highest: float
    times: float = 1.0  # from that unit to the member's


# By their names in the files; the ranges are those of any polymer that is wound as filament.
FIGURES: Mapping[str, FigureKind] = {
    "water_50_pct": FigureKind(
        member="content_50", words="Water at 50 %RH", unit="%", lowest=0.001, highest=30.0, times=0.01
    ),
    "water_saturated_pct": FigureKind(
        member="content_saturated",
        words="Water when saturated",
        unit="%",
        lowest=0.002,
        highest=60.0,
        times=0.01,
    ),
    "diffusivity_m2_s": FigureKind(
        member="diffusivity_m2_s",
        words="Diffusivity of water at 23 °C",
        unit="m2/s",
        lowest=1e-15,
        highest=1e-9,
    ),
    "activation_kj_mol": FigureKind(
        member="activation_j_mol",
        words="Activation energy of that",
        unit="kJ/mol",
        lowest=10.0,
        highest=120.0,
        times=1000.0,
    ),
    "limit_pct": FigureKind(
        member="limit_content", words="Printing limit", unit="%", lowest=0.001, highest=20.0, times=0.01
    ),
    "looser_limit_pct": FigureKind(
        member="looser_limit_content", words="Looser limit", unit="%", lowest=0.001, highest=30.0, times=0.01
    ),
    "dry_c": FigureKind(member="dry_c", words="Drying temperature", unit="°C", lowest=25.0, highest=200.0),
    "max_safe_c": FigureKind(
        member="max_safe_c", words="Highest safe temperature", unit="°C", lowest=30.0, highest=250.0
    ),
    "dry_h": FigureKind(
        member="dry_s", words="Drying time", unit="h", lowest=0.5, highest=100.0, times=3600.0
    ),
    "glass_c": FigureKind(
        member="glass_c", words="Glass transition", unit="°C", lowest=-150.0, highest=300.0
    ),
    "softening_c": FigureKind(
        member="softening_c", words="Softens at", unit="°C", lowest=35.0, highest=300.0
    ),
    "density_kg_m3": FigureKind(
        member="density_kg_m3", words="Density", unit="kg/m3", lowest=500.0, highest=3000.0
    ),
}


def figure_value(material: Material, name: str) -> float | None:
    """A figure as the files write it, in the unit of `FIGURES`; None where the catalogue has none."""
    kind = FIGURES[name]
    value: float | None = getattr(material, kind.member)
    return None if value is None else value / kind.times


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnFigure:
    """A site's own value for one figure of one material, with who set it and why."""

    material: str
    figure: str  # its name in `FIGURES`
    value: float | None  # in the unit of `FIGURES`; None = the catalogue's figure holds again
    who: str
    why: str
    at_s: float | None  # when it was set on a page; None = it stands in the settings
