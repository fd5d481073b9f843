"""Starts planned for later, as rows. What cannot be read is told, not dropped."""

import json
import math
import sqlite3
from collections.abc import Iterable
from typing import Any

from monitor.model.planned_start import OPEN, AnyStart, PlannedStart, PlannedState, SeenSpool, UnreadableStart

_KEEP = """
INSERT INTO planned_start VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET state = excluded.state, changed_ms = excluded.changed_ms, why = excluded.why,
    cycle = excluded.cycle
"""
_WITHDRAW = "UPDATE planned_start SET state = ? WHERE site_id = ? AND number = ?"
_CLOSED = tuple(str(state) for state in PlannedState if state not in OPEN)
_COLUMNS = "number, oven, start_ms, planned_ms, who, content, state, changed_ms, why, cycle"
_MARKS = ", ".join("?" * len(_CLOSED))
_WHY_CHARS = 4000


def write(db: sqlite3.Connection, site: int, starts: Iterable[AnyStart]) -> None:
    """New ones, and what became of those that are there; what cannot be read is withdrawn, as it stands."""
    for start in starts:
        if isinstance(start, PlannedStart):
            db.execute(_KEEP, _row(site, start))
        else:
            db.execute(_WITHDRAW, (str(PlannedState.WITHDRAWN), site, start.number))


def newest_number(db: sqlite3.Connection, site: int) -> int:
    """0 before any."""
    row = db.execute("SELECT max(number) FROM planned_start WHERE site_id = ?", (site,)).fetchone()
    return int(row[0] or 0)


def read_open(db: sqlite3.Connection, site: int) -> tuple[AnyStart, ...]:
    """All that wait for their time or for a person, the first to begin first; unreadable ones among them."""
    rows = db.execute(
        f"SELECT {_COLUMNS} FROM planned_start WHERE site_id = ? AND state NOT IN ({_MARKS})"
        " ORDER BY start_ms, number",
        (site, *_CLOSED),
    ).fetchall()
    return tuple(_start(*row) for row in rows)


def read_one(db: sqlite3.Connection, site: int, number: int) -> AnyStart | None:
    """One of them, open or not."""
    row = db.execute(
        f"SELECT {_COLUMNS} FROM planned_start WHERE site_id = ? AND number = ?",
        (site, number),
    ).fetchone()
    return None if row is None else _start(*row)


def _row(site: int, start: PlannedStart) -> tuple[object, ...]:
    content = {
        "load": list(start.load),
        "is_tray": start.is_tray,
        "setpoint_c": start.setpoint_c,
        "duration_s": start.duration_s,
        "needed_s": start.needed_s,
        "limited_by": start.limited_by,
        "unattended": start.unattended,
        "due_s": start.due_s,
        "target_pct": start.target_pct,
        "dry_g": start.dry_g,
        "loading_pct": start.loading_pct,
        "spools": [[each.key, each.place, each.left_g] for each in start.spools],
    }
    return (
        site,
        start.number,
        start.oven,
        _ms(start.start_s),
        _ms(start.planned_s),
        start.who,
        json.dumps(content, ensure_ascii=False, allow_nan=False),
        str(start.state),
        _ms(start.changed_s),
        start.why[:_WHY_CHARS],
        start.cycle,
    )


def _start(
    number: int,
    oven: str,
    start_ms: int,
    planned_ms: int,
    who: str,
    content: str,
    state: str,
    changed_ms: int,
    why: str,
    cycle: str | None,
) -> AnyStart:
    try:
        told = json.loads(content)
        return PlannedStart(
            number=number,
            oven=oven,
            load=tuple(_text(key) for key in told["load"]) or _fail("it names no load"),
            is_tray=told["is_tray"] is True,
            setpoint_c=_figure(told["setpoint_c"]),
            duration_s=_figure(told["duration_s"]),
            needed_s=_figure(told["needed_s"]),
            limited_by=_text(told["limited_by"]),
            unattended=told["unattended"] is True,
            start_s=start_ms / 1000.0,
            due_s=_figure_or_none(told["due_s"]),
            who=who,
            planned_s=planned_ms / 1000.0,
            target_pct=_figure_or_none(told["target_pct"]),
            dry_g=_figure_or_none(told["dry_g"]),
            loading_pct=_figure_or_none(told["loading_pct"]),
            spools=tuple(_seen(*each) for each in told["spools"]),
            state=PlannedState(state),
            changed_s=changed_ms / 1000.0,
            why=why,
            cycle=cycle,
        )
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        reason = f"member {error} is missing" if isinstance(error, KeyError) else str(error)
        return UnreadableStart(number=number, oven=oven, start_s=start_ms / 1000.0, why=reason[:200])


def _seen(key: Any, place: Any, left_g: Any) -> SeenSpool:
    return SeenSpool(
        key=_text(key),
        place=None if place is None else _text(place),
        left_g=_figure_or_none(left_g),
    )


def _text(value: Any) -> str:
    return value if isinstance(value, str) else _fail(f"{str(value)[:40]!r} is no text")


def _figure(value: Any) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if is_number else _fail(f"{str(value)[:40]!r} is no number")


def _figure_or_none(value: Any) -> float | None:
    return None if value is None else _figure(value)


def _fail(why: str) -> Any:
    raise ValueError(why)


def _ms(at_s: float) -> int:
    return round(at_s * 1000.0)
