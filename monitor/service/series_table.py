"""A series as a table: what was read beside what is held of it, gaps and all."""

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.errors import BadInputError
from monitor.model.answers import SeriesPoint
from monitor.model.reading import QUANTITIES, Quantity
from monitor.service.queries import Queries
from monitor.service.series_points import check_window

Three = tuple[float | None, float | None, float | None]
_NOTHING: Three = (None, None, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """One span; lowest, mean and highest, None in a gap."""

    start_s: float  # Unix s
    raw: Three
    corrected: Three
    covered: float | None  # share of the span, 0 to 1; None = not known


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesTable:
    place: str
    quantity: str
    unit: str  # of UCUM, as everywhere: "Cel", "%RH"
    span_s: int
    rows: tuple[TableRow, ...]


def series_table(
    queries: Queries, place: str, quantity: str, from_s: float, to_s: float, span_s: int
) -> SeriesTable:
    """The roll-ups of a room, box or oven over a time; BadInputError names what is wrong with the question.

    Of an oven without a sensor of ours it is the chamber air that its controller tells, as means.
    """
    oven = queries.inventory().ovens.get(place)
    if oven is not None and oven.channel is None:
        return _chamber(queries, place, quantity, (from_s, to_s), span_s)
    held = queries.series(place, quantity, from_s, to_s, span_s)
    raw = queries.series(place, quantity, from_s, to_s, span_s, is_raw=True)
    rows = tuple(
        TableRow(
            start_s=as_held.start_s, raw=_three(as_read), corrected=_three(as_held), covered=as_held.covered
        )
        for as_read, as_held in zip(raw.points, held.points, strict=True)
    )
    return SeriesTable(place=place, quantity=quantity, unit=held.unit, span_s=span_s, rows=rows)


def _chamber(
    queries: Queries, oven: str, quantity: str, window_s: tuple[float, float], span_s: int
) -> SeriesTable:
    check_window(quantity, *window_s, span_s)
    if quantity not in (Quantity.TEMPERATURE, Quantity.HUMIDITY):
        raise BadInputError("quantity of an oven without a sensor of its own is temperature or humidity")
    first_ms, span_ms = int(window_s[0] // span_s) * span_s * 1000, span_s * 1000
    means = queries.store.oven_means(first_ms, int(window_s[1] * 1000), span_ms)

    def rows() -> Iterator[TableRow]:
        for start_ms in range(first_ms, int(window_s[1] * 1000), span_ms):
            temperature_c, humidity_pct = means.get((oven, start_ms), (None, None))
            mean = temperature_c if quantity == Quantity.TEMPERATURE else humidity_pct
            three = _NOTHING if mean is None else (None, mean, None)
            yield TableRow(start_s=start_ms / 1000.0, raw=three, corrected=three, covered=None)

    unit = QUANTITIES[Quantity(quantity)].unit or ""
    return SeriesTable(place=oven, quantity=quantity, unit=unit, span_s=span_s, rows=tuple(rows()))


def _three(point: SeriesPoint) -> Three:
    return (point.lowest, point.mean, point.highest)
