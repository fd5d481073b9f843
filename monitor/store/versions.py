"""The inventory and its placements as rows that each hold from a time on."""

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any, TypeVar

from monitor.model.batch import InventoryChange
from monitor.model.history import Placement
from monitor.model.inventory import Box, Charge, Inventory, Oven, PlaceKind, RelayWire, Room, Spool

ItemKey = tuple[str, str]  # kind, key
Place = tuple[str, str]  # kind, place key
END_OF_TIME_MS = 2**62
_Key = TypeVar("_Key")
_Value = TypeVar("_Value")

# The bare columns beside max() are those of the row that has it: SQLite promises so.
_ITEMS_AT = """
SELECT kind, key, max(from_ms), body FROM item WHERE site_id = ? AND from_ms <= ? GROUP BY kind, key
"""
_PLACES_AT = """
SELECT channel, max(from_ms), kind, place_key FROM placement WHERE site_id = ? AND from_ms <= ?
GROUP BY channel
"""


def changed(
    held: Mapping[_Key, tuple[int, _Value | None]], wanted: Mapping[_Key, _Value], at_ms: int
) -> list[tuple[_Key, int, _Value | None]]:
    """Rows (key, from_ms, value or None = gone) that make `wanted` hold from `at_ms` on.

    A key's first value holds from the beginning of time. A change never comes before the version it
    replaces, also where the clock was set back in between.
    """
    rows: list[tuple[_Key, int, _Value | None]] = []
    for key, value in wanted.items():
        if key not in held:
            rows.append((key, 0, value))
        elif held[key][1] != value:
            rows.append((key, max(at_ms, held[key][0]), value))
    for key, (from_ms, old) in held.items():
        if key not in wanted and old is not None:
            rows.append((key, max(at_ms, from_ms), None))
    return rows


def write_inventory(db: sqlite3.Connection, site_id: int, change: InventoryChange) -> None:
    """Write what differs from the newest versions; the same change again writes nothing."""
    items = changed(_items_at(db, site_id, END_OF_TIME_MS), _bodies(change.inventory), change.at_ms)
    db.executemany(
        "INSERT OR REPLACE INTO item VALUES (?, ?, ?, ?, ?)",
        [(site_id, kind, key, from_ms, body) for (kind, key), from_ms, body in items],
    )
    wanted = {
        channel: (str(kind), key) for channel, (kind, key) in change.inventory.placed_channels().items()
    }
    places = changed(_places_at(db, site_id, END_OF_TIME_MS), wanted, change.at_ms)
    db.executemany(
        "INSERT OR REPLACE INTO placement VALUES (?, ?, ?, ?, ?)",
        [(site_id, channel, from_ms, *(place or (None, None))) for channel, from_ms, place in places],
    )


def read_inventory(db: sqlite3.Connection, site_id: int, at_ms: int | None = None) -> Inventory:
    """The inventory as it was at a time, or as it is."""
    held = _items_at(db, site_id, END_OF_TIME_MS if at_ms is None else at_ms)
    found: dict[str, dict[str, Any]] = {kind: {} for kind in _MAKERS}
    for (kind, key), (_, body) in held.items():
        if body is not None:
            found[kind][key] = _MAKERS[kind](json.loads(body))
    return Inventory(rooms=found["room"], boxes=found["box"], spools=found["spool"], ovens=found["oven"])


def read_placements(db: sqlite3.Connection, site_id: int) -> tuple[Placement, ...]:
    """Every placement there ever was, by channel and time."""
    rows = db.execute(
        "SELECT channel, from_ms, kind, place_key FROM placement WHERE site_id = ? ORDER BY channel, from_ms",
        (site_id,),
    ).fetchall()
    return tuple(
        Placement(channel=channel, from_ms=from_ms, kind=PlaceKind(kind) if kind else None, place_key=key)
        for channel, from_ms, kind, key in rows
    )


def _items_at(db: sqlite3.Connection, site_id: int, at_ms: int) -> dict[ItemKey, tuple[int, str | None]]:
    rows = db.execute(_ITEMS_AT, (site_id, at_ms)).fetchall()
    return {(kind, key): (from_ms, body) for kind, key, from_ms, body in rows}


def _places_at(db: sqlite3.Connection, site_id: int, at_ms: int) -> dict[str, tuple[int, Place | None]]:
    rows = db.execute(_PLACES_AT, (site_id, at_ms)).fetchall()
    return {channel: (from_ms, (kind, key) if kind else None) for channel, from_ms, kind, key in rows}


def _bodies(inventory: Inventory) -> dict[ItemKey, str]:
    return {
        (kind, key): json.dumps(asdict(item), ensure_ascii=False, allow_nan=False)
        for kind, items in (
            ("room", inventory.rooms),
            ("box", inventory.boxes),
            ("spool", inventory.spools),
            ("oven", inventory.ovens),
        )
        for key, item in items.items()
    }


def box_of(members: dict[str, Any]) -> Box:
    charge = members.pop("desiccant", None)
    return Box(**members, desiccant=None if charge is None else Charge(**charge))


def _oven(members: dict[str, Any]) -> Oven:
    relay = members.pop("relay", None)
    return Oven(**members, relay=None if relay is None else RelayWire(**relay))


_MAKERS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "room": lambda members: Room(**members),
    "box": box_of,
    "spool": lambda members: Spool(**members),
    "oven": lambda members: _oven(members),
}
