"""Sensors in finished words and numbers: a row of the list, records, points, salts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.model.records import Withdrawn, effective
from monitor.model.sensor_answers import (
    Due,
    GuideAnswer,
    JarAnswer,
    LookBack,
    PointAnswer,
    SaltAnswer,
    SensorAnswer,
)
from monitor.model.sensor_check import (
    Checked,
    Compared,
    CorrectionSet,
    InJar,
    Installed,
    Mapped,
    Seat,
    Seated,
    SensorEvent,
    SensorWhat,
    Verdict,
)
from web.fields import Choice, choices
from web.present import Presenter, seconds

_VERDICTS = {
    Verdict.WITHIN: ("✓", "Within its data sheet"),
    Verdict.CORRECT: ("◆", "Correct it"),
    Verdict.REPLACE: ("▲", "Check again or replace it"),
}
_DUES = {
    Due.NEVER: "never checked",
    Due.GOOD: "next check by {day}",
    Due.SOON: "check due by {day}",
    Due.OVERDUE: "check overdue since {day}",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A sensor in the list."""

    node: str
    channel: str
    name: str
    key: str
    mark: str
    verdict: str
    level: str  # calm | over | alarm | unknown
    figure: str
    checked: str
    due: str
    is_due: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    number: int
    words: str
    when: str
    who: str
    is_gone: bool


def row(sensor: SensorAnswer, present: Presenter) -> Row:
    node, _, channel = sensor.channel.partition("/")
    mark, verdict, level = _verdict(sensor)
    checked_s = seconds(sensor.check.at) if sensor.check else None
    return Row(
        node=node,
        channel=channel,
        name=sensor.place_name or "Placed nowhere",
        key=sensor.channel,
        mark=mark,
        verdict=verdict,
        level=level,
        figure="not heard" if sensor.shown_pct is None else f"{sensor.shown_pct:.1f} %RH",
        checked="" if checked_s is None else f"checked {present.clock(checked_s, '%d %b %Y')}",
        due=_DUES[sensor.due_state].format(day=_day(sensor.due, present)),
        is_due=sensor.due_state in (Due.SOON, Due.OVERDUE),
    )


def facts(sensor: SensorAnswer, present: Presenter) -> tuple[tuple[str, str], ...]:
    """Names and figures under the headline."""
    found = [("Channel", sensor.channel)]
    if sensor.shown_pct is not None and sensor.raw_pct is not None:
        shown = f"{sensor.shown_pct:.1f} %RH"
        if sensor.correction is not None:
            shown += f", corrected from {sensor.raw_pct:.1f}"
        found.append(("Last reading", f"{shown}, {_minute(sensor.at, present)}"))
    if sensor.correction is not None:
        held = sensor.correction
        gain = "" if held.gain == 1.0 else f", gain {held.gain:.3f}"
        left = "" if held.uncertainty_pct is None else f", ±{held.uncertainty_pct:.1f} %RH left"
        found.append(
            ("Correction", f"{held.offset_pct:+.1f} %RH{gain}{left}, since {_day(held.since, present)}")
        )
    found.append(
        ("Data sheet", f"±{sensor.tolerance_pct:g} %RH; checked every {sensor.interval_months} months")
    )
    if sensor.serial is not None:
        found.append(("Serial number", f"{sensor.serial}, since {_day(sensor.installed, present)}"))
    return tuple(found)


def seat(found: Seat | None, present: Presenter) -> tuple[tuple[str, str], ...]:
    """Where it sits and what the corners of its box told last, as names and words."""
    if found is None:
        return ()
    corners = f"{placed(found.mapped)} Looked at {present.clock(found.mapped_s, '%d %b %Y')}."
    return ("Where it sits", _seated(found, present)), ("Corners of its box", corners)


def seat_choices(found: Seat | None) -> tuple[Choice, ...]:
    """Where it can be said to sit: the dampest corner first, where it belongs."""
    names = [] if found is None else [corner.name for corner in found.mapped.corners]
    return choices([(name, name) for name in names], names[0] if names else "")


def is_seat_due(found: Seat | None) -> bool:
    """Whether it is to be told where it sits, or to be moved."""
    return found is not None and (found.is_misplaced or (found.drier_pct is None and found.mapped.is_uneven))


def _seated(found: Seat, present: Presenter) -> str:
    drier_pct = found.drier_pct
    if drier_pct is None and not found.mapped.is_uneven:
        return "Not told yet; it may sit in any of its corners."
    if drier_pct is None:
        return f"Not told yet. It belongs at “{found.dampest}”, the dampest corner."
    where = f"“{found.sits_at}”, as told {present.clock(found.told_s, '%d %b %Y')}"
    if found.sits_at == found.dampest:
        return f"{where}: the dampest corner, where it belongs."
    apart = f"{where}, where it reads {drier_pct:.1f} %RH drier than in the dampest corner"
    if found.is_misplaced:
        return f"{apart}: move it to “{found.dampest}”."
    return f"{apart}: near enough."


def records(
    events: Sequence[SensorEvent], salts: Mapping[str, str], present: Presenter
) -> tuple[Record, ...]:
    """The newest first; what was replaced or withdrawn is struck through, not gone."""
    standing = {event.event_id for event in effective(events)}
    told = [event for event in events if not isinstance(event.what, Withdrawn)]
    return tuple(
        Record(
            number=event.event_id,
            words=_told(event.what, salts),
            when=present.clock(event.at_s, "%d %b %Y %H:%M"),
            who=event.who,
            is_gone=event.event_id not in standing,
        )
        for event in sorted(told, key=lambda e: (e.at_s, e.event_id), reverse=True)
    )


