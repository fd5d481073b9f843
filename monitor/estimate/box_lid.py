"""Lid openings, told from the air's step and its decay; nonsense readings told from openings."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from monitor.estimate.box_belief import AIR, BoxBelief, Lid
from monitor.estimate.box_model import BoxModel
from monitor.estimate.box_water import taken_up_kg
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
# Within so long the hand is out again, and what the bed took meanwhile is in the count above. An opening that
# lasts longer is counted whole.
_SHORT_S = 1200.0
_LEAST_LIKE_ROOM, _MOST_LIKE_ROOM = 0.5, 0.8
# Shares of the way from the box's air to the room's: of a lid that may be open, of one that no longer is.
_LIKE_ROOM, _UNLIKE_ROOM = 0.6, 0.35
# Of the share of late: less at once is a lid that was shut. Of the highest: less is water of the box's own.
_DROPPED, _LATE_S = 0.65, 1800.0
_SUNK, _WETTER = 0.88, 1.1
_LEAST_DRIVE_KG_M3, _MOST_SHARE = 1e-4, 5.0
_SWAP_SD, _LONG_SD = 0.35, 0.6  # relative
# With its lid off a box changes its air in about a minute. What a sensor errs by hides shares above this.
_OPEN_CHANGE_S, _NEARLY_ROOM = 60.0, 0.96


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
    swap_kg: float = 0.0  # let in with the air
    swap_kg_sd: float = 0.0
    # Where it stood open for longer than a hand is in it: how long, what the bed took, in which air.
    open_s: float = 0.0
    taken_kg: float = 0.0
    taken_kg_sd: float = 0.0
    humidity: float = 0.0
    humidity_step: float = 0.0  # of the sensor, 0 to 1

    @property
    def water_kg(self) -> float:
        """All that was let in."""
        return self.swap_kg + self.taken_kg


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
    return _while_open(model, noted, reading, reading.time_s - belief.seen_s)


def after_silence(belief: BoxBelief, reading: BoxReading) -> Lid:
    """The lid as the first reading after a long silence finds it: open still where the air is the room's."""
    is_open = belief.lid.is_told or (
        belief.lid.phase == "open" and _share(belief, reading) > max(_LIKE_ROOM, _DROPPED * belief.lid.share)
    )
    return belief.lid if is_open else Lid()


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
    after, events, is_calm = _while_open(
        model, replace(noted, lid=replace(lid, phase="open")), reading, reading.time_s - lid.since_s
    )
    return after, (opened, *events), is_calm


def _while_open(model: BoxModel, noted: BoxBelief, reading: BoxReading, passed_s: float) -> Watched:
    share = _share(noted, reading)
    has_dropped = share < _DROPPED * noted.lid.share
    peak = max(noted.lid.peak_humidity, reading.relative_humidity)
    noted = replace(noted, lid=_followed(noted.lid, peak, share, passed_s))
    lid = noted.lid
    left = (reading.relative_humidity - lid.base_humidity) / (peak - lid.base_humidity)
    # Left open for days it follows the room: then only the room's present air is a measure.
    has_parted = share < _UNLIKE_ROOM or (has_dropped and share < _LIKE_ROOM)
    if has_parted if lid.is_told else left < _FALLEN:
        if lid.is_told and not has_dropped:
            # A lid that is shut parts the air from the room's in minutes; what dries in the box, over hours.
            changed = Event(kind=EventKind.CONTENTS_CHANGED, time_s=lid.since_s)
            return replace(noted, lid=Lid()), (changed,), False
        return replace(noted, lid=Lid()), (_shut(model, noted, reading, has_dropped),), False
    if lid.is_told or reading.time_s - lid.since_s < _LONGEST_OPEN_S:
        return noted, (), False
    if share > _LIKE_ROOM and not _has_own_water(lid, reading, share):
        event = Event(kind=EventKind.LID_LEFT_OPEN, time_s=lid.since_s)
        return replace(noted, lid=replace(lid, is_told=True)), (event,), False
    # It stays high without the room's air: not the lid.
    jump = peak - lid.base_humidity
    is_sudden = lid.first_humidity - lid.base_humidity > _SUDDEN * jump
    if is_sudden and peak - reading.relative_humidity < _FLAT and jump < _LARGEST_STEP:
        event = Event(kind=EventKind.SENSOR_STEPPED, time_s=lid.since_s, humidity_step=jump)
    else:
        event = Event(kind=EventKind.CONTENTS_CHANGED, time_s=lid.since_s)
    return replace(noted, lid=Lid()), (event,), True


