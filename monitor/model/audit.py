"""The log of all that was done and decided: one line each, in one order, never changed (A-13, A-37)."""

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from monitor.model.reading import TimeQuality

SYSTEM = "monitor"  # who acts where no person does


class AuditKind(StrEnum):
    """What a line is about; also the last part of its CloudEvents type."""

    ACT = "act"  # a person did something
    ALARM = "alarm"  # an alarm changed its state
    OVEN = "oven"  # a line of an oven's book
    HISTORY = "history"  # something was told of a spool, box or sensor
    INVENTORY = "inventory"
    FIGURE = "figure"  # a limit, delay or priority was set, or a figure of a material
    DELIVERY = "delivery"  # a message was given up, a channel was set
    CLOCK = "clock"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry:
    """One line before it has its number and its place in the chain."""

    at_ms: int  # Unix time UTC
    who: str  # a person, CONSOLE or SYSTEM
    kind: AuditKind
    about: str  # inventory key, alarm key, name of a person; may be empty
    what: str  # one sentence
    detail: Mapping[str, object] = field(default_factory=dict)  # JSON values, such as old and new
    quality: TimeQuality = TimeQuality.SYNCED


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditRow:
    """One line with its content as text, exactly as it is kept and hashed."""

    at_ms: int
    quality: str
    who: str
    kind: str
    about: str
    what: str
    detail: str  # canonical JSON


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLine:
    """A line in its place in the chain."""

    seq: int  # +1 each, from 1
    row: AuditRow
    prev: str  # hash of the line before; START before the first
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditHead:
    """Where a chain ends. Kept elsewhere, it shows when the whole file was written anew."""

    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.seq}:{self.hash}"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFilter:
    """Which lines are asked for; what is None or empty leaves nothing out."""

    kind: AuditKind | None = None
    about: str = ""
    who: str = ""
    from_ms: int = 0
    to_ms: int = 2**62


START = "0" * 64  # in place of a hash before the first line
_MOST_CHARS = {"who": 200, "about": 200, "what": 2_000}
_DETAIL_CHARS = 20_000


def row_of(entry: AuditEntry) -> AuditRow:
    """The entry as text within the bounds of the log. Never fails: a line that could not be written would
    hold up all that is written with it. Of what is too long the beginning stays, and a digest of all of it.
    """
    texts = {name: _bounded(str(getattr(entry, name)), most) for name, most in _MOST_CHARS.items()}
    detail = canonical_json(entry.detail)
    if len(detail) > _DETAIL_CHARS:
        digest = hashlib.sha256(detail.encode()).hexdigest()
        detail = canonical_json({"begins": detail[:4_000], "sha256": digest, "characters": len(detail)})
    return AuditRow(
        at_ms=entry.at_ms, quality=str(entry.quality), kind=str(entry.kind), detail=detail, **texts
    )


def hash_of(seq: int, row: AuditRow, prev: str) -> str:
    """SHA-256 over all that a line says, and so over all before it [64 hex digits].

    The form that is hashed: one JSON list, no spaces, everything beyond ASCII escaped.
    """
    said = [seq, row.at_ms, row.quality, row.who, row.kind, row.about, row.what, row.detail, prev]
    return hashlib.sha256(json.dumps(said, separators=(",", ":")).encode("ascii")).hexdigest()


def canonical_json(value: object) -> str:
    """The one text of a JSON value: sorted keys, no spaces; what is no number becomes null."""
    return json.dumps(
        _plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def _plain(value: object) -> object:
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {_clean(str(key)): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        items = [_plain(each) for each in value]
        return sorted(items, key=repr) if isinstance(value, set | frozenset) else items
    return _clean(str(value))


def _bounded(text: str, most: int) -> str:
    text = _clean(text)
    return text if len(text) <= most else text[: most - 1] + "…"


def _clean(text: str) -> str:
    """Without what no UTF-8 can hold, and without NUL, at which a database's length() would stop."""
    return text.encode("utf-8", "replace").decode().replace("\0", "\ufffd")
