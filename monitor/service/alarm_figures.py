"""Numbers of the alarm table as people set them: bounds, and rows with them laid over (A-32)."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from monitor.alarms.sampling import delay_bound_s
from monitor.errors import BadInputError
from monitor.model.alarm_change import AlarmFigure
from monitor.model.alarm_row import AlarmClass, AlarmRow

# What a person may set, and between which bounds; of safety's rows nothing.
FIGURES: dict[str, tuple[float, float]] = {
    "deadband": (0.0, 50.0),
    "on_delay_s": (0.0, 86_400.0),
    "off_delay_s": (0.0, 86_400.0),
    "realarm_s": (3_600.0, 30 * 86_400.0),
    "shelve_max_s": (0.0, 7 * 86_400.0),
}


def row_with(row: AlarmRow, figures: Mapping[tuple[str, str], AlarmFigure]) -> AlarmRow:
    """The row with what was set of it; a number that the table's newer bounds refuse is left out."""
    for name in FIGURES:
        figure = figures.get((row.type, name))
        if figure is not None and figure.value is not None and fault_of(row, name, figure.value) is None:
            more: dict[str, Any] = {name: figure.value}
            row = replace(row, **more)
    return row


def check(row: AlarmRow, name: str, value: float | None) -> None:
    """BadInputError, in one sentence, where it may not be set so."""
    if name not in FIGURES:
        raise BadInputError(f"name must be one of {', '.join(FIGURES)}")
    fault = None if value is None else fault_of(row, name, value)
    if row.alarm_class is AlarmClass.SAFETY:
        fault = f"numbers of {row.name} cannot be changed: it is a matter of safety"
    if fault is not None:
        raise BadInputError(fault)


def fault_of(row: AlarmRow, name: str, value: float) -> str | None:
    """Why not; None = it may."""
    low, high = FIGURES[name]
    if name == "on_delay_s":
        high = min(high, delay_bound_s(row))
    if name == "shelve_max_s" and row.shelve_max_s == 0.0:
        high = 0.0
    return None if low <= value <= high else f"{name} must be {low:g} to {high:g}"
