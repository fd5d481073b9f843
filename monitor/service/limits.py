"""What the catalogue says about humidity limits, looked up once per material."""

from collections.abc import Iterable, Mapping

from monitor.library import limit_relative_humidity
from monitor.model.catalogue import Material
from monitor.model.inventory import Spool


class Limits:
    """Printing limits of materials; an unknown material counts as the most demanding one."""

    def __init__(self, materials: Mapping[str, Material]) -> None:
        self.names = {key: material.short_name for key, material in materials.items()}
        self._limit_pct = {key: 100.0 * material.limit_content for key, material in materials.items()}
        self._humidity_pct = {
            key: 100.0 * limit_relative_humidity(material) for key, material in materials.items()
        }
        self._strictest = min(self._humidity_pct, key=lambda key: self._humidity_pct[key])

    def moisture_pct(self, material: str) -> float:
        """Water [% by mass] above which prints of this material suffer."""
        return self._limit_pct.get(material, min(self._limit_pct.values()))

    def humidity_pct(self, spools: Iterable[Spool]) -> tuple[float, str] | None:
        """Humidity [%RH] at which the most demanding material settles at its limit, and its key."""
        found = [
            (self._humidity_pct.get(spool.material, self._humidity_pct[self._strictest]), spool.material)
            for spool in spools
        ]
        return min(found) if found else None
