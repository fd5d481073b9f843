"""Lid openings, told from the air's step and its decay; nonsense readings told from openings."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from monitor.estimate.box_belief import AIR, BoxBelief, Lid
from monitor.estimate.box_model import BoxModel
from monitor.physics.psychrometrics import saturated_vapour_kg_m3

# A jump that temperature and desiccant cannot make between two readings.
_JUMP = 0.012
_FALLEN = 0.35  # of the jump left: the lid is shut and the bed takes the rest
_ODD_FALL = 0.2
# A sensor's step is there at once, stays as it came, and is small; air takes minutes.
_SUDDEN, _FLAT, _LARGEST_STEP = 0.85, 0.006, 0.10
# An opening counts as more than the one change of air that it lets in: so tightness comes out right in trial
# boxes that are opened often, presumably since windings give back for days what they took.
AIR_CHANGES = 1.4
_LONGEST_OPEN_S = 2.0 * 3600.0
# Within so long the hand is out again, and what the bed took meanwhile is in the count above.
_SHORT_S = 1200.0
_LIKE_ROOM = 0.8
_SWAP_SD, _LONG_SD = 0.35, 0.6  # relative
_MOST_TAKEN = 0.05  # of the dry mass, in one opening


class EventKind(StrEnum):
    LID_OPENED = "lid_opened"
    LID_SHUT = "lid_shut"
    LID_LEFT_OPEN = "lid_left_open"
    OUTLIER = "outlier"
    SENSOR_STEPPED = "sensor_stepped"
    DESICCANT_CHANGED = "desiccant_changed"  # nobody entered it
    CONTENTS_CHANGED = "contents_changed"  # nobody entered it: a spool, or less desiccant


# Somebody has to be asked what was done, since nobody entered it.
ASKED_ABOUT = (EventKind.DESICCANT_CHANGED, EventKind.CONTENTS_CHANGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    kind: EventKind
    time_s: float
    water_kg: float = 0.0  # let in
    water_kg_sd: float = 0.0
    is_usual: bool = True  # a hand in it for some minutes; else it stood open for long
    humidity_step: float = 0.0  # of the sensor, 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxReading:
    """One reading of a box beside what its room had at the time."""

    time_s: float
    temperature_c: float
    relative_humidity: float  # unclamped: a dry sensor may read below 0
    room_kg_m3: float | None = None  # vapour of the room; None = not known


Watched = tuple[BoxBelief, tuple[Event, ...], bool]


def is_possible(reading: BoxReading) -> bool:
    """Whether a reading can be one of a box indoors."""
    finite = math.isfinite(reading.relative_humidity) and math.isfinite(reading.temperature_c)
    return finite and -0.06 <= reading.relative_humidity <= 1.05 and -20.0 <= reading.temperature_c <= 80.0


def watch(model: BoxModel, belief: BoxBelief, reading: BoxReading) -> Watched:
    """The lid after a reading, what happened, and whether the air is calm enough to be averaged."""
    noted = replace(belief, humidity=reading.relative_humidity, seen_s=reading.time_s)
    if belief.humidity < 0.0:
        return noted, (), True
    if belief.lid.phase == "shut":
        return _while_shut(belief, noted, reading)
    if belief.lid.phase == "doubtful":
        return _while_doubtful(model, noted, reading)
    return _while_open(model, noted, reading)


def _while_shut(belief: BoxBelief, noted: BoxBelief, reading: BoxReading) -> Watched:
    if reading.relative_humidity - belief.humidity < _JUMP:
        return noted, (), True
    lid = Lid(
        phase="doubtful",
        since_s=reading.time_s,
        base_humidity=belief.humidity,
        first_humidity=reading.relative_humidity,
        peak_humidity=reading.relative_humidity,
    )
    return replace(noted, lid=lid), (), False


def _while_doubtful(model: BoxModel, noted: BoxBelief, reading: BoxReading) -> Watched:
    """The next reading decides: nonsense is gone at once, a box's air is not."""
    lid = noted.lid
    left = (reading.relative_humidity - lid.base_humidity) / (lid.peak_humidity - lid.base_humidity)
    if left < _ODD_FALL:
        return replace(noted, lid=Lid()), (Event(kind=EventKind.OUTLIER, time_s=lid.since_s),), True
    opened = Event(kind=EventKind.LID_OPENED, time_s=lid.since_s)
    after, events, is_calm = _while_open(model, replace(noted, lid=replace(lid, phase="open")), reading)
    return after, (opened, *events), is_calm


