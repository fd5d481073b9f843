"""The catalogue's files read into the model, and look-ups by key."""

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TypeVar

import msgspec

from monitor.errors import BadInputError
from monitor.model.catalogue import (
    Band,
    Confidence,
    DesiccantIsotherm,
    DesiccantKind,
    HydrateIsotherm,
    Material,
    OwnFigure,
    PotentialIsotherm,
    PotentialTerm,
    RationalIsotherm,
    Reel,
    Source,
)

UNKNOWN = "unknown"
_Item = TypeVar("_Item")
_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """All that the catalogue holds, by key; `unknown` stands for a material or reel nobody named."""

    materials: Mapping[str, Material]
    desiccants: Mapping[str, DesiccantKind]
    reels: Mapping[str, Reel]
    own: tuple[OwnFigure, ...] = ()  # a site's figures that hold instead of the files'
    left_out: tuple[
        tuple[OwnFigure, str], ...
    ] = ()  # and those that cannot hold any longer, each with the reason

    def material(self, key: str) -> Material:
        return _found("material", self.materials, key)

    def desiccant(self, key: str) -> DesiccantKind:
        return _found("desiccant", self.desiccants, key)

    def reel(self, key: str) -> Reel:
        return _found("reel", self.reels, key)


@cache
def load_library() -> Library:
    """Reads the files that come with this package; a faulty one raises msgspec's error with the path."""
    return Library(
        materials={key: _material(key, row) for key, row in _read("materials", _MaterialRow).items()},
        desiccants={key: _desiccant(key, row) for key, row in _read("desiccants", _DesiccantRow).items()},
        reels={key: _reel(key, row) for key, row in _read("reels", _ReelRow).items()},
    )


def polymer_content(material: Material, relative_humidity: float) -> float:
    """Equilibrium water content at a relative humidity of 0 to 1 [kg/kg]."""
    if not 0.0 <= relative_humidity <= 1.0:
        raise ValueError(f"relative_humidity must lie within 0 to 1, not {relative_humidity}")
    a, curve = relative_humidity, material.isotherm
    return float(curve.scale * a**curve.exponent / (1.0 + a * (curve.linear + a * curve.quadratic)))


def polymer_humidity(material: Material, water_content: float) -> float:
    """The relative humidity with which a water content [kg/kg] is in equilibrium; at most 1."""
    if not 0.0 <= water_content < math.inf:
        raise ValueError(f"water_content must be 0 or above, not {water_content}")
    if water_content >= polymer_content(material, 1.0):
        return 1.0
    curve = material.isotherm
    if curve.exponent != 1.0:
        return float((water_content / curve.scale) ** (1.0 / curve.exponent))
    # The smaller root of quadratic m a^2 + (linear m - scale) a + m = 0, in the form that never cancels.
    b = curve.scale - curve.linear * water_content
    root = math.sqrt(b * b - 4.0 * curve.quadratic * water_content**2)
    return 2.0 * water_content / (b + root)


def limit_relative_humidity(material: Material) -> float:
    """Humidity at which the material settles at its printing limit; drier air keeps it printable."""
    return polymer_humidity(material, material.limit_content)


def _found(what: str, items: Mapping[str, _Item], key: str) -> _Item:
    try:
        return items[key]
    except KeyError:
        near = difflib.get_close_matches(key, items, n=3, cutoff=0.4) or sorted(items)
        raise BadInputError(f"{what} {key!r} is not in the catalogue; near it: {', '.join(near)}") from None


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    confidence: Confidence


