"""The book of each oven, what its supervision remembers, and what people stated of it, as rows."""

import sqlite3

from monitor.model.cycle import OvenRecord, RecordKind
from monitor.model.oven_fact import FactKind, OvenChanges, OvenFact
from monitor.store import cycles, oven_runs

_RECORD = "kind, oven, at_ms, what, cycle, rule, who"
_NEWEST_FACTS = """
SELECT oven, max(fact_id), at_ms, kind, value, who FROM oven_fact WHERE site_id = ? GROUP BY oven, kind
"""


def write(db: sqlite3.Connection, site: int, changes: OvenChanges) -> None:
    """All of it in the transaction of the batch (H37)."""
    db.executemany(
        "INSERT OR REPLACE INTO oven_supervised VALUES (?, ?, ?)",
        [(site, oven, content) for oven, content in changes.states.items()],
    )
    db.executemany(
        "INSERT INTO oven_record (site_id, oven, at_ms, kind, what, cycle, rule, who)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (site, r.oven, round(r.at_wall_s * 1000), str(r.kind), r.what, r.cycle, r.rule, r.who)
            for r in changes.records
        ],
    )
    db.executemany(
        "INSERT OR REPLACE INTO oven_first_out VALUES (?, ?, ?, ?)",
        [(site, oven, trip, content) for (oven, trip), content in changes.first_outs.items()],
    )
    db.executemany(
        "INSERT INTO oven_fact (site_id, oven, at_ms, kind, value, who) VALUES (?, ?, ?, ?, ?, ?)",
        [(site, f.oven, round(f.at_s * 1000), str(f.kind), f.value, f.who) for f in changes.facts],
    )
    cycles.write_air(db, site, changes.air)
    cycles.write_cycles(db, site, changes.cycles.values())
    oven_runs.write(db, site, changes.runs.values())


def read_states(db: sqlite3.Connection, site: int) -> dict[str, str]:
    """What each oven's supervision remembered when it was written last."""
    rows = db.execute("SELECT oven, content FROM oven_supervised WHERE site_id = ?", (site,)).fetchall()
    return dict(rows)


def read_records(db: sqlite3.Connection, site: int, oven: str, limit: int) -> tuple[OvenRecord, ...]:
    """The newest lines of an oven's book, the newest first."""
    rows = db.execute(
        f"SELECT {_RECORD} FROM oven_record WHERE site_id = ? AND oven = ? ORDER BY record_id DESC LIMIT ?",
        (site, oven, limit),
    ).fetchall()
    return tuple(_record(*row) for row in rows)


def read_cycle_records(db: sqlite3.Connection, site: int, oven: str, cycle: str) -> tuple[OvenRecord, ...]:
    """The lines of an oven's book that belong to a cycle, the oldest first."""
    rows = db.execute(
        f"SELECT {_RECORD} FROM oven_record WHERE site_id = ? AND oven = ? AND cycle = ?"
        " ORDER BY record_id LIMIT 2000",
        (site, oven, cycle),
    ).fetchall()
    return tuple(_record(*row) for row in rows)


def read_first_out(db: sqlite3.Connection, site: int, oven: str, trip: str) -> str | None:
    row = db.execute(
        "SELECT content FROM oven_first_out WHERE site_id = ? AND oven = ? AND trip = ?", (site, oven, trip)
    ).fetchone()
    return None if row is None else str(row[0])


def read_trips(db: sqlite3.Connection, site: int, oven: str) -> tuple[str, ...]:
    """Those of which a record was kept."""
    rows = db.execute(
        "SELECT trip FROM oven_first_out WHERE site_id = ? AND oven = ?", (site, oven)
    ).fetchall()
    return tuple(str(row[0]) for row in rows)


def read_facts(db: sqlite3.Connection, site: int) -> dict[tuple[str, FactKind], OvenFact]:
    """The newest statement of each kind about each oven."""
    return {
        (oven, FactKind(kind)): OvenFact(
            oven=oven, at_s=at_ms / 1000.0, kind=FactKind(kind), value=value, who=who
        )
        for oven, _, at_ms, kind, value, who in db.execute(_NEWEST_FACTS, (site,)).fetchall()
    }


def read_fact_history(
    db: sqlite3.Connection, site: int, oven: str, kind: FactKind, limit: int
) -> tuple[OvenFact, ...]:
    """What was stated of one kind about one oven, the newest first."""
    rows = db.execute(
        "SELECT at_ms, value, who FROM oven_fact WHERE site_id = ? AND oven = ? AND kind = ?"
        " ORDER BY fact_id DESC LIMIT ?",
        (site, oven, str(kind), limit),
    ).fetchall()
    return tuple(
        OvenFact(oven=oven, at_s=at_ms / 1000.0, kind=kind, value=value, who=who)
        for at_ms, value, who in rows
    )


def _record(
    kind: str, oven: str, at_ms: int, what: str, cycle: str | None, rule: str | None, who: str | None
) -> OvenRecord:
    return OvenRecord(
        kind=RecordKind(kind),
        oven=oven,
        at_wall_s=at_ms / 1000.0,
        what=what,
        cycle=cycle,
        rule=rule,
        who=who,
    )
