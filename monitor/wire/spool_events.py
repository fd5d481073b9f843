"""Spool events as JSON: strict about every name, kind and type."""

import datetime as dt
from typing import Any

import msgspec

from monitor.errors import BadInputError
from monitor.model.records import Withdrawn
from monitor.model.spool_event import (
    Bagged,
    Dried,
    Moved,
    Opened,
    Sign,
    Signs,
    Spoiled,
    SpoolEvent,
    Used,
    Weighed,
    What,
)

MAX_BYTES = 8_192


class _Event(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, tag_field="kind"):
    """What every event says besides what happened."""

    who: str | None = None  # whoever is signed in counts before it
    at: dt.datetime | None = None  # None: just now
    replaces: int | None = None


class _Moved(_Event, frozen=True, tag="moved"):
    place: str | None

    def what(self) -> What:
        return Moved(place=self.place)


class _Bagged(_Event, frozen=True, tag="bagged"):
    def what(self) -> What:
        return Bagged()


class _Opened(_Event, frozen=True, tag="opened"):
    def what(self) -> What:
        return Opened()


class _Used(_Event, frozen=True, tag="used"):
    grams: float

    def what(self) -> What:
        return Used(grams=self.grams)


class _Weighed(_Event, frozen=True, tag="weighed"):
    mass_g: float
    resolution_g: float
    repeats: int = 1
    is_warm: bool = False

    def what(self) -> What:
        return Weighed(
            mass_g=self.mass_g,
            resolution_g=self.resolution_g,
            repeats=self.repeats,
            is_warm=self.is_warm,
        )


class _Dried(_Event, frozen=True, tag="dried"):
    temperature_c: float
    hours: float
    room_humidity_pct: float | None = None

    def what(self) -> What:
        return Dried(
            temperature_c=self.temperature_c,
            hours=self.hours,
            room_humidity_pct=self.room_humidity_pct,
        )


class _Signs(_Event, frozen=True, tag="signs"):
    seen: list[Sign]

    def what(self) -> What:
        return Signs(seen=tuple(self.seen))


class _Spoiled(_Event, frozen=True, tag="spoiled"):
    why: str

    def what(self) -> What:
        return Spoiled(why=self.why)


class _Withdrawn(_Event, frozen=True, tag="withdrawn"):
    why: str

    def what(self) -> What:
        return Withdrawn(why=self.why)


_Any = _Moved | _Bagged | _Opened | _Used | _Weighed | _Dried | _Signs | _Spoiled | _Withdrawn


def parse_spool_event(spool: str, content: bytes, now_s: float, who: str | None = None) -> SpoolEvent:
    """The event of a JSON document; BadInputError names the member. A time without zone is UTC.

    Args:
        who: Whoever is signed in; None: the document must say it.
    """
    if len(content) > MAX_BYTES:
        raise BadInputError(f"an event has at most {MAX_BYTES} bytes")
    try:
        event: _Any = msgspec.json.decode(content, type=_Any)
    except msgspec.MsgspecError as error:
        raise BadInputError(f"the event cannot be read: {error}") from None
    told_by = who or event.who
    if told_by is None:
        raise BadInputError("the event cannot be read: `who` is missing")
    return SpoolEvent(
        spool=spool,
        at_s=now_s if event.at is None else _unix_s(event.at),
        entered_s=now_s,
        who=told_by,
        what=event.what(),
        replaces=event.replaces,
    )


def dump_spool_event(event: SpoolEvent) -> dict[str, Any]:
    """The event as the API shows it."""
    return {
        "event_id": event.event_id,
        "kind": event.what.kind,
        "at": _rfc3339(event.at_s),
        "entered": _rfc3339(event.entered_s),
        "who": event.who,
        "replaces": event.replaces,
        **msgspec.to_builtins(event.what),
    }


def _unix_s(moment: dt.datetime) -> float:
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=dt.UTC)
    return aware.timestamp()


def _rfc3339(time_s: float) -> str:
    return dt.datetime.fromtimestamp(time_s, dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
