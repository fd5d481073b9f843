"""Questions about several sensors or corners, from a form's fields to finished words."""

from collections.abc import Mapping, Sequence
from typing import Any

from werkzeug.datastructures import MultiDict

from monitor.errors import BadInputError, FieldError
from monitor.model.sensor_answers import OpenLid, PlacementAnswer, SideBySideAnswer
from monitor.model.sensor_check import MapNow, SensorTold, Stay
from monitor.service.queries import Queries
from web.entry import local_moment
from web.fields import Choice, choices, figure
from web.inside import sentence
from web.present import Presenter, seconds

MOST_SENSORS = 12
CORNERS = (1, 2, 3, 4)
HOURS = ("1", "3", "12", "24")
_FIELDS = ("channel", "beside", *(f"{part}{corner}" for corner in CORNERS for part in ("name", "from", "to")))
_LATEST_S = 4_000_000_000.0


def compared(queries: Queries, args: "MultiDict[str, str]", present: Presenter) -> dict[str, Any]:
    """What the page of a comparison shows."""
    chosen = list(dict.fromkeys(args.getlist("channel")))
    hours = args.get("hours", "1")
    answer, fault = None, ""
    if chosen:
        try:
            answer = side_by_side(queries, args)
        except BadInputError as error:
            fault = sentence(str(error))
    sensors = [(s.channel, s.place_name or s.channel) for s in queries.sensors.all()]
    return {
        "sensors": sorted(sensors, key=lambda item: item[1]),
        "chosen": chosen,
        "hours": hours,
        "all_hours": HOURS if hours in HOURS else (*HOURS, hours[:6]),
        "fault": fault,
        "sentence": "" if answer is None else answer.sentence,
        "when": "" if answer is None else _span(answer, present),
        "rows": [] if answer is None else _rows(answer),
        "lids": [_lid(item, present) for item in queries.sensors.open_lids()[:5]],
    }


def side_by_side(queries: Queries, args: "MultiDict[str, str]") -> SideBySideAnswer:
    """The comparison that a query string asks for; BadInputError names what is wrong."""
    chosen = list(dict.fromkeys(args.getlist("channel")))
    if not 2 <= len(chosen) <= MOST_SENSORS:
        raise FieldError("channel", f"must name 2 to {MOST_SENSORS} sensors")
    hours = figure("hours", args.get("hours", "1"), "0.5 to 48")
    if not 0.5 <= hours <= 48.0:
        raise FieldError("hours", f"is {hours:g}; allowed are 0.5 to 48")
    until_s = queries.now_s()
    if args.get("until"):
        until_s = figure("until", args["until"], "Unix seconds")
        if not 0.0 <= until_s <= _LATEST_S:
            raise FieldError("until", f"is {until_s:g}, which is no time of this world")
    return queries.sensors.side_by_side(chosen, until_s - 3600.0 * hours, until_s)


def placed(queries: Queries, args: "MultiDict[str, str]", present: Presenter) -> dict[str, Any]:
    """What the page about corners shows."""
    answer: PlacementAnswer | None = None
    fault, values = "", {name: text[:40] for name, text in args.items()}
    stays = []
    try:
        stays = _stays(values, present, queries.now_s())
        if stays:
            answer = queries.sensors.placement(values.get("channel", ""), stays, values.get("beside") or None)
    except BadInputError as error:
        fault = sentence(str(error))
    sensors = [(s.channel, s.place_name or s.channel) for s in queries.sensors.all()]
    return {
        "sensors": sorted(sensors, key=lambda item: item[1]),
        "values": values,
        "can_note": answer is not None and len(stays) > 1,
        "seats": _seats(values, stays, answer),
        "corners": CORNERS,
        "fields": _FIELDS,
        "fault": fault,
        "sentence": "" if answer is None else answer.sentence,
        "spots": []
        if answer is None
        else [(s.name, f"{s.humidity_pct:.1f} %RH", f"{s.hours:.0f} h") for s in answer.spots],
        "zone": queries.zone(),
    }


def _seats(
    values: Mapping[str, str], stays: Sequence[Stay], answer: PlacementAnswer | None
) -> tuple[Choice, ...]:
    """Where the sensor may sit from now on; the dampest, where it belongs, unless another was chosen."""
    names = [stay.name for stay in stays] if answer is None else [spot.name for spot in answer.spots]
    chosen = values.get("sits_at", names[0] if answer is not None and names else "")
    return choices([*((name, name) for name in names), ("", "not decided yet")], chosen)


def mapped(queries: Queries, fields: Mapping[str, str], present: Presenter, who: str | None) -> SensorTold:
    """What is told of the corners of a box; BadInputError names what is wrong."""
    values = {name: text[:200].strip() for name, text in fields.items()}
    stays = _stays(values, present, queries.now_s())
    return SensorTold(
        channel=values.get("channel", ""),
        at_s=queries.now_s(),
        who=who or values.get("who", ""),
        wish=MapNow(
            stays=tuple(stays), beside=values.get("beside") or None, sits_at=values.get("sits_at") or None
        ),
    )


def _stays(values: Mapping[str, str], present: Presenter, now_s: float) -> list[Stay]:
    """Corners that were filled in, each with its name and times."""
    stays = []
    for corner in CORNERS:
        name, begin, end = (values.get(f"{part}{corner}", "").strip() for part in ("name", "from", "to"))
        if not (name or begin or end):
            continue
        if not name:
            raise FieldError(f"corner {corner}", "has no name")
        from_s = local_moment(f"the beginning at {name}", begin, present, now_s)
        to_s = local_moment(f"the end at {name}", end, present, now_s)
        if not from_s < to_s <= now_s + 300.0:
            raise FieldError(f"the time at {name}", "must end after it began, and not in the future")
        stays.append(Stay(name=name, from_s=from_s, to_s=to_s))
    return stays


def _rows(answer: SideBySideAnswer) -> list[dict[str, str]]:
    return [
        {
            "name": item.name,
            "channel": item.channel,
            "reads": f"{item.humidity_pct:.1f}",
            "apart": f"{item.difference_pct:+.1f}",
            "allowed": f"{item.allowed_pct:.1f}",
            "says": "▲ differs" if item.is_odd else "",
        }
        for item in answer.sensors
    ]


def _span(answer: SideBySideAnswer, present: Presenter) -> str:
    begin_s, end_s = seconds(answer.begin) or 0.0, seconds(answer.end) or 0.0
    return f"{present.clock(begin_s)} to {present.clock(end_s, '%H:%M')}"


def _lid(item: OpenLid, present: Presenter) -> dict[str, Any]:
    """A lid left open, as a question that the page can ask: over its last hour."""
    until_s = seconds(item.until) or 0.0
    return {
        "name": item.name,
        "channels": item.channels,
        "until": f"{until_s:.0f}",
        "when": f"{present.clock(seconds(item.begin) or 0.0)} to {present.clock(until_s, '%H:%M')}",
    }
