"""Moulded plates, discs and pellets of the measured curves: their modes, and what the catalogue predicts."""

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.special import jn_zeros

from monitor.library import load_library, polymer_content
from monitor.physics.diffusion import diffusivity_m2_s

_FILE = Path(__file__).parents[1] / "data" / "validation_curves.csv"
_TERMS = 400
# Radius of the discs of ISO 62; a pellet's length is about its diameter, between 2.5 and 3 mm.
_DISC_M, _PELLET_M = 0.025, 0.00275


@dataclass(frozen=True, kw_only=True)
class Point:
    """One measured point and two predictions of it, all in per cent."""

    curve: str
    material: str
    time_h: float
    measured: float
    predicted: float  # from the catalogue alone
    scaled: float | None  # the same course, but to the saturation that this very grade was measured to have

    @property
    def error(self) -> float:
        return self.predicted / self.measured - 1.0

    @property
    def scaled_error(self) -> float | None:
        return None if self.scaled is None else self.scaled / self.measured - 1.0


def points() -> list[Point]:
    """All measured points but the starts."""
    rows = list(csv.DictReader(_FILE.read_text().splitlines()))
    saturations = {row["curve_id"]: float(row["moisture_pct"]) for row in rows if row["time_h"] == "inf"}
    return [_point(row, saturations.get(row["curve_id"])) for row in rows if row["time_h"] != "0"]


def _point(row: dict[str, str], saturation: float | None) -> Point:
    material = load_library().material(row["material"])
    time_h, start = float(row["time_h"]), float(row["initial_pct"])
    end = 100.0 * polymer_content(material, float(row["rh_pct"]) / 100.0)
    d = diffusivity_m2_s(material.diffusivity_m2_s, material.activation_j_mol, float(row["temperature_c"]))
    share = 1.0
    if math.isfinite(time_h) and row["diameter_or_thickness_mm"] or row["curve_id"] == "abs_pellet_dry":
        share = 1.0 - _residual(row, float(d) * time_h * 3600.0)
    return Point(
        curve=row["curve_id"],
        material=row["material"],
        time_h=time_h,
        measured=float(row["moisture_pct"]),
        predicted=start + share * (end - start),
        scaled=None if saturation is None or math.isinf(time_h) else share * saturation,
    )


def _residual(row: dict[str, str], diffused_m2: float) -> float:
    """Share of the way that is left after a time; D times that time is given."""
    if row["curve_id"] == "abs_pellet_dry":
        return _cylinder(diffused_m2, _PELLET_M / 2.0) * _slab(diffused_m2, _PELLET_M)
    thickness_m = float(row["diameter_or_thickness_mm"]) / 1000.0
    across = _slab(diffused_m2, thickness_m)
    return across * _cylinder(diffused_m2, _DISC_M) if "disc" in row["form"] else across


def _slab(diffused_m2: float, thickness_m: float) -> float:
    """Crank, plane sheet with both faces open."""
    odd = 2.0 * np.arange(_TERMS) + 1.0
    decay = np.exp(-(odd**2) * np.pi**2 * diffused_m2 / thickness_m**2)
    return float((8.0 / np.pi**2 / odd**2 * decay).sum())


def _cylinder(diffused_m2: float, radius_m: float) -> float:
    """Crank, long cylinder."""
    alphas = jn_zeros(0, _TERMS)
    return float((4.0 / alphas**2 * np.exp(-(alphas**2) * diffused_m2 / radius_m**2)).sum())
