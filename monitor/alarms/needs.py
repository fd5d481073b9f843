"""From the state of all places to the short list of what a person should do, most pressing first."""

from collections.abc import Iterable, Iterator, Mapping

from monitor.alarms import wording
from monitor.alarms.box_conditions import OLD, box_conditions
from monitor.alarms.place_conditions import misplaced
from monitor.alarms.spool_conditions import rewetting
from monitor.model.answers import AirAnswer, BoxAnswer, Need, OvenAnswer, RoomAnswer, SpoolAnswer
from monitor.model.condition import Condition
from monitor.model.sensor_check import Seat

# Where silica gel has given up what is useful of it: at 20 %RH it holds half of all it can.
CLEARLY_HUMID_PCT = 20.0
STORM = 4  # this many at once have a common cause
# Of a box the first of these that holds is told: each is a cause of those after it.
_LEVELS = {
    "lid_open": "now",
    "box_leaky": "soon",
    "wet_contents": "soon",
    "desiccant_spent": "soon",
    "charge_too_small": "check",
    "desiccant_soon": "check",
    "contents_unannounced": "check",
    "sensor_implausible": "check",
}
LID_MIN = 45.0
_ORDER = {"now": 0, "soon": 1, "check": 2}


def needs(
    boxes: Iterable[BoxAnswer],
    rooms: Iterable[RoomAnswer],
    ovens: Iterable[OvenAnswer],
    spools: Iterable[SpoolAnswer],
    now_s: float,
    unplaced: tuple[str, ...],
    material_names: Mapping[str, str],
    more: Iterable[Need] = (),
) -> tuple[Need, ...]:
    """What needs a person, most pressing first, with `more` among it; empty when nothing does."""
    boxes, rooms, ovens, spools = tuple(boxes), tuple(rooms), tuple(ovens), tuple(spools)
    found: list[Need] = list(more)
    for oven in ovens:
        found.extend(_of_oven(oven))
    places = [(box.key, box.name, box.air) for box in boxes] + [(r.key, r.name, r.air) for r in rooms]
    silent = [place for place in places if place[2].freshness in OLD]
    answers = {spool.key: spool for spool in spools}
    of_boxes = {box.key: _most_pressing(box_conditions(box, answers, now_s)) for box in boxes}
    # A box whose cause is told is not told again for its humidity.
    over = [box for box in boxes if _is_over(box) and of_boxes[box.key] is None]
    for condition in of_boxes.values():
        if condition is not None:
            level = _LEVELS[condition.type]
            found.append(Need(place=condition.place, level=level, what=condition.what, act=condition.act))
    found.extend(_humid(box, material_names) for box in over if _is_clear(box))
    names = {place[0]: place[1] for place in places} | {oven.key: oven.name for oven in ovens}
    found.extend(_rewetting(spools, boxes, names, now_s))
    found.extend(_silent(silent))
    found.extend(_above_wish([box for box in over if not _is_clear(box)]))
    if unplaced:
        what, act = wording.unplaced(unplaced)
        found.append(Need(place="", level="check", what=what, act=act))
    return tuple(sorted(found, key=lambda need: _ORDER[need.level]))


def of_seats(boxes: Iterable[BoxAnswer], seats: Mapping[str, Seat]) -> Iterator[Need]:
    """Sensors to be moved, the least pressing of all; what else is wrong with their boxes has other causes.

    Args:
        boxes: As answered.
        seats: By box.
    """
    for condition in (misplaced(box.key, box.name, seats.get(box.key)) for box in boxes):
        if condition.holds:
            yield Need(place=condition.place, level="check", what=condition.what, act=condition.act)


def _most_pressing(conditions: Iterable[Condition]) -> Condition | None:
    holding = {condition.type: condition for condition in conditions if condition.holds}
    lid = holding.get("lid_open")
    if lid is not None and (lid.value or 0.0) < LID_MIN:  # a hand is in the box
        del holding["lid_open"]
    return next((holding[kind] for kind in _LEVELS if kind in holding), None)


def _of_oven(oven: OvenAnswer) -> Iterator[Need]:
    if oven.trip is not None:
        what, act = wording.tripped(oven.name, str(oven.trip.get("what", "no reason given")))
        yield Need(place=oven.key, level="now", what=what, act=act)
    if oven.hot and oven.chamber_c is not None:
        what, act = wording.hot(oven.name, oven.chamber_c)
        yield Need(place=oven.key, level="now", what=what, act=act)


def _is_over(box: BoxAnswer) -> bool:
    humidity_pct, limit_pct = box.air.humidity_pct, box.limit_humidity_pct
    if box.air.freshness in OLD or humidity_pct is None or limit_pct is None:
        return False
    return humidity_pct > limit_pct + wording.SENSOR_ERROR_PCT


def _is_clear(box: BoxAnswer) -> bool:
    return box.air.humidity_pct is not None and box.air.humidity_pct >= CLEARLY_HUMID_PCT


def _humid(box: BoxAnswer, material_names: Mapping[str, str]) -> Need:
    assert box.air.humidity_pct is not None  # as _is_over says
    assert box.limit_humidity_pct is not None
    material = material_names.get(box.limit_material or "", "What is")
    what, act = wording.too_humid(box.name, box.air.humidity_pct, box.limit_humidity_pct, material)
    return Need(place=box.key, level="soon", what=what, act=act)


def _rewetting(
    spools: tuple[SpoolAnswer, ...], boxes: tuple[BoxAnswer, ...], names: Mapping[str, str], now_s: float
) -> Iterator[Need]:
    """Dry spools that pass their limit within hours where they are, the first one first."""
    of = {spool.key: spool for spool in spools}
    soon = [(c.value, of[c.place]) for c in rewetting(spools, boxes, now_s) if c.holds]
    soon.sort(key=lambda item: 0.0 if item[0] is None else item[0])
    if len(soon) >= STORM:
        what, act = wording.many_rewetting(
            tuple(spool.name for _, spool in soon), max(soon[0][0] or 0.0, 0.0)
        )
        yield Need(place="", level="soon", what=what, act=act)
        return
    for hours, spool in soon:
        place = None if spool.place is None else names.get(spool.place)
        what, act = (
            wording.rewet_now(spool.name)
            if hours is None
            else wording.rewet_soon(spool.name, max(hours, 0.0), place)
        )
        yield Need(place=spool.place or "", level="soon", what=what, act=act)


def _above_wish(boxes: list[BoxAnswer]) -> Iterator[Need]:
    """Several boxes a little above what their contents ask for are one line, not a wall of them."""
    if boxes:
        what, act = wording.above_wish(tuple(box.name for box in boxes))
        yield Need(place=boxes[0].key if len(boxes) == 1 else "", level="check", what=what, act=act)


def _silent(places: list[tuple[str, str, AirAnswer]]) -> Iterator[Need]:
    """Many silent sensors at once have one cause; they are one line (A-22)."""
    if len(places) >= STORM:
        what, act = wording.many_silent(tuple(name for _, name, _ in places))
        yield Need(place="", level="soon", what=what, act=act)
        return
    for key, name, air in places:
        what, act = wording.silent(name, air.freshness, air.age_s)
        yield Need(place=key, level="check", what=what, act=act)
