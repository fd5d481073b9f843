"""The inventory file (TOML) to model and back."""

import datetime as dt
import difflib
import math
import re
import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import tomli_w

from monitor.errors import BadInputError
from monitor.model.inventory import Box, Charge, Inventory, Oven, RelayWire, Room, Spool

MAX_FILE_BYTES = 1_000_000
MAX_ITEMS = 5_000
_KEY = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
_CHANNEL = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}/[a-z0-9][a-z0-9_-]{0,62}")
_Item = TypeVar("_Item", Room, Box, Spool, Oven)
_Value = TypeVar("_Value")
_RELAY_TOPIC_BYTES, _RELAY_PAYLOAD_BYTES = 200, 512
_STARTS = ("sealed_dry", "sealed", "open", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownKeys:
    """Keys of the catalogue that an inventory may name."""

    materials: Collection[str]
    desiccants: Collection[str]
    reels: Collection[str]


def parse_inventory(content: bytes, known: KnownKeys, existing: Inventory) -> Inventory:
    """`existing` with the file's items put in by key; BadInputError names the item and the member."""
    tables = _tables(content)
    rooms = existing.rooms | _items(tables, "room", _room)
    boxes = existing.boxes | _items(tables, "box", lambda row: _box(row, known))
    spools = existing.spools | _items(tables, "spool", lambda row: _spool(row, known))
    ovens = existing.ovens | _items(tables, "oven", _oven)
    inventory = Inventory(rooms=rooms, boxes=boxes, spools=spools, ovens=ovens)
    check_inventory(inventory)
    return inventory


def dump_inventory(inventory: Inventory) -> str:
    """The inventory as a file that `parse_inventory` reads back to the same."""
    tables = {
        "room": [_row(item) for item in inventory.rooms.values()],
        "box": [_row(item) for item in inventory.boxes.values()],
        "spool": [_row(item) for item in inventory.spools.values()],
        "oven": [_row(item) for item in inventory.ovens.values()],
    }
    return tomli_w.dumps({name: rows for name, rows in tables.items() if rows})


def check_inventory(inventory: Inventory) -> None:
    """Every name refers to something, no key is used twice, no channel measures two places."""
    keys: dict[str, str] = {}
    for kind, items in _by_kind(inventory).items():
        for key in items:
            if key in keys:
                raise BadInputError(f"{kind} {key!r}: this key already names a {keys[key]}; choose another")
            keys[key] = kind
    for kind, item in [("box", box) for box in inventory.boxes.values()] + [
        ("oven", oven) for oven in inventory.ovens.values()
    ]:
        if item.room not in inventory.rooms:
            raise BadInputError(f"{kind} {item.key!r}: room {item.room!r} is not in the inventory")
    for spool in inventory.spools.values():
        if spool.place is not None and keys.get(spool.place, "spool") == "spool":
            places = [key for key, kind in keys.items() if kind != "spool"]
            near = difflib.get_close_matches(spool.place, places, n=5)
            raise BadInputError(
                f"spool {spool.key!r}: place {spool.place!r} is no room, box or oven of the inventory"
                + (f"; near it: {', '.join(near)}" if near else "")
            )
    _check_channels(inventory)


def _by_kind(inventory: Inventory) -> dict[str, Mapping[str, Any]]:
    return {
        "room": inventory.rooms,
        "box": inventory.boxes,
        "spool": inventory.spools,
        "oven": inventory.ovens,
    }


def _check_channels(inventory: Inventory) -> None:
    placed: dict[str, str] = {}
    for kind in ("room", "box", "oven"):
        for key, item in _by_kind(inventory)[kind].items():
            if item.channel is None:
                continue
            if item.channel in placed:
                raise BadInputError(
                    f"{kind} {key!r}: channel {item.channel!r} already measures {placed[item.channel]!r}; "
                    "a channel measures one place"
                )
            placed[item.channel] = key


def _tables(content: bytes) -> dict[str, Any]:
    if len(content) > MAX_FILE_BYTES:
        raise BadInputError(f"the inventory file is larger than {MAX_FILE_BYTES} bytes")
    try:
        return tomllib.loads(content.decode("utf-8"))
    except UnicodeDecodeError:
        raise BadInputError("the inventory file is not UTF-8 text") from None
    except tomllib.TOMLDecodeError as error:
        raise BadInputError(f"the inventory file is not valid TOML: {error}") from None


def _items(tables: dict[str, Any], kind: str, build: Callable[["_Row"], _Item]) -> dict[str, _Item]:
    rows = tables.get(kind, [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise BadInputError(f"{kind}: write each as a table [[{kind}]]")
    if len(rows) > MAX_ITEMS:
        raise BadInputError(f"{kind}: more than {MAX_ITEMS} in one file")
    items: dict[str, _Item] = {}
    for number, members in enumerate(rows, start=1):
        item = build(_Row(kind, number, members))
        if item.key in items:
            raise BadInputError(f"{kind} {item.key!r} stands twice in the file")
        items[item.key] = item
    return items


class _Row:
    """One table of the file; each getter refuses with the item and the member named."""

    def __init__(self, kind: str, number: int, members: dict[str, Any]) -> None:
        self._members = members
        self._label = f"{kind} no. {number}"
        self.key = self._key_member("key")
        self._label = f"{kind} {self.key!r}"

    def bad(self, member: str, why: str) -> BadInputError:
        return BadInputError(f"{self._label}: {member} {why}")

    def _key_member(self, member: str) -> str:
        value = self.text(member)
        if not _KEY.fullmatch(value):
            raise self.bad(member, f"{value!r} must be lower-case letters, digits, _ or -, at most 63")
        return value

    def has(self, member: str) -> bool:
        return self._members.get(member) is not None

    def text(self, member: str) -> str:
        if not self.has(member):
            raise self.bad(member, "is missing")
        value = self._members[member]
        if not isinstance(value, str) or not value.strip() or len(value) > 200:
            raise self.bad(member, "must be text of 1 to 200 characters")
        return value

    def wire_text(self, member: str, most_bytes: int) -> str:
        """Text that goes to a broker as it is."""
        value = self._members.get(member)
        is_text = isinstance(value, str) and bool(value) and value.isprintable()
        if not isinstance(value, str) or not is_text or len(value.encode()) > most_bytes:
            raise self.bad(member, f"must be printable text of 1 to {most_bytes} bytes")
        return value

    def key_of(self, member: str) -> str:
        return self._key_member(member)

    def one_of(self, member: str, allowed: Collection[str]) -> str:
        value = self.text(member)
        if value not in allowed:
            raise self.bad(member, f"{value!r} is unknown; one of: {', '.join(sorted(allowed))}")
        return value

    def number(self, member: str, lowest: float, highest: float) -> float:
        if not self.has(member):
            raise self.bad(member, "is missing")
        value = self._members[member]
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.bad(member, "must be a number")
        if not lowest <= value <= highest:
            raise self.bad(member, f"is {value:g}; allowed are {lowest:g} to {highest:g}")
        return float(value)

    def flag(self, member: str) -> bool:
        value = self._members[member]
        if not isinstance(value, bool):
            raise self.bad(member, "must be true or false")
        return value

    def channel(self) -> str | None:
        if not self.has("channel"):
            return None
        value = self.text("channel")
        if not _CHANNEL.fullmatch(value):
            raise self.bad("channel", f"{value!r} must be <node>/<channel>")
        return value

    def time_s(self, member: str) -> float:
        value = self._members[member]
        if isinstance(value, str):
            try:
                value = dt.datetime.fromisoformat(value)
            except ValueError:
                raise self.bad(
                    member, f"{value!r} is no date and time such as 2026-01-31T08:00:00Z"
                ) from None
        if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
            value = dt.datetime(value.year, value.month, value.day, tzinfo=dt.UTC)
        if not isinstance(value, dt.datetime):
            raise self.bad(member, "must be a date and time such as 2026-01-31T08:00:00Z")
        aware = value if value.tzinfo is not None else value.replace(tzinfo=dt.UTC)
        return aware.timestamp()

    def table(self, member: str) -> "_Row":
        value = self._members[member]
        if not isinstance(value, dict):
            raise self.bad(member, "must be a table such as {kind = …, dry_g = …}")
        row = object.__new__(_Row)
        row._members, row._label, row.key = value, f"{self._label}: {member}", self.key
        return row

    def maybe(self, member: str, get: Callable[[str], _Value], otherwise: _Value) -> _Value:
        return get(member) if self.has(member) else otherwise


def _room(row: _Row) -> Room:
    return Room(key=row.key, name=row.text("name"), channel=row.channel())


def _box(row: _Row, known: KnownKeys) -> Box:
    return Box(
        key=row.key,
        name=row.text("name"),
        room=row.key_of("room"),
        volume_l=row.number("volume_l", 0.1, 5_000.0),
        channel=row.channel(),
        desiccant=_charge(row.table("desiccant"), known) if row.has("desiccant") else None,
    )


def _charge(row: _Row, known: KnownKeys) -> Charge:
    return Charge(
        kind=row.one_of("kind", known.desiccants),
        dry_g=row.number("dry_g", 0.1, 100_000.0),
        loading_pct=row.maybe("loading_pct", lambda m: row.number(m, 0.0, 700.0), None),
        filled_s=row.maybe("filled", row.time_s, None),
    )


def _spool(row: _Row, known: KnownKeys) -> Spool:
    def size(member: str, lowest: float, highest: float) -> float | None:
        return row.maybe(member, lambda m: row.number(m, lowest, highest), None)

    net_g = row.number("net_g", 1.0, 50_000.0)
    spool = Spool(
        key=row.key,
        name=row.text("name"),
        material=row.one_of("material", {*known.materials, "unknown"}),
        diameter_mm=row.number("diameter_mm", 1.0, 4.0),
        net_g=net_g,
        used_g=row.maybe("used_g", lambda m: row.number(m, 0.0, net_g), 0.0),
        reel=row.maybe("reel", lambda m: row.one_of(m, known.reels), "unknown"),
        flanges=row.maybe("flanges", lambda m: row.one_of(m, ("closed", "open")), "closed"),
        place=row.maybe("place", row.key_of, None),
        reel_g=size("reel_g", 0.0, 20_000.0),
        hub_mm=size("hub_mm", 10.0, 500.0),
        width_mm=size("width_mm", 5.0, 500.0),
        outer_mm=size("outer_mm", 20.0, 1_000.0),
        start=row.maybe("start", lambda m: row.one_of(m, _STARTS), None),
        start_pct=size("start_pct", 0.0, 50.0),
        since_s=row.maybe("since", row.time_s, None),
    )
    if spool.hub_mm is not None and spool.outer_mm is not None and spool.outer_mm <= spool.hub_mm:
        raise row.bad("outer_mm", f"is {spool.outer_mm:g}; it must be above hub_mm ({spool.hub_mm:g})")
    return spool


def _oven(row: _Row) -> Oven:
    def figure(member: str, lowest: float, highest: float) -> float | None:
        return row.maybe(member, lambda m: row.number(m, lowest, highest), None)

    spools_max = figure("spools_max", 1, 200)
    return Oven(
        key=row.key,
        name=row.text("name"),
        room=row.key_of("room"),
        max_c=row.number("max_c", 30.0, 150.0),
        overshoot_c=row.maybe("overshoot_c", lambda m: row.number(m, 0.0, 60.0), 5.0),
        sensor_error_c=row.maybe("sensor_error_c", lambda m: row.number(m, 0.1, 20.0), 2.0),
        channel=row.channel(),
        volume_l=figure("volume_l", 0.1, 5_000.0),
        vent_m3_h=figure("vent_m3_h", 0.0, 500.0),
        heater_w=figure("heater_w", 1.0, 20_000.0),
        fan=row.maybe("fan", row.flag, None),
        cutout_c=figure("cutout_c", 30.0, 250.0),
        cutout_tested_s=row.maybe("cutout_tested", row.time_s, None),
        spools_max=None if spools_max is None else int(spools_max),
        relay=_relay(row) if row.has("relay") else None,
    )


def _relay(oven: _Row) -> RelayWire:
    """B-24: an ON without its own end is refused here, so that no such relay ever switches heat."""
    if not oven.has("channel"):
        raise oven.bad("channel", "is missing: a relay measures nothing, so a placed sensor must")
    row = oven.table("relay")
    on_payload = row.wire_text("on_payload", _RELAY_PAYLOAD_BYTES)
    if on_payload.count("{seconds}") != 1:
        raise row.bad("on_payload", "must hold {seconds} once: each ON carries its own off")
    off_payload = row.wire_text("off_payload", _RELAY_PAYLOAD_BYTES)
    if "{seconds}" in off_payload:
        raise row.bad("off_payload", "must not hold {seconds}")
    on_topic, off_topic = (_relay_topic(row, member) for member in ("on_topic", "off_topic"))
    if (on_topic, on_payload) == (off_topic, off_payload):
        raise row.bad("off_payload", "must differ from ON")
    return RelayWire(on_topic=on_topic, on_payload=on_payload, off_topic=off_topic, off_payload=off_payload)


def _relay_topic(row: _Row, member: str) -> str:
    """A name that can be published to, and none of the topics that mean something else here."""
    topic = row.wire_text(member, _RELAY_TOPIC_BYTES)
    if set(topic) & set("+#") or topic.startswith(("$", "/")) or topic.endswith("/"):
        raise row.bad(member, f"{topic!r} must be a topic without wildcards, $ or / at its ends")
    levels = topic.split("/")
    if levels[0] == "sorbwatch" and (len(levels) < 4 or levels[2] != "relay"):
        raise row.bad(member, f"{topic!r} must lie below sorbwatch/<site>/relay/ or outside of sorbwatch/")
    return topic


# Times are seconds inside and dates in the file; these members lose their suffix there.
_TIMES = {"since_s": "since", "filled_s": "filled", "cutout_tested_s": "cutout_tested"}


def _row(item: Any) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for spec in fields(item):
        value = getattr(item, spec.name)
        if value is None:
            continue
        if isinstance(value, Charge | RelayWire):
            value = _row(value)
        if spec.name in _TIMES:
            value = dt.datetime.fromtimestamp(value, dt.UTC)
        members[_TIMES.get(spec.name, spec.name)] = value
    return members
