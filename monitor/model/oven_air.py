"""The air in an oven's chamber as its own controller told it, thinned to what a record and a spool need."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenAir:
    """The first state of its minute; while the chamber is cold, of its five minutes."""

    oven: str
    minute: int  # Unix minutes, the beginning of its span
    temperature_c: float  # mean of the sensors that gave something
    humidity_pct: float | None
    heater: float  # 0 to 1 of full power

    @property
    def at_s(self) -> float:
        return 60.0 * self.minute
