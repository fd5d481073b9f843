"""Everything of a site that is not a series: packs seen, devices, counters, quarantine."""

import hashlib
import sqlite3
from collections.abc import Iterable

from monitor.model.batch import Batch, DeviceRow, Quarantined, SeqRange
from monitor.model.history import Stored
from monitor.model.reading import Presence
from monitor.store import alarms, boxes, ovens, planned, sensors, spools
from monitor.store.versions import read_inventory

NEWEST = "newest_ms"
_DIGEST_BYTES = 12

_COUNT = """
INSERT INTO counter VALUES (?, ?, ?)
ON CONFLICT DO UPDATE SET value = excluded.value WHERE value <> excluded.value
"""
_COUNT_UP = "INSERT INTO counter VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = value + excluded.value"
_NEWEST = "INSERT INTO counter VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = max(value, excluded.value)"
_CLOCK = """
INSERT INTO boot (site_id, node, boot, clock) VALUES (?, ?, ?, ?)
ON CONFLICT DO UPDATE SET clock = excluded.clock
"""
_BOOT = "INSERT INTO boot (site_id, node, boot) VALUES (?, ?, ?) ON CONFLICT DO NOTHING"
_BOOT_ID = "SELECT boot_id FROM boot WHERE site_id = ? AND node = ? AND boot = ?"
_QUARANTINE = """
INSERT INTO quarantine (site_id, at_ms, topic, reason, payload, digest) VALUES (?, ?, ?, ?, ?, ?)
ON CONFLICT DO NOTHING
"""


def site_id(db: sqlite3.Connection, key: str) -> int | None:
    row = db.execute("SELECT site_id FROM site WHERE key = ?", (key,)).fetchone()
    return None if row is None else row[0]


def write_boots(db: sqlite3.Connection, site: int, batch: Batch) -> None:
    """Packs seen and node clocks. Boots are forgotten first: one heard again after that is kept."""
    for node, boot in batch.forgotten:
        row = db.execute(_BOOT_ID, (site, node, boot)).fetchone()
        if row is not None:
            db.execute("DELETE FROM seen WHERE boot_id = ?", row)
            db.execute("DELETE FROM boot WHERE boot_id = ?", row)
    for (node, boot), clock in batch.clocks.items():
        db.execute(_CLOCK, (site, node, boot, clock))
    for (node, boot), ranges in batch.seen.items():
        _write_seen(db, _boot_id(db, site, node, boot), ranges)


def write_devices(db: sqlite3.Connection, site: int, devices: Iterable[DeviceRow]) -> None:
    db.executemany(
        "INSERT OR REPLACE INTO device VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [_device_row(site, device) for device in devices],
    )


def write_counters(db: sqlite3.Connection, site: int, batch: Batch) -> None:
    db.executemany(_COUNT, [(site, name, value) for name, value in batch.counters.items()])
    db.execute(_NEWEST, (site, NEWEST, batch.newest_ms))


def count(db: sqlite3.Connection, site: int, name: str, more: int) -> None:
    db.execute(_COUNT_UP, (site, name, more))


def write_quarantined(db: sqlite3.Connection, site: int, items: Iterable[Quarantined]) -> int:
    """How many were not there already."""
    before = db.total_changes
    db.executemany(
        _QUARANTINE,
        [
            (site, item.at_ms, _text(item.topic), _text(item.reason), item.payload, _digest(item))
            for item in items
        ],
    )
    return db.total_changes - before


def trim_quarantine(db: sqlite3.Connection, rows_kept: int) -> None:
    db.execute(
        "DELETE FROM quarantine WHERE quarantine_id <= (SELECT max(quarantine_id) FROM quarantine) - ?",
        (rows_kept,),
    )


