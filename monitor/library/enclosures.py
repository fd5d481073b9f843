"""The catalogue's file of bags and boxes read into the model."""

from functools import cache
from importlib.resources import files

import msgspec

from monitor.model.catalogue import Band, Confidence, Source
from monitor.model.enclosure import BoxClass, Enclosures, Film

_KG_PER_G = 0.001


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    confidence: Confidence
    source: str

    def cited(self) -> Source:
        return Source(text=self.source, confidence=self.confidence)


class _FilmRow(_Row, frozen=True, kw_only=True):
    g_m2_day_38c90: tuple[float, float]
    g_m2_day_23c50: tuple[float, float]
    activation_kj_mol: float
    note: str | None = None

    def __post_init__(self) -> None:
        for low, high in (self.g_m2_day_38c90, self.g_m2_day_23c50):
            if not 0.0 < low <= high:
                raise ValueError("0 < lowest <= highest must hold")
        if self.g_m2_day_23c50[1] >= self.g_m2_day_38c90[1]:
            raise ValueError("less passes at 23 °C and 50 %RH than at 38 °C and 90 %RH")


class _BoxRow(_Row, frozen=True, kw_only=True):
    changes_per_day: list[float]

    def __post_init__(self) -> None:
        changes = self.changes_per_day
        if len(changes) not in (1, 2) or not 0.0 <= changes[0] <= changes[-1]:
            raise ValueError("changes_per_day is [lowest] or [lowest, highest] with 0 <= lowest <= highest")


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    films: dict[str, _FilmRow]
    boxes: dict[str, _BoxRow]


@cache
def load_enclosures() -> Enclosures:
    """Reads the file that comes with this package; a faulty one raises msgspec's error with the path."""
    return parse_enclosures(files("monitor").joinpath("data/enclosures.toml").read_bytes())


def parse_enclosures(content: bytes) -> Enclosures:
    """The file's content; msgspec.ValidationError names what is wrong."""
    parsed = msgspec.toml.decode(content, type=_File)
    return Enclosures(
        films={key: _film(key, row) for key, row in parsed.films.items()},
        boxes={key: _box(key, row) for key, row in parsed.boxes.items()},
    )


def _film(key: str, row: _FilmRow) -> Film:
    return Film(
        key=key,
        name=row.name,
        published_kg_m2_day=_band(row.g_m2_day_38c90),
        transmission_kg_m2_day=_band(row.g_m2_day_23c50),
        activation_j_mol=1000.0 * row.activation_kj_mol,
        source=row.cited(),
        note=row.note,
    )


def _band(pair: tuple[float, float]) -> Band:
    return Band(low=_KG_PER_G * pair[0], high=_KG_PER_G * pair[1])


def _box(key: str, row: _BoxRow) -> BoxClass:
    changes = row.changes_per_day
    return BoxClass(
        key=key,
        name=row.name,
        least_per_day=changes[0],
        most_per_day=changes[1] if len(changes) == 2 else None,
        source=row.cited(),
    )
