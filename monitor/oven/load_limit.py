"""How hot an oven may be with what is inside (B-14); the only place that computes a ceiling."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.cycle import LoadItem
from monitor.oven import hard
from monitor.oven.parameters import OvenParameters


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """The least limit of all, what sets it, and what follows from it."""

    limited_by: str
    limit_c: float
    ceiling_c: float  # the limit less the sensors' error: above it heat is cut at once
    setpoint_c: float  # the hottest set-point: below the ceiling by the overshoot


def allowed(load: Iterable[LoadItem], parameters: OvenParameters) -> Bound:
    """The bound of a load; the chamber itself is one of the limits."""
    limits = [("the oven itself", parameters.max_c)]
    for item in load:
        limits += _limits(item)
    limited_by, limit_c = min(limits, key=lambda limit: limit[1])
    return Bound(
        limited_by=limited_by,
        limit_c=limit_c,
        ceiling_c=limit_c - parameters.sensor_error_c,
        setpoint_c=limit_c - parameters.guard_c,
    )


def _limits(item: LoadItem) -> list[tuple[str, float]]:
    """Those of one item; what is not known counts as the weakest there is."""
    material_c = item.material_limit_c
    found = [
        (item.name, material_c)
        if material_c is not None
        else (f"{item.name} (material not known)", hard.UNKNOWN_MATERIAL_C)
    ]
    if item.body_limit_c is not None:
        found.append((f"the reel of {item.name}", item.body_limit_c))
    elif item.is_body_needed:
        found.append((f"the reel of {item.name} (not known)", hard.UNKNOWN_BODY_C))
    return found