def read_stored(db: sqlite3.Connection, site: int) -> Stored:
    """All that a service must know again."""
    boots = db.execute(
        "SELECT boot_id, node, boot, clock FROM boot WHERE site_id = ? ORDER BY boot_id", (site,)
    ).fetchall()
    counters = read_counters(db, site)
    return Stored(
        inventory=read_inventory(db, site),
        seen={(node, boot): _read_seen(db, boot_id) for boot_id, node, boot, _ in boots},
        clocks={(node, boot): clock for _, node, boot, clock in boots if clock is not None},
        devices={(device.kind, device.key): device for device in read_devices(db, site)},
        newest_ms=counters.pop(NEWEST, 0),
        newest_event_id=spools.newest_event_id(db),
        newest_box_event_id=boxes.newest_event_id(db),
        oven_states=ovens.read_states(db, site),
        alarms=alarms.read_kept(db, site),
        newest_sensor_event_id=sensors.newest_event_id(db),
        newest_planned=planned.newest_number(db, site),
        counters=counters,
    )


def read_counters(db: sqlite3.Connection, site: int) -> dict[str, int]:
    """With `newest_ms` among them."""
    return dict(db.execute("SELECT name, value FROM counter WHERE site_id = ?", (site,)).fetchall())


def read_devices(db: sqlite3.Connection, site: int) -> tuple[DeviceRow, ...]:
    rows = db.execute(
        "SELECT kind, key, at_ms, online, boot, firmware, sample_s, state_json, state_ms FROM device"
        " WHERE site_id = ? ORDER BY kind, key",
        (site,),
    ).fetchall()
    return tuple(_device(*row) for row in rows)


def read_quarantine(db: sqlite3.Connection, site: int, limit: int) -> tuple[Quarantined, ...]:
    """The newest first."""
    rows = db.execute(
        "SELECT at_ms, topic, reason, payload FROM quarantine WHERE site_id = ?"
        " ORDER BY quarantine_id DESC LIMIT ?",
        (site, limit),
    ).fetchall()
    return tuple(
        Quarantined(at_ms=at_ms, topic=topic, reason=reason, payload=payload)
        for at_ms, topic, reason, payload in rows
    )


def _boot_id(db: sqlite3.Connection, site: int, node: str, boot: str) -> int:
    db.execute(_BOOT, (site, node, boot))
    return int(db.execute(_BOOT_ID, (site, node, boot)).fetchone()[0])


def _write_seen(db: sqlite3.Connection, boot_id: int, ranges: list[SeqRange]) -> None:
    db.execute("DELETE FROM seen WHERE boot_id = ?", (boot_id,))
    db.executemany("INSERT INTO seen VALUES (?, ?, ?)", [(boot_id, first, last) for first, last in ranges])


def _read_seen(db: sqlite3.Connection, boot_id: int) -> list[SeqRange]:
    return db.execute(
        "SELECT first_seq, last_seq FROM seen WHERE boot_id = ? ORDER BY first_seq", (boot_id,)
    ).fetchall()


def _device_row(site: int, device: DeviceRow) -> tuple[object, ...]:
    said = device.presence
    presence = (None,) * 4 if said is None else (int(said.online), said.boot, said.firmware, said.sample_s)
    return (site, device.kind, device.key, device.at_ms, *presence, device.state_json, device.state_ms)


def _device(
    kind: str,
    key: str,
    at_ms: int,
    online: int | None,
    boot: str | None,
    firmware: str | None,
    sample_s: float | None,
    state_json: str | None,
    state_ms: int | None,
) -> DeviceRow:
    presence = None
    if online is not None:
        presence = Presence(online=bool(online), boot=boot, firmware=firmware, sample_s=sample_s)
    return DeviceRow(
        kind=kind, key=key, at_ms=at_ms, presence=presence, state_json=state_json, state_ms=state_ms
    )


def _digest(item: Quarantined) -> bytes:
    hashed = hashlib.blake2b(digest_size=_DIGEST_BYTES)
    for part in (_text(item.topic).encode(), _text(item.reason).encode(), item.payload):
        hashed.update(len(part).to_bytes(4, "big") + part)
    return hashed.digest()


def _text(untrusted: str) -> str:
    """What UTF-8 cannot hold, such as half a surrogate pair, would make the whole batch fail."""
    return untrusted.encode(errors="replace").decode()
