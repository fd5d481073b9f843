"""What the writer remembers of each series, so that a reading costs no look-up."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.model.reading import QUANTITIES, Quantity
from monitor.store.rollups import HOLD_CAP_MS, hold_ms

Name = tuple[str, str, Quantity]
_SET_DUE = "UPDATE series SET due_ms = ? WHERE series_id = ?"
_DUE_CAP_S = 31 * 86_400.0


@dataclass(slots=True)
class Entry:
    """One series as the writer needs it."""

    series_id: int
    lowest: float
    highest: float
    stored_per_unit: int
    due_ms: int | None
    reach_ms: int  # how far a reading can change roll-ups, at most


class SeriesBook:
    """The series of one site by name; those not met before are written when first asked for."""

    def __init__(self, db: sqlite3.Connection, site_id: int) -> None:
        self._db = db
        self._site_id = site_id
        self.entries: dict[Name, Entry] = {}
        self._by_channel: dict[tuple[str, str], list[Entry]] = {}
        self.reload()

    def reload(self) -> None:
        """Forget what a rolled-back transaction may have taught."""
        self.entries.clear()
        self._by_channel.clear()
        codes = {spec.code: quantity for quantity, spec in QUANTITIES.items()}
        for series_id, node, channel, code, due_ms in self._db.execute(
            "SELECT series_id, node, channel, quantity, due_ms FROM series WHERE site_id = ?",
            (self._site_id,),
        ).fetchall():
            self._remember((node, channel, codes[code]), series_id, due_ms)

    def add(self, name: Name) -> Entry:
        node, channel, quantity = name
        cursor = self._db.execute(
            "INSERT INTO series (site_id, node, channel, quantity) VALUES (?, ?, ?, ?)",
            (self._site_id, node, channel, QUANTITIES[quantity].code),
        )
        assert cursor.lastrowid is not None  # an INSERT that did not fail has one
        return self._remember(name, cursor.lastrowid, None)

    def set_dues(self, due_s: Mapping[tuple[str, str], float]) -> None:
        """Keep the newest `ut` of each channel; written only where it differs."""
        for channel, channel_due_s in due_s.items():
            if not channel_due_s > 0:
                continue
            due_ms = max(1, round(min(channel_due_s, _DUE_CAP_S) * 1000))
            for entry in self._by_channel.get(channel, ()):
                if entry.due_ms != due_ms:
                    self._db.execute(_SET_DUE, (due_ms, entry.series_id))
                    entry.due_ms, entry.reach_ms = due_ms, _reach_ms(due_ms)

    def name_of(self, series_id: int) -> Name:
        return next(name for name, entry in self.entries.items() if entry.series_id == series_id)

    def _remember(self, name: Name, series_id: int, due_ms: int | None) -> Entry:
        spec = QUANTITIES[name[2]]
        entry = Entry(
            series_id=series_id,
            lowest=spec.lowest,
            highest=spec.highest,
            stored_per_unit=spec.stored_per_unit,
            due_ms=due_ms,
            reach_ms=_reach_ms(due_ms),
        )
        self.entries[name] = entry
        self._by_channel.setdefault(name[:2], []).append(entry)
        return entry


def _reach_ms(due_ms: int | None) -> int:
    """Without `ut` the hold is learned later, so the longest one is assumed."""
    return HOLD_CAP_MS if due_ms is None else hold_ms(due_ms, None)
