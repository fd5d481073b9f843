"""Chamber air and cycles of ovens as rows."""

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from monitor.model.cycle_record import CycleNote, CycleSpool, HeldWater
from monitor.model.oven_air import OvenAir

_MINUTE_MS = 60_000
_MOST_CYCLES = 1_000


def write_air(db: sqlite3.Connection, site: int, rows: Iterable[OvenAir]) -> None:
    """The first of a minute stays, so that a restart or a replay writes the same."""
    db.executemany(
        "INSERT OR IGNORE INTO oven_air VALUES (?, ?, ?, ?, ?, ?)",
        [
            (
                site,
                row.oven,
                row.minute,
                round(100.0 * row.temperature_c),
                None if row.humidity_pct is None else round(100.0 * row.humidity_pct),
                round(100.0 * min(max(row.heater, 0.0), 1.0)),
            )
            for row in rows
        ],
    )


def read_air(db: sqlite3.Connection, site: int, oven: str, from_ms: int, to_ms: int) -> tuple[OvenAir, ...]:
    """Of one oven in a window, oldest first."""
    rows = db.execute(
        "SELECT minute, temperature, humidity, heater FROM oven_air"
        " WHERE site_id = ? AND oven = ? AND minute >= ? AND minute < ? ORDER BY minute",
        (site, oven, -(-from_ms // _MINUTE_MS), -(-to_ms // _MINUTE_MS)),
    ).fetchall()
    return tuple(
        OvenAir(
            oven=oven,
            minute=minute,
            temperature_c=temperature / 100.0,
            humidity_pct=None if humidity is None else humidity / 100.0,
            heater=heater / 100.0,
        )
        for minute, temperature, humidity, heater in rows
    )


def read_means(
    db: sqlite3.Connection, site: int, from_ms: int, to_ms: int, span_ms: int
) -> dict[tuple[str, int], tuple[float, float | None]]:
    """(oven, start of the span [ms]) to mean temperature [degC] and, where it was told, humidity [%RH]."""
    rows = db.execute(
        "SELECT oven, minute * 60000 / :span * :span AS start_ms, avg(temperature), avg(humidity)"
        " FROM oven_air WHERE site_id = :site AND minute >= :from AND minute < :to GROUP BY oven, start_ms",
        {"span": span_ms, "site": site, "from": -(-from_ms // _MINUTE_MS), "to": -(-to_ms // _MINUTE_MS)},
    ).fetchall()
    return {
        (oven, start_ms): (warmth / 100.0, None if humidity is None else humidity / 100.0)
        for oven, start_ms, warmth, humidity in rows
    }


def prune_air(db: sqlite3.Connection, before_ms: int) -> int:
    """Delete what is older; returns how many went. Cycles themselves are kept for ever."""
    return db.execute("DELETE FROM oven_air WHERE minute < ?", (before_ms // _MINUTE_MS,)).rowcount


def write_cycles(db: sqlite3.Connection, site: int, notes: Iterable[CycleNote]) -> None:
    """The later note of a cycle stands for the earlier one."""
    db.executemany(
        "INSERT OR REPLACE INTO oven_cycle VALUES (?, ?, ?, ?, ?, ?)",
        [
            (
                site,
                note.oven,
                note.cycle,
                round(1000.0 * note.started_s),
                None if note.ended_s is None else round(1000.0 * note.ended_s),
                json.dumps(asdict(note), ensure_ascii=False, allow_nan=False),
            )
            for note in notes
        ],
    )


def read_cycles(db: sqlite3.Connection, site: int, oven: str | None, limit: int) -> tuple[CycleNote, ...]:
    """The newest first; of all ovens where none is named."""
    rows = db.execute(
        "SELECT content FROM oven_cycle WHERE site_id = ? AND (?2 IS NULL OR oven = ?2)"
        " ORDER BY started_ms DESC, cycle DESC LIMIT ?3",
        (site, oven, min(limit, _MOST_CYCLES)),
    ).fetchall()
    return tuple(_note(row[0]) for row in rows)


def read_cycle(db: sqlite3.Connection, site: int, oven: str, cycle: str) -> CycleNote | None:
    row = db.execute(
        "SELECT content FROM oven_cycle WHERE site_id = ? AND oven = ? AND cycle = ?", (site, oven, cycle)
    ).fetchone()
    return None if row is None else _note(row[0])


def _note(text: str) -> CycleNote:
    members: dict[str, Any] = json.loads(text)
    spools = tuple(
        CycleSpool(**{**each, "before": _held(each["before"]), "after": _held(each["after"])})
        for each in members["spools"]
    )
    return CycleNote(**{**members, "spools": spools})


def _held(members: dict[str, Any] | None) -> HeldWater | None:
    if members is None:
        return None
    spans = {name: _span(members[name]) for name in ("mean_pct", "outer_pct", "water_g")}
    return HeldWater(**spans, left_g=members["left_g"])


def _span(values: list[float]) -> tuple[float, float, float]:
    low, middle, high = values
    return low, middle, high
