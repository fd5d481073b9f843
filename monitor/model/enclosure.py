"""What bags and boxes let through, as the catalogue's file tells it."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.model.catalogue import Band, Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """What a bag is made of; transmission of water vapour into dry air."""

    key: str
    name: str
    published_kg_m2_day: Band  # at 38 °C and 90 %RH
    transmission_kg_m2_day: Band  # at 23 °C and 50 %RH
    activation_j_mol: float
    source: Source
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxClass:
    """How often a kind of box changes its air; `most_per_day` None = open-ended."""

    key: str
    name: str
    least_per_day: float
    most_per_day: float | None
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Enclosures:
    """All that the file holds, by key."""

    films: Mapping[str, Film]
    boxes: Mapping[str, BoxClass]