def point(item: PointAnswer, salts: Mapping[str, str], present: Presenter) -> dict[str, str]:
    """A check point as a row of a table."""
    return {
        "salt": salts.get(item.salt, item.salt),
        "when": _minute(item.at, present),
        "read": f"{item.reading_pct:.1f}",
        "should": f"{item.reference_pct:.1f} ± {item.uncertainty_pct:.1f}",
        "found": f"{item.error_pct:+.1f}",
        "left": f"{_signless_zero(item.as_left_pct)}",
        "verdict": _VERDICTS[item.verdict][1],
    }


def salt(item: SaltAnswer, is_fit: bool) -> dict[str, object]:
    return {
        "key": item.key,
        "name": item.name,
        "formula": item.formula,
        "humidity": f"{item.humidity_pct:.1f} %RH",
        "tells": item.tells,
        "handling": item.handling,
        "is_fit": is_fit,
    }


def jar(item: JarAnswer, salts: Mapping[str, str], present: Presenter) -> dict[str, object]:
    """A sensor in its jar: what it shows and where it should arrive."""
    wanted = ""
    if item.reference_pct is not None and item.uncertainty_pct is not None:
        wanted = f"{item.reference_pct:.1f} ± {item.uncertainty_pct:.1f} %RH"
        wanted += "" if item.temperature_c is None else f" at {item.temperature_c:.1f} °C"
    return {
        "salt": salts.get(item.salt, item.salt),
        "since": _minute(item.since, present),
        "settling": item.settling,
        "sentence": item.sentence,
        "reads": "" if item.humidity_pct is None else f"{item.humidity_pct:.1f} %RH",
        "wanted": wanted,
        "moves": "" if item.rate_pct_per_h is None else f"{_signless_zero(item.rate_pct_per_h)} %RH an hour",
    }


def look_back(
    item: LookBack | None, names: Mapping[str, str], present: Presenter
) -> dict[str, object] | None:
    """What rested on it, place by place."""
    if item is None:
        return None
    return {
        "sentence": item.sentence,
        "places": [
            {
                "key": each.place,
                "name": each.place_name,
                "span": f"{_day(each.begin, present)} to {_day(each.end, present)}",
                "spools": [(key, names.get(key, key)) for key in each.spools],
            }
            for each in item.items
        ],
    }


def step(guide: GuideAnswer) -> str:
    """Where the check stands: choose | jar | result."""
    if guide.jar is not None:
        return "jar"
    return "result" if guide.points else "choose"


def is_noted(guide: GuideAnswer) -> bool:
    """Whether the point of the jar that it lies in is written down already."""
    jar_now = guide.jar
    if jar_now is None:
        return False
    return any(item.salt == jar_now.salt and item.at >= jar_now.since for item in guide.points)


def _verdict(sensor: SensorAnswer) -> tuple[str, str, str]:
    if sensor.away_since is not None:
        return "○", "Being checked", "unknown"
    if sensor.check is None:
        return "○", "Not checked", "unknown"
    if sensor.check.is_corrected_since:
        return "✓", "Corrected", "calm"
    mark, words = _VERDICTS[sensor.check.verdict]
    level = {Verdict.WITHIN: "calm", Verdict.CORRECT: "over", Verdict.REPLACE: "alarm"}
    return mark, words, level[sensor.check.verdict]


def _told(what: SensorWhat, salts: Mapping[str, str]) -> str:
    if isinstance(what, Installed):
        return f"Sensor {what.serial} fitted, ±{what.tolerance_pct:g} %RH"
    if isinstance(what, InJar):
        return f"Put over {salts.get(what.salt, what.salt)}"
    if isinstance(what, Checked):
        return (
            f"Read {what.shown_pct:.1f} over {salts.get(what.salt, what.salt)},"
            f" should be {what.reference_pct:.1f} ± {what.uncertainty_pct:.1f} %RH"
        )
    if isinstance(what, Compared):
        odd = ", the odd one" if what.is_odd else ""
        return f"Read {what.difference_pct:+.1f} %RH beside {', '.join(what.others)}{odd}"
    if isinstance(what, CorrectionSet):
        if (what.offset_pct, what.gain) == (0.0, 1.0):
            return "Correction ended"
        return f"Corrected by {what.offset_pct:+.2f} %RH, gain {what.gain:.3f}"
    if isinstance(what, Mapped):
        sits = "" if what.sits_at is None else f" It sits at “{what.sits_at}”."
        return f"Its box looked at from corner to corner. {placed(what)}{sits}"
    if isinstance(what, Seated):
        return f"It sits at “{what.sits_at}” from then on"
    return "Put back at its place"


def placed(what: Mapped) -> str:
    """Where the sensor has to sit, after the corners were looked at."""
    first, last = what.corners[0], what.corners[-1]
    short = "; stays of less than a day, take it with care" if what.is_short else ""
    if not what.is_uneven:
        return f"The corners agree within {what.spread_pct:.1f} %RH: it may sit in any of them{short}."
    over = f"{what.spread_pct:.1f} %RH over {last.name}"
    return f"{first.name} is the dampest, {over}: the sensor belongs there{short}."


def _day(text: str | None, present: Presenter) -> str:
    time_s = seconds(text) if text else None
    return "" if time_s is None else present.clock(time_s, "%d %b %Y")


def _minute(text: str | None, present: Presenter) -> str:
    time_s = seconds(text) if text else None
    return "" if time_s is None else present.clock(time_s, "%d %b %H:%M")


def _signless_zero(value: float) -> str:
    return "0.0" if abs(value) < 0.05 else f"{value:+.1f}"
