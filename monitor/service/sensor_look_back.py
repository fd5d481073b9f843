"""What rested on a sensor that was found to be off: places and spools, since it was last right (A-34)."""

import datetime as dt
from collections.abc import Sequence

from monitor.model.records import effective
from monitor.model.sensor_answers import LookBack, LookBackItem
from monitor.model.sensor_check import (
    Checked,
    Compared,
    InJar,
    Installed,
    SensorEvent,
    Verdict,
)
from monitor.model.spool_event import SpoolHistory, places
from monitor.ports import ReadStore
from monitor.service import sensor_words
from monitor.service.air import rfc3339
from monitor.service.places import stays
from monitor.service.sensor_guide import checks_of, rounds, worst
from monitor.service.sensor_readings import Channel, place_names

_FOREVER_MS = 2**62


def look_back(store: ReadStore, channel: Channel, events: Sequence[SensorEvent]) -> LookBack | None:
    """The newest round of check points that found it off; None where none did. A newer check that finds it
    right, or another sensor on the channel, mends nothing of what was told before."""
    failed = [points for points in rounds(events) if worst(checks_of(points))[0] is not Verdict.WITHIN]
    if not failed:
        return None
    newest = failed[-1]
    until_s = _began_s(events, newest[0])
    since_s, is_checked = _right_until(store, events, newest[0], until_s)
    error_pct = worst(checks_of(newest))[1].error_pct
    items = _items(store, channel.key, round(since_s * 1000), round(until_s * 1000))
    spools = {key for item in items for key in item.spools}
    since_day = dt.datetime.fromtimestamp(since_s, dt.UTC).strftime("%d %b %Y")
    return LookBack(
        error_pct=error_pct,
        since=rfc3339(since_s),
        since_is_checked=is_checked,
        until=rfc3339(until_s),
        items=items,
        sentence=sensor_words.look_back(
            error_pct,
            list(dict.fromkeys(item.place_name for item in items)),
            len(spools),
            since_day,
            is_checked=is_checked,
        ),
    )


def _began_s(events: Sequence[SensorEvent], first: SensorEvent) -> float:
    """When it went into the first jar of a round: till then it measured its place."""
    jars = [e.at_s for e in effective(events) if isinstance(e.what, InJar) and e.at_s <= first.at_s]
    return jars[-1] if jars else first.at_s


def _right_until(
    store: ReadStore, events: Sequence[SensorEvent], first: SensorEvent, until_s: float
) -> tuple[float, bool]:
    """When it was last known to be right, and whether by a check; else since it is there, or is heard."""
    for event in reversed(effective(events)):
        if event.at_s >= first.at_s:
            continue
        what = event.what
        if isinstance(what, Checked) and worst([what])[0] is Verdict.WITHIN:
            return event.at_s, True
        if isinstance(what, Compared) and abs(what.difference_pct) <= what.allowed_pct:
            return event.at_s, True
        if isinstance(what, Installed):
            return event.at_s, False
    heard_ms = store.oldest_ms()
    return (until_s if heard_ms is None else min(heard_ms / 1000.0, until_s)), False


def _items(store: ReadStore, channel: str, from_ms: int, to_ms: int) -> tuple[LookBackItem, ...]:
    names = place_names(store.inventory())
    histories = store.spool_histories()
    found = []
    for place, all_stays in stays(store.placements()).items():
        for stay in all_stays:
            begin_ms, end_ms = max(stay.from_ms, from_ms), min(stay.to_ms, to_ms)
            if stay.channel != channel or begin_ms >= end_ms:
                continue
            inside = [key for key, told in histories.items() if _was_there(told, place, begin_ms, end_ms)]
            found.append(
                LookBackItem(
                    place=place,
                    place_name=names.get(place, place),
                    begin=rfc3339(begin_ms / 1000.0),
                    end=rfc3339(end_ms / 1000.0),
                    spools=tuple(sorted(inside)),
                )
            )
    return tuple(sorted(found, key=lambda item: item.begin))


def _was_there(history: SpoolHistory, place: str, from_ms: int, to_ms: int) -> bool:
    stated = places(history)
    ends = [at_ms for at_ms, _ in stated[1:]] + [_FOREVER_MS]
    return any(
        at == place and begin_ms < to_ms and end_ms > from_ms
        for (begin_ms, at), end_ms in zip(stated, ends, strict=True)
    )
