"""From answers to finished words and numbers: the only place that rounds or makes local time."""

import datetime as dt
import math
import re
import zoneinfo
from dataclasses import dataclass

from monitor.alarms.wording import SENSOR_ERROR_PCT, humidity, span
from monitor.model.answers import (
    AirAnswer,
    BoxAnswer,
    Freshness,
    Need,
    OvenAnswer,
    RoomAnswer,
    StatusAnswer,
    seconds_of,
)
from web.inside import charge_briefly, sentence

# The humidity rule: a root scale, so that the dry end, where filament lives, gets the room.
RULE_END_PCT = 64.0
RULE_TICKS_PCT = (1, 2, 5, 10, 20, 30, 40, 50)
RULE_MARKS_PCT = (*range(10), *range(10, 30, 2), *range(30, 64, 5))  # every line engraved on it
# Below these a change is the sensor's own wandering.
LEAST_CHANGE_PCT = 0.5
ANY_PCT = 100.0
STATE_WORDS = {
    Freshness.FRESH: "",
    Freshness.LATE: "late",
    Freshness.STALE: "old",
    Freshness.LOST: "lost",
    Freshness.NEVER: "not heard",
}
OVEN_WORDS = {
    "idle": "idle",
    "armed": "armed at the oven",
    "preheat_check": "checking itself",
    "heating": "heating up",
    "drying": "drying",
    "cooling": "cooling down",
    "done": "done",
    "hold": "holding, heat off",
    "tripped": "locked after a fault",
}
LEVEL_WORDS = {"now": "Now", "soon": "Soon", "check": "Check"}


# A unit is not torn from its figure at the end of a line.
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|h|min|days?|g|m|mm)\b|%)")