def _followed(lid: Lid, peak: float, share: float, passed_s: float) -> Lid:
    fresh = -math.expm1(-passed_s / _LATE_S) if lid.most_share else 1.0
    return replace(
        lid,
        peak_humidity=peak,
        share=lid.share + fresh * (share - lid.share),
        most_share=max(lid.most_share, share),
    )


def _has_own_water(lid: Lid, reading: BoxReading, share: float) -> bool:
    """Whether a wet spool keeps the air up, and not the room: by an open lid it neither sinks nor rises."""
    return reading.room_kg_m3 is not None and (share < _SUNK * lid.most_share or share > _WETTER)


def _room_kg_m3(belief: BoxBelief, reading: BoxReading) -> float:
    return reading.room_kg_m3 if reading.room_kg_m3 is not None else belief.room_kg_m3


def _share(belief: BoxBelief, reading: BoxReading) -> float:
    """How much of the way from the air before the opening to the room's air the box's has gone."""
    saturated = saturated_vapour_kg_m3(reading.temperature_c)
    base = belief.lid.base_humidity * saturated
    drive = max(_room_kg_m3(belief, reading) - base, _LEAST_DRIVE_KG_M3)
    return float(min(max((reading.relative_humidity * saturated - base) / drive, 0.0), _MOST_SHARE))


def _shut(model: BoxModel, belief: BoxBelief, reading: BoxReading, has_dropped: bool) -> Event:
    """A change of air, and what the bed takes from the room's while it stands open for long."""
    lid, saturated = belief.lid, saturated_vapour_kg_m3(reading.temperature_c)
    before = lid.base_humidity * saturated
    drive = max(_room_kg_m3(belief, reading) - before, 0.0)
    swap_kg = AIR_CHANGES * model.volume_m3 * drive
    # Only air that fell from the room's at once tells of a lid: a wet spool keeps it up for hours, too. Over
    # a large bed it stays drier than the room's all the while; a lid told as open for hours was open.
    above = lid.peak_humidity * saturated - before
    was_room = has_dropped and _LEAST_LIKE_ROOM * drive <= above <= drive / _MOST_LIKE_ROOM
    open_s = reading.time_s - lid.since_s
    open_s = open_s if open_s > _SHORT_S and (was_room or lid.is_told) else 0.0
    into_bed_m3_s = _into_bed_m3_s(model, belief, above / drive if drive > 0.0 else 1.0)
    air_kg_m3 = before + min(drive, above)
    taken_kg = taken_up_kg(model, belief.state, into_bed_m3_s, air_kg_m3, reading.temperature_c, open_s)
    return Event(
        kind=EventKind.LID_SHUT,
        time_s=reading.time_s,
        swap_kg=swap_kg,
        swap_kg_sd=_SWAP_SD * swap_kg,
        open_s=open_s,
        taken_kg=taken_kg,
        taken_kg_sd=_LONG_SD * taken_kg,
        humidity=lid.peak_humidity,
    )


def _into_bed_m3_s(model: BoxModel, belief: BoxBelief, share: float) -> float:
    """Air that gives its water to the bed beside an open lid.

    It is known badly from the shut box. Air that stays drier than the room's tells of it, too: as much flows
    into the bed as keeps it so against what comes in. Half way between both.
    """
    apart = 1.0 / min(max(share, _LEAST_LIKE_ROOM), _NEARLY_ROOM) - 1.0
    return math.sqrt(math.exp(belief.state[AIR]) * apart * model.volume_m3 / _OPEN_CHANGE_S)