class _Spread(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 < self.low <= self.value <= self.high:
            raise ValueError("0 < low <= value <= high must hold")

    def band(self, factor: float = 1.0) -> Band:
        return Band(low=self.low * factor, high=self.high * factor)


class _Form(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form"):
    """One equation of an isotherm, its members as the files explain them."""


class _Henry(_Form, frozen=True, tag="henry"):
    def curve(self, saturated_pct: float) -> RationalIsotherm:
        return RationalIsotherm(scale=saturated_pct / 100.0)


class _Hyper(_Form, frozen=True, tag="hyper"):
    k_pct: float
    b: float

    def curve(self, _saturated_pct: float) -> RationalIsotherm:
        return RationalIsotherm(scale=self.k_pct / 100.0, linear=-self.b)


class _Gab(_Form, frozen=True, tag="gab"):
    m_pct: float
    c: float
    k: float

    def curve(self, _saturated_pct: float) -> RationalIsotherm:
        return _gab(self.m_pct / 100.0, self.c, self.k)


class _DesiccantDa(_Form, frozen=True, tag="DA"):
    q0: float
    e_kj_mol: float
    n: float

    def curve(self) -> PotentialIsotherm:
        return PotentialIsotherm(terms=(_term(self.q0, self.e_kj_mol, self.n),))


class _DesiccantDa12(_Form, frozen=True, tag="DA12"):
    q1: float
    e1_kj_mol: float
    q2: float
    e2_kj_mol: float

    def curve(self) -> PotentialIsotherm:
        return PotentialIsotherm(
            terms=(_term(self.q1, self.e1_kj_mol, 1.0), _term(self.q2, self.e2_kj_mol, 2.0))
        )


class _DesiccantGab(_Form, frozen=True, tag="GAB"):
    m: float
    c: float
    k: float

    def curve(self) -> RationalIsotherm:
        return _gab(self.m, self.c, self.k)


class _DesiccantHydrate(_Form, frozen=True, tag="HYDRATE_CONDE"):
    hydrates: tuple[tuple[float, float], ...]
    brine_from: float
    brine: tuple[float, ...]

    def curve(self) -> HydrateIsotherm:
        return HydrateIsotherm(hydrates=self.hydrates, brine_from=self.brine_from, brine=self.brine)


class _DesiccantConst(_Form, frozen=True, tag="CONST"):
    q0: float

    def curve(self) -> HydrateIsotherm:
        return HydrateIsotherm(hydrates=((0.0, self.q0),))


def _gab(m: float, c: float, k: float) -> RationalIsotherm:
    return RationalIsotherm(scale=m * c * k, linear=(c - 2.0) * k, quadratic=(1.0 - c) * k**2)


def _term(loading: float, energy_kj_mol: float, exponent: float) -> PotentialTerm:
    return PotentialTerm(loading=loading, energy_j_mol=energy_kj_mol * 1000.0, exponent=exponent)


class _SourceRow(msgspec.Struct, frozen=True, forbid_unknown_fields=True, rename={"text": "from"}):
    figures: list[str]
    text: str
    confidence: Confidence


class _MaterialRow(_Row, frozen=True, kw_only=True):
    density_kg_m3: float
    isotherm: _Henry | _Hyper | _Gab
    water_50_pct: _Spread
    water_saturated_pct: _Spread
    diffusivity_m2_s: _Spread
    activation_kj_mol: float
    glass_c: float
    softening_c: float
    dry_c: float
    max_safe_c: float
    dry_h: float
    limit_pct: float
    looser_limit_pct: float | None = None
    ruined_pct: float | None = None
    excess_water: str
    excess_is_permanent: bool
    too_hot: str
    fumes: str
    note: str | None = None
    sources: list[_SourceRow]

    def __post_init__(self) -> None:
        if not self.dry_c < self.max_safe_c < self.softening_c:
            raise ValueError("dry_c < max_safe_c < softening_c must hold")


class _DesiccantRow(_Row, frozen=True, kw_only=True):
    isotherm: _DesiccantDa | _DesiccantDa12 | _DesiccantGab | _DesiccantHydrate | _DesiccantConst
    regenerate_c: float | None = None
    regenerate_least_c: float | None = None
    regenerate_h: float | None = None
    max_safe_c: float | None = None
    oven_refusal: str | None = None
    heat_kj_mol: float
    bulk_density_kg_m3: float
    source: str
    note: str | None = None


class _ReelRow(_Row, frozen=True, kw_only=True):
    softening_c: float
    max_safe_c: float
    water_pct: float
    source: str


_RowType = TypeVar("_RowType", bound=_Row)


def _read(name: str, row_type: type[_RowType]) -> dict[str, _RowType]:
    content = files("monitor").joinpath(f"data/{name}.toml").read_bytes()
    return msgspec.toml.decode(content, type=dict[str, row_type])  # type: ignore[valid-type]


def _material(key: str, row: _MaterialRow) -> Material:
    return Material(
        key=key,
        name=row.name,
        confidence=row.confidence,
        density_kg_m3=row.density_kg_m3,
        isotherm=row.isotherm.curve(row.water_saturated_pct.value),
        content_50=row.water_50_pct.value / 100.0,
        content_50_band=row.water_50_pct.band(0.01),
        content_saturated=row.water_saturated_pct.value / 100.0,
        content_saturated_band=row.water_saturated_pct.band(0.01),
        diffusivity_m2_s=row.diffusivity_m2_s.value,
        diffusivity_band_m2_s=row.diffusivity_m2_s.band(),
        activation_j_mol=row.activation_kj_mol * 1000.0,
        glass_c=row.glass_c,
        softening_c=row.softening_c,
        dry_c=row.dry_c,
        max_safe_c=row.max_safe_c,
        dry_s=row.dry_h * _HOUR_S,
        limit_content=row.limit_pct / 100.0,
        looser_limit_content=None if row.looser_limit_pct is None else row.looser_limit_pct / 100.0,
        ruined_content=None if row.ruined_pct is None else row.ruined_pct / 100.0,
        excess_water=row.excess_water,
        is_excess_permanent=row.excess_is_permanent,
        too_hot=row.too_hot,
        fumes=row.fumes,
        sources={
            figure: Source(text=group.text, confidence=group.confidence)
            for group in row.sources
            for figure in group.figures
        },
        note=row.note,
    )


def _desiccant(key: str, row: _DesiccantRow) -> DesiccantKind:
    curve: DesiccantIsotherm = row.isotherm.curve()
    return DesiccantKind(
        key=key,
        name=row.name,
        confidence=row.confidence,
        isotherm=curve,
        regenerate_c=row.regenerate_c,
        regenerate_least_c=row.regenerate_least_c,
        max_safe_c=row.max_safe_c,
        regenerate_s=None if row.regenerate_h is None else row.regenerate_h * _HOUR_S,
        oven_refusal=row.oven_refusal,
        heat_j_mol=row.heat_kj_mol * 1000.0,
        bulk_density_kg_m3=row.bulk_density_kg_m3,
        source=Source(text=row.source, confidence=row.confidence),
        note=row.note,
    )


def _reel(key: str, row: _ReelRow) -> Reel:
    return Reel(
        key=key,
        name=row.name,
        softening_c=row.softening_c,
        max_safe_c=row.max_safe_c,
        water_content=row.water_pct / 100.0,
        source=Source(text=row.source, confidence=row.confidence),
    )