def _while_open(model: BoxModel, noted: BoxBelief, reading: BoxReading) -> Watched:
    lid = noted.lid
    peak = max(lid.peak_humidity, reading.relative_humidity)
    noted = replace(noted, lid=replace(lid, peak_humidity=peak))
    left = (reading.relative_humidity - lid.base_humidity) / (peak - lid.base_humidity)
    # Left open for days it follows the room: then only the room's present air is a measure.
    if not _is_like_room(noted, reading) if lid.is_told else left < _FALLEN:
        water_kg, water_kg_sd, is_usual = _water_kg(model, noted, reading)
        shut = Event(
            kind=EventKind.LID_SHUT,
            time_s=reading.time_s,
            water_kg=water_kg,
            water_kg_sd=water_kg_sd,
            is_usual=is_usual,
        )
        return replace(noted, lid=Lid()), (shut,), False
    if reading.time_s - lid.since_s < _LONGEST_OPEN_S:
        return noted, (), False
    if _is_like_room(noted, reading):
        told = replace(noted, lid=replace(noted.lid, is_told=True))
        event = Event(kind=EventKind.LID_LEFT_OPEN, time_s=lid.since_s)
        return told, (() if lid.is_told else (event,)), False
    # It stays high without the room's air: not the lid.
    jump = peak - lid.base_humidity
    is_sudden = lid.first_humidity - lid.base_humidity > _SUDDEN * jump
    if is_sudden and peak - reading.relative_humidity < _FLAT and jump < _LARGEST_STEP:
        event = Event(kind=EventKind.SENSOR_STEPPED, time_s=lid.since_s, humidity_step=jump)
    else:
        event = Event(kind=EventKind.CONTENTS_CHANGED, time_s=lid.since_s)
    return replace(noted, lid=Lid()), (event,), True


def _is_like_room(belief: BoxBelief, reading: BoxReading) -> bool:
    room = reading.room_kg_m3 if reading.room_kg_m3 is not None else belief.room_kg_m3
    inside = reading.relative_humidity * saturated_vapour_kg_m3(reading.temperature_c)
    base = belief.lid.base_humidity * saturated_vapour_kg_m3(reading.temperature_c)
    return inside - base > (0.35 if belief.lid.is_told else 0.6) * (room - base)


def _water_kg(model: BoxModel, belief: BoxBelief, reading: BoxReading) -> tuple[float, float, bool]:
    """A change of air, and what the bed takes from the room's while it stands open for long.

    Returns:
        Its mean and standard deviation [kg], and whether it was an opening as usual.
    """
    room = reading.room_kg_m3 if reading.room_kg_m3 is not None else belief.room_kg_m3
    before = belief.lid.base_humidity * saturated_vapour_kg_m3(reading.temperature_c)
    drive = max(room - before, 0.0)
    swap_kg = AIR_CHANGES * model.volume_m3 * drive
    # Only air that was the room's tells of a lid: a wet spool keeps it up for hours, too. Over a large bed it
    # stays drier than the room's all the while; a lid that was told as open for hours was open.
    above = belief.lid.peak_humidity * saturated_vapour_kg_m3(reading.temperature_c) - before
    was_room = _LIKE_ROOM * drive <= above <= drive / _LIKE_ROOM
    is_long = was_room or belief.lid.is_told
    long_s = max(reading.time_s - belief.lid.since_s - _SHORT_S, 0.0) if is_long else 0.0
    # How fast a bed takes water up is known badly from the shut box: half way to what beds usually do.
    into_bed_m3_s = math.sqrt(math.exp(belief.state[AIR]) * model.tables.air_m3_s)
    taken_kg = min(into_bed_m3_s * min(drive, above) * long_s, _MOST_TAKEN * model.dry_kg)
    return swap_kg + taken_kg, _SWAP_SD * swap_kg + _LONG_SD * taken_kg, long_s == 0.0
