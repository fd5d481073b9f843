"""What the calendar tells of a site: when to use, dry, change and check. Pure."""

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping

from monitor.model.answers import BoxAnswer, OvenAnswer, SpoolAnswer, StatusAnswer, seconds_of
from monitor.model.calendar import CalendarEntry, EntryKind
from monitor.model.oven_fact import FactKind, OvenFact
from monitor.model.sensor_answers import SensorAnswer
from monitor.oven import proof

NO_ALARM = "This is an appointment, not an alarm: calendar programs look for changes only every few hours."
_DAY_S = 86_400.0
_HOUR_S = 3_600.0
_FARTHEST_S = 400 * _DAY_S  # what lies beyond a year will have changed by then
_LEAST_S = 900.0
_TEXT_MAX = 400


def entries(
    status: StatusAnswer,
    sensors: Iterable[SensorAnswer],
    facts: Mapping[tuple[str, FactKind], OvenFact],
    now_s: float,
) -> tuple[CalendarEntry, ...]:
    """Every appointment that lies ahead or is under way, by time.

    Args:
        status: The site as of now.
        sensors: All of them.
        facts: The newest statement of each kind about each oven.
        now_s: Unix s.
    """
    places = {box.key: box.name for box in status.boxes}
    places |= {room.key: room.name for room in status.rooms} | {oven.key: oven.name for oven in status.ovens}
    found = [
        *(entry for spool in status.spools for entry in _use_before(status.site, spool, places)),
        *(entry for box in status.boxes for entry in _desiccant(status.site, box, now_s)),
        *(entry for oven in status.ovens for entry in _drying(status.site, oven, now_s)),
        *(entry for oven in status.ovens for entry in _proof_test(status.site, oven, facts)),
        *(entry for sensor in sensors for entry in _check(status.site, sensor)),
    ]
    ahead = (entry for entry in found if entry.begins_s < now_s + _FARTHEST_S)
    return tuple(sorted(ahead, key=lambda entry: (entry.begins_s, entry.uid)))


def uid(site: str, kind: EntryKind, key: str) -> str:
    """Of an appointment; the same whatever becomes of its time."""
    return f"{kind}-{key}@{site}.sorbwatch"


def _use_before(site: str, spool: SpoolAnswer, places: Mapping[str, str]) -> Iterator[CalendarEntry]:
    at_s = _seconds(spool.use_before)
    if at_s is None:
        return
    where = "" if spool.place is None else f" It is in {places.get(spool.place, spool.place)}."
    yield CalendarEntry(
        uid=uid(site, EntryKind.USE_BEFORE, spool.key),
        kind=EntryKind.USE_BEFORE,
        begins_s=at_s,
        ends_s=at_s + _LEAST_S,
        is_day=False,
        summary=f"Use or dry {spool.name}"[:_TEXT_MAX],
        description=f"From about now on its outer windings may be too damp to print well.{where} {NO_ALARM}",
    )


def _desiccant(site: str, box: BoxAnswer, now_s: float) -> Iterator[CalendarEntry]:
    days = None if box.desiccant is None else box.desiccant.days_left
    if days is None or days.p50 is None or days.p10 is None or days.p90 is None:
        return
    begins_s = now_s + days.p50 * _DAY_S
    yield CalendarEntry(
        uid=uid(site, EntryKind.DESICCANT, box.key),
        kind=EntryKind.DESICCANT,
        begins_s=begins_s,
        ends_s=begins_s + _DAY_S,
        is_day=True,
        summary=f"Change the desiccant of {box.name}"[:_TEXT_MAX],
        description=(
            f"In eight of ten cases it is spent between {_date(now_s + days.p10 * _DAY_S)} and"
            f" {_date(now_s + days.p90 * _DAY_S)}. {NO_ALARM}"
        ),
    )


def _drying(site: str, oven: OvenAnswer, now_s: float) -> Iterator[CalendarEntry]:
    """Until when an oven runs; its beginning is not told again with every reading."""
    if oven.cycle is None or oven.left_s is None or not math.isfinite(oven.left_s) or oven.left_s <= 0.0:
        return
    ends_s = now_s + oven.left_s
    yield CalendarEntry(
        uid=uid(site, EntryKind.DRYING, f"{oven.key}-{oven.cycle}"),
        kind=EntryKind.DRYING,
        begins_s=ends_s - _LEAST_S,
        ends_s=ends_s,
        is_day=False,
        summary=f"{oven.name}: drying ends"[:_TEXT_MAX],
        description=(
            "Let it cool before you take anything out; from then on what is dry takes up water again."
            f" {NO_ALARM}"
        ),
    )


def _proof_test(
    site: str, oven: OvenAnswer, facts: Mapping[tuple[str, FactKind], OvenFact]
) -> Iterator[CalendarEntry]:
    due_s = proof.due_s(proof.passed_s(facts.get((oven.key, FactKind.PROOF_TEST))))
    if due_s is None:
        return  # never passed, or failed: nothing that has a day
    yield CalendarEntry(
        uid=uid(site, EntryKind.PROOF_TEST, oven.key),
        kind=EntryKind.PROOF_TEST,
        begins_s=due_s,
        ends_s=due_s + _DAY_S,
        is_day=True,
        summary=f"Proof test of {oven.name}"[:_TEXT_MAX],
        description=f"Without it nobody may leave that oven alone. {NO_ALARM}",
    )


def _check(site: str, sensor: SensorAnswer) -> Iterator[CalendarEntry]:
    due_s = _seconds(sensor.due)
    if due_s is None:
        return
    name = sensor.place_name or sensor.channel
    yield CalendarEntry(
        uid=uid(site, EntryKind.CHECK, sensor.channel.replace("/", ".")),
        kind=EntryKind.CHECK,
        begins_s=due_s,
        ends_s=due_s + _DAY_S,
        is_day=True,
        summary=f"Check the sensor in {name} over salt"[:_TEXT_MAX],
        description=f"Its page leads through it; have the salts ready some days before. {NO_ALARM}",
    )


def _seconds(text: str | None) -> float | None:
    return None if text is None else seconds_of(text)


def _date(time_s: float) -> str:
    return dt.datetime.fromtimestamp(time_s, dt.UTC).strftime("%d %b %Y")
