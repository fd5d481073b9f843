"""Commissioning runs of ovens as rows: replaced as they grow, the oldest given up."""

import json
import sqlite3
from collections.abc import Iterable

from monitor.errors import StoreError
from monitor.model.cycle import Ending
from monitor.model.oven_run import TRACE_MAX, OvenRun, RunKind, TracePoint

_KEPT = 10
_COLUMNS = "run, at_ms, who, kind, spools, setpoint_c, room_c, heated_ms, ending, rule, why, trace"


def write(db: sqlite3.Connection, site: int, runs: Iterable[OvenRun]) -> None:
    """The newest state of each run; more than ten of an oven are not kept."""
    for run in runs:
        db.execute(
            "INSERT OR REPLACE INTO oven_run VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                site,
                run.oven,
                run.run,
                round(run.at_s * 1000),
                run.who,
                str(run.kind),
                run.spools,
                run.setpoint_c,
                run.room_c,
                None if run.heated_s is None else round(run.heated_s * 1000),
                None if run.ending is None else str(run.ending),
                run.rule,
                run.why[:500],
                _to_text(run.trace),
            ),
        )
        db.execute(
            "DELETE FROM oven_run WHERE site_id = ? AND oven = ? AND run NOT IN"
            " (SELECT run FROM oven_run WHERE site_id = ? AND oven = ? ORDER BY at_ms DESC LIMIT ?)",
            (site, run.oven, site, run.oven, _KEPT),
        )


def read(db: sqlite3.Connection, site: int, oven: str) -> tuple[OvenRun, ...]:
    """All runs that are kept of an oven, the newest first."""
    rows = db.execute(
        f"SELECT {_COLUMNS} FROM oven_run WHERE site_id = ? AND oven = ? ORDER BY at_ms DESC",
        (site, oven),
    ).fetchall()
    return tuple(_run(oven, row) for row in rows)


def _run(oven: str, row: tuple[object, ...]) -> OvenRun:
    key, at_ms, who, kind, spools, setpoint_c, room_c, heated_ms, ending, rule, why, trace = row
    assert isinstance(at_ms, int)
    assert isinstance(spools, int)
    assert isinstance(setpoint_c, float)
    assert room_c is None or isinstance(room_c, float)
    assert heated_ms is None or isinstance(heated_ms, int)
    return OvenRun(
        oven=oven,
        run=str(key),
        at_s=at_ms / 1000.0,
        who=str(who),
        kind=RunKind(str(kind)),
        setpoint_c=setpoint_c,
        room_c=room_c,
        spools=spools,
        heated_s=None if heated_ms is None else heated_ms / 1000.0,
        ending=None if ending is None else Ending(str(ending)),
        rule=None if rule is None else str(rule),
        why=str(why),
        trace=_from_text(str(trace)),
    )


def _to_text(trace: tuple[TracePoint, ...]) -> str:
    rows = [
        [
            round(p.at_s, 1),
            [None if value is None else round(value, 2) for value in p.chamber_c],
            round(p.heater, 3),
            None if p.power_w is None else round(p.power_w, 1),
            p.door_open,
        ]
        for p in trace[:TRACE_MAX]
    ]
    return json.dumps(rows, separators=(",", ":"), allow_nan=False)


def _from_text(text: str) -> tuple[TracePoint, ...]:
    try:
        return tuple(
            TracePoint(at_s=at_s, chamber_c=tuple(chamber), heater=heater, power_w=power_w, door_open=door)
            for at_s, chamber, heater, power_w, door in json.loads(text)
        )
    except (ValueError, TypeError) as error:
        raise StoreError(f"the trace of an oven's run cannot be read: {error}") from None