def tied(words: str) -> str:
    """The words with each unit kept beside its figure."""
    return _BEFORE_UNIT.sub("\u00a0", words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Age:
    """A moment, so that the page can go on counting."""

    text: str
    at_s: float | None
    due_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One place on the humidity rule; positions in percent of the rule's length."""

    key: str
    name: str
    state: str  # fresh | late | stale | lost | never
    state_word: str
    level: str  # dry | near | over | unknown
    figure: str
    verdict: str
    air: str
    trend: str
    age: Age
    now_x: str | None
    tail_x: str | None
    limit_x: str | None
    allowed_x: str | None  # how far the air may go, drawn as a bar; "100" where the contents do not care
    room_x: str | None
    charge: str  # of its desiccant, where something is known of it
    spoken: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    key: str
    name: str
    state: str
    figure: str
    words: str
    hot: bool
    age: Age


def rule_x(percent: float) -> str:
    """Where a humidity stands on the rule [percent of its length]."""
    share = math.sqrt(min(max(percent, 0.0), RULE_END_PCT) / RULE_END_PCT)
    return f"{100.0 * share:.1f}"


def _x(percent: float | None) -> str | None:
    return None if percent is None else rule_x(percent)


class Presenter:
    """Words and numbers of one site, in its local time."""

    def __init__(self, zone: str) -> None:
        self._zone = zoneinfo.ZoneInfo(zone)

    def clock(self, time_s: float, form: str = "%d %b %H:%M") -> str:
        """A moment in the site's local time."""
        return dt.datetime.fromtimestamp(time_s, self._zone).strftime(form)

    def local(self, time_s: float) -> dt.datetime:
        return dt.datetime.fromtimestamp(time_s, self._zone)

    def headline(self, status: StatusAnswer) -> str:
        """The one sentence of the first screen."""
        if status.health.history_share is not None:
            return f"Reading the last weeks: {100 * status.health.history_share:.0f} %."
        urgent = self.urgent(status)
        if urgent is not None:
            return urgent.what
        if status.health.reasons:
            return "The monitor itself needs you."
        if status.needs:
            count = len(status.needs)
            return f"{count} thing{'s' if count > 1 else ''} to look at."
        if not status.boxes:
            return "No box is in the inventory yet."
        return f"All {len(status.boxes)} boxes are well."

    def urgent(self, status: StatusAnswer) -> Need | None:
        """What cannot wait: it is the headline, and not said a second time below."""
        return next((need for need in status.needs[:1] if need.level == "now"), None)

    def others(self, status: StatusAnswer) -> tuple[Need, ...]:
        """What needs a person besides the headline."""
        return status.needs[1:] if self.urgent(status) else status.needs

    def newest(self, status: StatusAnswer) -> Age:
        at_s = seconds(status.health.newest_reading)
        return self.age(at_s, None, seconds(status.at))

    def age(self, at_s: float | None, due_s: float | None, now_s: float | None) -> Age:
        if at_s is None or now_s is None:
            return Age(text="no reading yet", at_s=None, due_s=None)
        return Age(text=f"{span(max(0.0, now_s - at_s))} ago", at_s=round(at_s, 1), due_s=due_s)

    def box(self, box: BoxAnswer, now_s: float | None, room: RoomAnswer | None = None) -> Strip:
        charge = "" if box.desiccant is None else charge_briefly(box.desiccant)
        return self._strip(box.key, box.name, box.air, box.limit_humidity_pct, now_s, room, charge)

    def room(self, room: RoomAnswer, now_s: float | None) -> Strip:
        return self._strip(room.key, room.name, room.air, None, now_s)

    def heat(self, oven: OvenAnswer, now_s: float | None) -> Heat:
        words = OVEN_WORDS.get(oven.state or "", "not heard")
        figure = "" if oven.chamber_c is None else f"{oven.chamber_c:.0f} °C"
        if oven.stale:
            figure = figure and f"was {figure}"
            words = f"{words}, then silent: it may be hot" if oven.state else "not heard: it may be hot"
        elif oven.hot:
            words = f"hot, {words}"
        return Heat(
            key=oven.key,
            name=oven.name,
            state=str(oven.freshness),
            figure=figure,
            words=words,
            hot=bool(oven.hot),
            age=self.age(seconds(oven.at), 10.0, now_s),
        )

    def need_level(self, need: Need) -> str:
        return LEVEL_WORDS[need.level]

    def _strip(
        self,
        key: str,
        name: str,
        air: AirAnswer,
        limit_pct: float | None,
        now_s: float | None,
        room: RoomAnswer | None = None,
        charge: str = "",
    ) -> Strip:
        percent = air.humidity_pct
        level = _level(air, limit_pct)
        figure = "no reading" if percent is None else humidity(percent)
        verdict = _verdict(air, limit_pct, level)
        tail = air.humidity_change_pct
        tail_pct = None
        if percent is not None and tail is not None and abs(tail) >= LEAST_CHANGE_PCT and not air.stale:
            tail_pct = percent - tail
        cares = limit_pct is not None and limit_pct < ANY_PCT
        return Strip(
            key=key,
            name=name,
            state=str(air.freshness),
            state_word=STATE_WORDS[air.freshness],
            level=level,
            figure=figure,
            verdict=verdict,
            air=_air(air),
            trend=_trend(air),
            age=self.age(seconds(air.at), air.due_s, now_s),
            now_x=_x(percent),
            tail_x=_x(tail_pct),
            limit_x=_x(limit_pct) if cares else None,
            allowed_x=_x(limit_pct),
            room_x=None if room is None or room.air.stale else _x(room.air.humidity_pct),
            charge=charge,
            spoken=f"{name}: {figure}. {verdict}",
        )


def day(moment: dt.datetime) -> str:
    """'2 Dec'."""
    return f"{moment.day} {moment:%b}"


def seconds(rfc3339: str | None) -> float | None:
    return None if rfc3339 is None else seconds_of(rfc3339)


def _level(air: AirAnswer, limit_pct: float | None) -> str:
    """How the air stands to what the contents ask for, as far as the sensor can tell."""
    percent = air.humidity_pct
    if air.stale or percent is None:
        return "unknown"
    if limit_pct is None or limit_pct >= ANY_PCT:
        return "dry"
    if abs(percent - limit_pct) < SENSOR_ERROR_PCT:
        return "near"
    return "over" if percent > limit_pct else "dry"


def _verdict(air: AirAnswer, limit_pct: float | None, level: str) -> str:
    if air.humidity_pct is None:
        return sentence(air.why)
    if air.stale:
        return "This is an old reading: what it is now is not known."
    if air.suspect is not None:
        return air.suspect
    if limit_pct is None:
        return ""
    if limit_pct >= ANY_PCT:
        return "Its contents take up next to no water."
    if level == "near":
        return f"About the {humidity(limit_pct)} its contents ask for, as far as the sensor can tell."
    if level == "over":
        return f"Above the {humidity(limit_pct)} its contents ask for."
    return f"Below the {humidity(limit_pct)} its contents ask for."


def _air(air: AirAnswer) -> str:
    parts = []
    if air.temperature_c is not None:
        parts.append(f"{air.temperature_c:.0f} °C")
    if air.dew_point_c is not None:
        parts.append(f"dew point {signed(air.dew_point_c)} °C")
    return ", ".join(parts)


def percent(value: float) -> str:
    """A relative humidity as `humidity` has it, without its unit."""
    return humidity(value).removesuffix(" %RH")


def signed(value: float) -> str:
    """Whole degrees, with a real minus sign; never minus nought."""
    return f"{round(value)}".replace("-", "\N{MINUS SIGN}")


def _trend(air: AirAnswer) -> str:
    change = air.humidity_change_pct
    if change is None or air.stale:
        return ""
    if abs(change) < LEAST_CHANGE_PCT:
        return "steady"
    return f"{'rising' if change > 0 else 'falling'} {abs(change):.1f} in 3 h"
