"""The log as a chain of rows: written at its end only, verified from its beginning."""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from monitor.model.audit import (
    START,
    SYSTEM,
    AuditEntry,
    AuditFilter,
    AuditHead,
    AuditKind,
    AuditLine,
    AuditRow,
    hash_of,
    row_of,
)
from monitor.model.audit_lines import audit_of
from monitor.model.batch import Batch
from monitor.model.inventory import Inventory
from monitor.store import versions
from monitor.store.connections import Connections

BEGINS = "the log begins here"
PAGE_ROWS = 1_000
_COLUMNS = "seq, at_ms, quality, who, kind, about, what, detail, prev, hash"
_INSERT = f"INSERT INTO audit (site_id, {_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_IS_THERE = """
SELECT 1 FROM audit WHERE site_id = ? AND at_ms = ? AND quality = ? AND who = ? AND kind = ? AND about = ?
    AND what = ? AND detail = ?
"""
_ABOUT = f"""
SELECT {_COLUMNS} FROM audit WHERE site_id = ? AND at_ms >= ? AND at_ms < ?
    AND (about = ? OR (kind = 'alarm' AND json_extract(detail, '$.place') = ?)) ORDER BY seq LIMIT {PAGE_ROWS}
"""
# What earlier releases kept of what was done; it stays where it is and is bound in by a digest.
_EARLIER = {
    "acts": "SELECT act_id, at_ms, person, what, on_what, detail FROM act WHERE site_id = ? AND act_id <= ?"
    " ORDER BY act_id",
    "oven_records": "SELECT record_id, oven, at_ms, kind, what, cycle, rule, who FROM oven_record"
    " WHERE site_id = ? AND record_id <= ? ORDER BY record_id",
}


def write(db: sqlite3.Connection, site: int, batch: Batch) -> None:
    """The lines of a batch, before anything else of it is written: some tell what was there before.

    A batch that is tried again adds nothing. A line that says the same of the same millisecond is the same.
    """
    before = Inventory() if batch.inventory is None else versions.read_inventory(db, site)
    entries = audit_of(batch, before)
    if entries:
        append(db, site, entries)


def append(db: sqlite3.Connection, site: int, entries: Iterable[AuditEntry]) -> None:
    """At the end of the chain, within the transaction of what the lines tell of."""
    rows = list(dict.fromkeys(row_of(entry) for entry in entries))
    head = read_head(db, site)
    if head is None and rows:
        head = _link(db, site, None, row_of(_first(db, site, rows[0].at_ms)))
    for row in rows:
        if db.execute(_IS_THERE, (site, *_values(row))).fetchone() is None:
            head = _link(db, site, head, row)
    if head is not None:
        db.execute("INSERT OR REPLACE INTO audit_head VALUES (?, ?, ?)", (site, head.seq, head.hash))


def read_head(db: sqlite3.Connection, site: int) -> AuditHead | None:
    """Where the chain ends by its own lines."""
    row = db.execute(
        "SELECT seq, hash FROM audit WHERE site_id = ? ORDER BY seq DESC LIMIT 1", (site,)
    ).fetchone()
    return None if row is None else AuditHead(seq=row[0], hash=row[1])


def fault(db: sqlite3.Connection, site: int, known: AuditHead | None = None) -> str | None:
    """What is wrong with a chain, naming the first line that does not fit; None = it holds.

    Reads a page of lines at a time.

    Args:
        known: Where the chain once ended, as it was put out then: it must still go through there.
    """
    seq, prev = 0, START
    is_known = known is None
    for line in read_lines(db, site):
        if line.seq != seq + 1:
            return f"line {seq + 1} of the log is missing"
        if line.prev != prev or line.hash != hash_of(line.seq, line.row, line.prev):
            return f"line {line.seq} of the log was changed after it was written"
        seq, prev = line.seq, line.hash
        if known is not None and seq == known.seq:
            if prev != known.hash:
                return f"line {seq} of the log is another one than was put out: the log was written anew"
            is_known = True
        if seq == 1 and (trouble := _earlier_fault(db, site, line)):
            return trouble
    kept = db.execute("SELECT seq, hash FROM audit_head WHERE site_id = ?", (site,)).fetchone()
    if kept != ((seq, prev) if seq else None):
        ends = "nowhere" if kept is None else f"with line {kept[0]}"
        return f"line {seq + 1} of the log is missing: it should end {ends}, and ends with line {seq}"
    if not is_known:
        assert known is not None
        return f"line {seq + 1} of the log is missing: it was put out up to line {known.seq}"
    return None


def file_fault(db: sqlite3.Connection) -> str | None:
    """What is wrong with the chains of all sites in a file; a file from before there was one has none."""
    if not is_kept(db):
        return None
    sites = [row[0] for row in db.execute("SELECT site_id FROM site ORDER BY site_id").fetchall()]
    strays = db.execute("SELECT DISTINCT site_id FROM audit").fetchall()
    if any(row[0] not in sites for row in strays):
        return "a line of the log belongs to no site"
    return next((found for site in sites if (found := fault(db, site))), None)


def is_kept(db: sqlite3.Connection) -> bool:
    """A file of a release before there was a log has none."""
    return db.execute("SELECT 1 FROM sqlite_schema WHERE name = 'audit'").fetchone() is not None


def read_lines(db: sqlite3.Connection, site: int, after: int = 0) -> Iterator[AuditLine]:
    """All lines after one, oldest first, a page in memory at a time."""
    while page := read_page(db, site, AuditFilter(), after=after):
        yield from page
        after = page[-1].seq


def read_page(
    db: sqlite3.Connection,
    site: int,
    asked: AuditFilter,
    *,
    after: int = 0,
    before: int | None = None,
    limit: int = PAGE_ROWS,
) -> tuple[AuditLine, ...]:
    """Lines after a number, oldest first; or, with `before`, lines before it, newest first."""
    where = ["site_id = ?", "seq > ?", "at_ms >= ?", "at_ms < ?"]
    values: list[object] = [site, after, asked.from_ms, asked.to_ms]
    for column, wanted in (("kind", asked.kind), ("about", asked.about), ("who", asked.who)):
        if wanted:
            where.append(f"{column} = ?")
            values.append(str(wanted))
    if before is not None:
        where.append("seq < ?")
        values.append(before)
    order = "seq" if before is None else "seq DESC"
    rows = db.execute(
        f"SELECT {_COLUMNS} FROM audit WHERE {' AND '.join(where)} ORDER BY {order} LIMIT ?",
        (*values, min(limit, PAGE_ROWS)),
    ).fetchall()
    return tuple(_line(row) for row in rows)


class AuditReader(Connections):
    """Questions about the log, for any number of threads."""

    def audit(
        self, asked: AuditFilter, *, after: int = 0, before: int | None = None, limit: int = PAGE_ROWS
    ) -> tuple[AuditLine, ...]:
        """A page: lines after a number, oldest first; with `before`, those before it, newest first."""
        with self._snapshot() as db:
            return read_page(db, self._site_id, asked, after=after, before=before, limit=limit)

    def audit_about(self, about: str, from_ms: int, to_ms: int) -> tuple[AuditLine, ...]:
        """What the log says of one thing in a time, its alarms among it, oldest first; a thousand at most."""
        with self._snapshot() as db:
            rows = db.execute(_ABOUT, (self._site_id, from_ms, to_ms, about, about)).fetchall()
        return tuple(_line(row) for row in rows)

    def audit_head(self) -> AuditHead | None:
        """Where the log ends; None before anything was done."""
        with self._snapshot() as db:
            return read_head(db, self._site_id)

    def audit_fault(self, known: AuditHead | None = None) -> str | None:
        """What is wrong with the chain, naming the first line that does not fit; None = it holds."""
        with self._snapshot() as db:
            return fault(db, self._site_id, known)


def _first(db: sqlite3.Connection, site: int, at_ms: int) -> AuditEntry:
    """Says what was there before: rows of earlier releases, which were never in a chain."""
    found: dict[str, object] = {}
    for name, sql in _EARLIER.items():
        table = "act" if name == "acts" else "oven_record"
        column = "act_id" if name == "acts" else "record_id"
        last = db.execute(
            f"SELECT coalesce(max({column}), 0) FROM {table} WHERE site_id = ?", (site,)
        ).fetchone()[0]
        found[name] = {"up_to": last, **_digest(db, sql, site, last)}
    return AuditEntry(at_ms=at_ms, who=SYSTEM, kind=AuditKind.CLOCK, about="", what=BEGINS, detail=found)


def _digest(db: sqlite3.Connection, sql: str, site: int, last: int) -> dict[str, object]:
    count, digest = 0, hashlib.sha256()
    for row in db.execute(sql, (site, last)):
        count += 1
        digest.update(json.dumps(row, separators=(",", ":")).encode("ascii") + b"\n")
    return {"rows": count, "sha256": digest.hexdigest()}


def _earlier_fault(db: sqlite3.Connection, site: int, line: AuditLine) -> str | None:
    said = json.loads(line.row.detail)
    for name, sql in _EARLIER.items():
        kept = said.get(name)
        if kept is not None and _digest(db, sql, site, kept["up_to"]) != {
            "rows": kept["rows"],
            "sha256": kept["sha256"],
        }:
            return f"{name.replace('_', ' ')} from before line 1 of the log were changed since"
    return None


def _link(db: sqlite3.Connection, site: int, head: AuditHead | None, row: AuditRow) -> AuditHead:
    seq, prev = (1, START) if head is None else (head.seq + 1, head.hash)
    made = hash_of(seq, row, prev)
    db.execute(_INSERT, (site, seq, *_values(row), prev, made))
    return AuditHead(seq=seq, hash=made)


def _values(row: AuditRow) -> tuple[object, ...]:
    return (row.at_ms, row.quality, row.who, row.kind, row.about, row.what, row.detail)


def _line(row: Sequence[Any]) -> AuditLine:
    seq, at_ms, quality, who, kind, about, what, detail, prev, made = row
    content = AuditRow(
        at_ms=at_ms, quality=quality, who=who, kind=kind, about=about, what=what, detail=detail
    )
    return AuditLine(seq=seq, row=content, prev=prev, hash=made)
