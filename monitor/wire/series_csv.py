"""A series as CSV: units in the header, times in UTC, gaps as empty cells."""

from collections.abc import Iterable, Iterator

from monitor.wire.records import rfc3339

_WHICH = ("lowest", "mean", "highest")
_SHOWN_UNIT = {"Cel": "°C"}
Three = tuple[float | None, float | None, float | None]


def csv_head(unit: str, quantity: str) -> str:
    """The header; as read is what the sensor told, corrected what is held of it."""
    shown = _SHOWN_UNIT.get(unit, unit or "1")
    name = quantity.replace("_", " ")
    columns = [f"{which} {name} {how} [{shown}]" for how in ("as read", "corrected") for which in _WHICH]
    return ",".join(["start [UTC]", *columns, "covered [0 to 1]"]) + "\r\n"


def csv_rows(rows: Iterable[tuple[float, Three, Three, float | None]]) -> Iterator[str]:
    """Each (start [Unix s], as read, corrected, share that is covered) as a line."""
    for start_s, raw, corrected, covered in rows:
        cells = [_figure(value) for value in (*raw, *corrected)]
        yield ",".join([rfc3339(start_s), *cells, "" if covered is None else f"{covered:.3f}"]) + "\r\n"


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"
