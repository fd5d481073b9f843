"""Saturated salts: what keeps the air over it at a known humidity."""

from dataclasses import dataclass

from monitor.model.catalogue import Confidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """A salt as a wet slush; humidities in %RH, the unit of the published tables and of readings."""

    key: str
    name: str
    formula: str
    points: tuple[tuple[float, float], ...]  # (temperature [degC], humidity [%RH]), by temperature
    uncertainty_pct: float  # of the humidity, 95 %
    is_offered: bool  # False: known, but not fit for a workshop
    handling: tuple[str, ...]  # sentences
    source: str
    uncertainty_source: str
    confidence: Confidence

    @property
    def range_c(self) -> tuple[float, float]:
        """Temperatures for which its humidity is published."""
        return self.points[0][0], self.points[-1][0]
