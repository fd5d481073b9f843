"""A better deadband for alarms that come too often, from the noise of their own sensor (A-18)."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.alarms.metrics import AlarmHealth, proposed_deadband
from monitor.model.alarm_row import AlarmRow
from monitor.model.reading import Quantity
from monitor.ports import ReadStore
from monitor.service.places import placed_at, stays

_DAY_MS = 86_400_000
_VALUES_MOST = 2_000
# Types whose compared value is a quantity of the place itself, and the step that its sensor shows.
_MEASURED = {"humidity_high": (Quantity.HUMIDITY, 0.1), "temperature_high": (Quantity.TEMPERATURE, 0.1)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """For a person to approve; nothing is set by itself."""

    type: str
    deadband: float
    words: str
    reason: str


def proposals(
    store: ReadStore, health: AlarmHealth, rows: Mapping[str, AlarmRow], now_ms: int
) -> tuple[Proposal, ...]:
    """One for each type whose alarms chatter or are fleeting and whose noise asks for more than it has.

    Args:
        store: For the readings of the last day.
        health: Of the alarms.
        rows: The table as it holds.
        now_ms: Unix ms.
    """
    found: dict[str, Proposal] = {}
    for _, kind, place in health.noisy:
        if kind not in _MEASURED or kind not in rows or kind in found:
            continue
        quantity, step = _MEASURED[kind]
        wanted = proposed_deadband(_values(store, place, quantity, now_ms), step)
        if wanted is None or wanted <= rows[kind].deadband:
            continue
        found[kind] = Proposal(
            type=kind,
            deadband=round(wanted, 3),
            words=(
                f"“{rows[kind].name}” comes and goes, and its sensor's own noise of the last day asks for a"
                f" deadband of {wanted:g}; it is {rows[kind].deadband:g}. With it the alarm is over a little"
                " later, and is not raised anew by noise."
            ),
            reason=f"noise of the sensor in {place}",
        )
    return tuple(found.values())


def _values(store: ReadStore, place: str, quantity: Quantity, now_ms: int) -> list[float]:
    stay = placed_at(stays(store.placements()), now_ms).get(place)
    if stay is None:
        return []
    ids = [
        series.series_id
        for series in store.series()
        if f"{series.node}/{series.channel}" == stay.channel and series.quantity is quantity
    ]
    readings = store.raw(ids, now_ms - _DAY_MS, now_ms) if ids else ()
    return [reading.value for reading in readings][-_VALUES_MOST:]
