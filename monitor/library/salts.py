"""The table of saturated salts read into the model."""

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from itertools import pairwise

import msgspec

from monitor.errors import BadInputError
from monitor.model.catalogue import Confidence
from monitor.model.salt import Salt


class _SaltRow(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    formula: str
    confidence: Confidence
    source: str
    uncertainty_pct: float
    uncertainty_source: str
    is_offered: bool
    temperatures_c: list[float]
    humidity_pct: list[float]
    handling: list[str]

    def __post_init__(self) -> None:
        if len(self.temperatures_c) != len(self.humidity_pct) or len(self.temperatures_c) < 2:
            raise ValueError("temperatures_c and humidity_pct must be as long as each other, 2 or more")
        if not all(before < after for before, after in pairwise(self.temperatures_c)):
            raise ValueError("temperatures_c must rise")
        if not all(0.0 < humidity < 100.0 for humidity in self.humidity_pct) or self.uncertainty_pct <= 0.0:
            raise ValueError("humidity_pct must lie within 0 to 100, uncertainty_pct above 0")


@cache
def load_salts() -> Mapping[str, Salt]:
    """By key, driest first; reads the file that comes with this package."""
    content = files("monitor").joinpath("data/salt_points.toml").read_bytes()
    rows = msgspec.toml.decode(content, type=dict[str, _SaltRow])
    found = [_salt(key, row) for key, row in rows.items()]
    return {salt.key: salt for salt in sorted(found, key=lambda salt: salt.points[0][1])}


def salt_of(key: str) -> Salt:
    """BadInputError names those that there are."""
    salts = load_salts()
    if key not in salts:
        raise BadInputError(f"salt {key[:40]!r} is unknown; one of: {', '.join(salts)}")
    return salts[key]


def _salt(key: str, row: _SaltRow) -> Salt:
    return Salt(
        key=key,
        name=row.name,
        formula=row.formula,
        points=tuple(zip(row.temperatures_c, row.humidity_pct, strict=True)),
        uncertainty_pct=row.uncertainty_pct,
        is_offered=row.is_offered,
        handling=tuple(row.handling),
        source=row.source,
        uncertainty_source=row.uncertainty_source,
        confidence=row.confidence,
    )
