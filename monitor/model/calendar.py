"""What stands in the calendar that people subscribe to, and the secret addresses that it is read by."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

# A forecast moves a little with every reading; an appointment that moved by less is the same.
_MOVED_S = 1_800.0
_MOVED_SHARE = 0.1  # of the time until then


class EntryKind(StrEnum):
    USE_BEFORE = "use-before"
    DESICCANT = "desiccant"
    CHECK = "check"
    PROOF_TEST = "proof-test"
    DRYING = "drying"
    PLANNED = "planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarEntry:
    """One appointment. `uid` is the same for the same matter, whatever becomes of its time."""

    uid: str
    kind: EntryKind
    begins_s: float  # Unix s
    ends_s: float
    is_day: bool  # the whole local day of `begins_s`
    summary: str
    description: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptEntry:
    """An appointment as it was given out last (RFC 5545: SEQUENCE, LAST-MODIFIED, STATUS)."""

    entry: CalendarEntry
    sequence: int = 0
    changed_ms: int
    is_cancelled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A secret address. Only the digest of what makes it secret is kept."""

    number: int
    person_key: str  # FIRST_OWNER: made at the board's own screen before there was an owner
    made_ms: int


def renewed(
    entries: Iterable[CalendarEntry], kept: Mapping[str, KeptEntry], now_ms: int
) -> tuple[KeptEntry, ...]:
    """What has to be kept anew: entries that came, moved, or vanished before their time.

    Args:
        entries: As they are now.
        kept: As they were given out last, by uid.
        now_ms: Unix ms.
    """
    found: list[KeptEntry] = []
    here: set[str] = set()
    for entry in entries:
        here.add(entry.uid)
        before = kept.get(entry.uid)
        if before is None:
            found.append(KeptEntry(entry=entry, changed_ms=now_ms))
        elif before.is_cancelled or _is_another(before.entry, entry, now_ms / 1000.0):
            found.append(KeptEntry(entry=entry, sequence=before.sequence + 1, changed_ms=now_ms))
    for uid, before in kept.items():
        if uid not in here and not before.is_cancelled and before.entry.begins_s > now_ms / 1000.0:
            gone = replace(before, sequence=before.sequence + 1, changed_ms=now_ms, is_cancelled=True)
            found.append(gone)
    return tuple(found)


def _is_another(before: CalendarEntry, now: CalendarEntry, at_s: float) -> bool:
    if (before.summary, before.is_day) != (now.summary, now.is_day):
        return True
    allowed_s = max(_MOVED_S, _MOVED_SHARE * max(before.begins_s - at_s, 0.0))
    return abs(before.begins_s - now.begins_s) > allowed_s or abs(before.ends_s - now.ends_s) > allowed_s
