"""Box events as JSON: strict about every name, kind, type and length."""

from typing import Annotated, Any

import msgspec

from monitor.errors import BadInputError
from monitor.model.answers import BoxCourse, BoxPoint, plain
from monitor.model.box_event import (
    BoxEvent,
    BoxWhat,
    ChargeWeighed,
    Colour,
    ColourSeen,
    NothingDone,
    Recharged,
)
from monitor.model.records import Withdrawn
from monitor.wire.records import RecordBody, decoded, rfc3339

_Text = Annotated[str, msgspec.Meta(min_length=1, max_length=200)]
_Key = Annotated[str, msgspec.Meta(pattern="^[a-z0-9][a-z0-9_-]{0,62}$")]
_Grams = Annotated[float, msgspec.Meta(gt=0.0, le=100_000.0)]
_Percent = Annotated[float, msgspec.Meta(ge=0.0, le=200.0)]


class _Recharged(RecordBody, frozen=True, tag="recharged"):
    desiccant: _Key
    dry_g: _Grams
    loading_pct: _Percent | None = None
    is_regenerated: bool = False

    def what(self) -> BoxWhat:
        return Recharged(
            desiccant=self.desiccant,
            dry_g=self.dry_g,
            loading_pct=self.loading_pct,
            is_regenerated=self.is_regenerated,
        )


class _Weighed(RecordBody, frozen=True, tag="weighed"):
    mass_g: _Grams
    resolution_g: Annotated[float, msgspec.Meta(gt=0.0, le=100.0)]

    def what(self) -> BoxWhat:
        return ChargeWeighed(mass_g=self.mass_g, resolution_g=self.resolution_g)


class _Colour(RecordBody, frozen=True, tag="colour"):
    colour: Colour

    def what(self) -> BoxWhat:
        return ColourSeen(colour=self.colour)


class _NothingDone(RecordBody, frozen=True, tag="nothing_done"):
    def what(self) -> BoxWhat:
        return NothingDone()


class _Withdrawn(RecordBody, frozen=True, tag="withdrawn"):
    why: _Text

    def what(self) -> BoxWhat:
        return Withdrawn(why=self.why)


_Any = _Recharged | _Weighed | _Colour | _NothingDone | _Withdrawn


def parse_box_event(box: str, content: bytes, now_s: float, who: str | None = None) -> BoxEvent:
    """The event of a JSON document; BadInputError names the member. A time without zone is UTC.

    Args:
        who: Whoever is signed in; None: the document must say it.
    """
    event: _Any = decoded(content, _Any)
    if isinstance(event, _NothingDone) and event.at is None:
        raise BadInputError("at is missing: it names the moment that nothing was done at")
    return BoxEvent(
        box=box,
        at_s=event.at_s(now_s),
        entered_s=now_s,
        who=event.told_by(who),
        what=event.what(),
        replaces=event.replaces,
    )


def dump_box_course(course: BoxCourse) -> dict[str, Any]:
    """The course as the API shows it, its times as all others are written."""
    return {
        "past": [_point(point) for point in course.past],
        "ahead": [_point(point) for point in course.ahead],
        "marks": [
            {
                "at": rfc3339(mark.at_s),
                "kind": mark.kind,
                "words": mark.words,
                "is_told": mark.is_told,
                "event_id": mark.event_id,
            }
            for mark in course.marks
        ],
        "limit_loading_pct": course.limit_loading_pct,
    }


def _point(point: BoxPoint) -> dict[str, Any]:
    return {
        "at": rfc3339(point.at_s),
        "loading_pct": plain(point.loading_pct),
        "humidity_pct": plain(point.humidity_pct),
    }
