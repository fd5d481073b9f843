"""Spool events as JSON: strict about every name, kind and type."""

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
from monitor.wire.records import RecordBody, decoded


class _Moved(RecordBody, frozen=True, tag="moved"):
    place: str | None

    def what(self) -> What:
        return Moved(place=self.place)


class _Bagged(RecordBody, frozen=True, tag="bagged"):
    def what(self) -> What:
        return Bagged()


class _Opened(RecordBody, frozen=True, tag="opened"):
    def what(self) -> What:
        return Opened()


class _Used(RecordBody, frozen=True, tag="used"):
    grams: float

    def what(self) -> What:
        return Used(grams=self.grams)


class _Weighed(RecordBody, frozen=True, tag="weighed"):
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


class _Dried(RecordBody, frozen=True, tag="dried"):
    temperature_c: float
    hours: float
    room_humidity_pct: float | None = None

    def what(self) -> What:
        return Dried(
            temperature_c=self.temperature_c,
            hours=self.hours,
            room_humidity_pct=self.room_humidity_pct,
        )


class _Signs(RecordBody, frozen=True, tag="signs"):
    seen: list[Sign]

    def what(self) -> What:
        return Signs(seen=tuple(self.seen))


class _Spoiled(RecordBody, frozen=True, tag="spoiled"):
    why: str

    def what(self) -> What:
        return Spoiled(why=self.why)


class _Withdrawn(RecordBody, frozen=True, tag="withdrawn"):
    why: str

    def what(self) -> What:
        return Withdrawn(why=self.why)


_Any = _Moved | _Bagged | _Opened | _Used | _Weighed | _Dried | _Signs | _Spoiled | _Withdrawn


def parse_spool_event(spool: str, content: bytes, now_s: float, who: str | None = None) -> SpoolEvent:
    """The event of a JSON document; BadInputError names the member. A time without zone is UTC.

    Args:
        who: Whoever is signed in; None: the document must say it.
    """
    event: _Any = decoded(content, _Any)
    return SpoolEvent(
        spool=spool,
        at_s=event.at_s(now_s),
        entered_s=now_s,
        who=event.told_by(who),
        what=event.what(),
        replaces=event.replaces,
    )
