"""Draws the pictures of deploy/docs/physics.md and prints its tables: `python -m physics.figures FOLDER`.

Run with `tests/` on the path; needs matplotlib, which neither the product nor its tests do.
"""

import math
import sys
from pathlib import Path

import matplotlib
import numpy as np
from physics.plates import points
from physics.test_landing import LANDING, landed

from monitor.library import load_library
from monitor.physics.drying import Air, course
from monitor.physics.psychrometrics import vapour_pressure_pa
from monitor.physics.spool import FAN_M_S, even_spool, spool_parameters, step_spool
from monitor.physics.spool_reading import dry_length_m, full_outer_m, profile

matplotlib.use("Agg")
import matplotlib.pyplot as plt

_HOURS = (0.0, 3.0, 6.0, 9.0, 12.0, 14.0)


def main(folder: Path) -> None:
    print(landing_table(), measured_table(), sep="\n\n")
    _draw_measured(folder / "physics-measured.png")
    _draw_profile(folder / "physics-profile.png")


def landing_table() -> str:
    lines = ["| case | after | mean % | outer % | inner % |", "|---|---|---|---|---|"]
    for row in LANDING:
        found = landed(row, row[4] * 3600.0)
        cells = [f"{f:.4g} ({100 * (f / w - 1):+.1f} %)" for f, w in zip(found, row[5:], strict=True)]
        lines.append(
            f"| {row[0]}, {row[1]:g} °C, {100 * row[2]:g} %RH | {row[4]:g} h | {' | '.join(cells)} |"
        )
    return "\n".join(lines)


def measured_table() -> str:
    lines = [
        "| curve | after | measured % | catalogue % | error | with its own saturation % | error |",
        "|---|---|---|---|---|---|---|",
    ]
    for point in points():
        after = "saturation" if math.isinf(point.time_h) else f"{point.time_h:g} h"
        own = ["", ""]
        if point.scaled is not None:
            own = [f"{point.scaled:.3g}", f"{100 * point.scaled_error:+.0f} %"]
        cells = [
            point.curve,
            after,
            f"{point.measured:g}",
            f"{point.predicted:.3g}",
            f"{100 * point.error:+.0f} %",
        ]
        lines.append("| " + " | ".join([*cells, *own]) + " |")
    return "\n".join(lines)


def _draw_measured(path: Path) -> None:
    figure, axes = plt.subplots(figsize=(5.2, 4.2), dpi=80)
    timed = [point for point in points() if math.isfinite(point.time_h)]
    settled = [point for point in points() if math.isinf(point.time_h)]
    for marker, label, group in (("o", "after a time", timed), ("s", "equilibrium", settled)):
        axes.loglog([p.measured for p in group], [p.predicted for p in group], marker, label=label, alpha=0.8)
    ends = np.array([0.04, 12.0])
    axes.plot(ends, ends, "k-", lw=1)
    for factor in (0.5, 2.0):
        axes.plot(ends, factor * ends, "k:", lw=1)
    axes.set(xlabel="measured water, %", ylabel="catalogue alone, %", title="Dotted: a factor of two")
    axes.legend()
    figure.tight_layout()
    figure.savefig(path)


def _draw_profile(path: Path) -> None:
    """One kilogram of PETG, 0.2 % wet, in 60 °C air drawn from a room at 23 °C and 50 %RH."""
    material = load_library().material("petg")
    parameters = spool_parameters(material, diameter_m=0.00175)
    state = even_spool(parameters, full_outer_m(parameters, 1.0), 23.0, water_content=0.002)
    humidity = float(vapour_pressure_pa(23.0, 0.5) / vapour_pressure_pa(60.0, 1.0))
    figure, (left, right) = plt.subplots(1, 2, figsize=(9.0, 3.8), dpi=80)
    dry_m, now_h, following = [], 0.0, state
    for hour in _HOURS:
        if hour > now_h:
            following, _ = step_spool(parameters, following, (hour - now_h) * 3600.0, 60.0, humidity, FAN_M_S)
        now_h = hour
        depth_m, content = profile(parameters, following)
        left.plot(1000.0 * depth_m, 100.0 * content, label=f"{hour:g} h")
        dry_m.append(
            f"{hour:g} h: {float(dry_length_m(parameters, following, material.limit_content)):.0f} m"
        )
    left.axhline(100.0 * material.limit_content, color="k", ls=":", lw=1)
    left.set(xlabel="depth below the surface, mm", ylabel="water, %", title="By depth; dotted: limit")
    left.legend()
    air = Air(temperature_c=60.0, relative_humidity=humidity, film_m_s=FAN_M_S)
    found = course(parameters, state, air, 16 * 3600.0)
    for name, moisture in (("mean", found.mean), ("outer", found.outer), ("inner", found.inner)):
        right.plot(found.time_s / 3600.0, 100.0 * moisture, label=name)
    right.axhline(100.0 * material.limit_content, color="k", ls=":", lw=1)
    right.set(xlabel="hours", ylabel="water, %", title="Over time")
    right.legend()
    figure.tight_layout()
    figure.savefig(path)
    print("\nDry length: " + ", ".join(dry_m))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
