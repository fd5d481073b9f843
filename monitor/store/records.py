"""Records of people as rows: the same columns for spools, boxes and sensors."""

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, TypedDict


class Told(TypedDict):
    """What every record says besides what it is about and what happened."""

    event_id: int
    at_s: float
    entered_s: float
    who: str
    replaces: int | None


def record_row(site: int, about: str, event: Any) -> tuple[object, ...]:
    """A record as the row of its table; `about` is the key of its spool, box or sensor."""
    body = json.dumps(asdict(event.what), ensure_ascii=False, allow_nan=False)
    return (
        event.event_id,
        site,
        about,
        round(event.at_s * 1000),
        round(event.entered_s * 1000),
        event.who,
        event.what.kind,
        body,
        event.replaces,
    )


def told_in(row: Sequence[object]) -> tuple[str, Told, str, dict[str, Any]]:
    """(about, what every record says, its kind, the members of that kind) of a row without its site."""
    event_id, about, at_ms, entered_ms, who, kind, body, replaces = row
    told = Told(
        event_id=int(str(event_id)),
        at_s=int(str(at_ms)) / 1000.0,
        entered_s=int(str(entered_ms)) / 1000.0,
        who=str(who),
        replaces=None if replaces is None else int(str(replaces)),
    )
    return str(about), told, str(kind), json.loads(str(body))
