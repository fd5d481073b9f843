"""A spool's exposure account: its stays, what each did, and what drying it went through (D-01 to D-06)."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace

from monitor.estimate.spool_belief import Belief, Body, pack, unpack
from monitor.estimate.spool_course import Around, Passage, equivalent_humidity, is_hot

Means = Callable[[Body, Belief], tuple[float, float, float]]  # mean water content: 10th, 50th, 90th

STAYS_KEPT = 40
_SHORTEST_STAY_S = 600.0
_FULL_COVER = 0.95  # of a drying, before it counts as evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A time at one place."""

    place: str | None
    is_sealed: bool
    from_s: float
    to_s: float
    gained_g: float  # water, by the nominal member; negative = lost
    equivalent_pct: float | None  # the constant humidity that would have done the same
    worst_pct: float | None  # dampest half hour
    unmeasured_s: float
    is_hot: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """The stay that goes on."""

    place: str | None = None
    is_sealed: bool = False
    is_hot: bool = False
    from_s: float = 0.0
    to_s: float = 0.0
    gained_g: float = 0.0
    worst: float | None = None
    warmth_s: float = 0.0  # temperature times time [degC s]
    unmeasured_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Diary:
    """What is added up along a spool's course; all of the nominal member."""

    exposure_s: float = 0.0  # in air that would take it over its limit, since the last reset
    reset_s: float | None = None  # when it was last dried with evidence
    partly_s: float | None = None  # when it was last dried without
    dryings: int = 0
    hot_s: float = 0.0  # all its time in heat, which ages it
    spoiled: str | None = None
    assumed_s: float = 0.0  # time since the start for which nothing was measured round it
    last_air: tuple[float, float] | None = None  # temperature [degC], relative humidity: the last measured
    last_weighing: str | None = None
    last_signs: str | None = None
    present: Present = field(default_factory=Present)
    stays: tuple[Stay, ...] = ()


def note_step(
    body: Body,
    diary: Diary,
    around: Around,
    passage: Passage,
    from_s: float,
    dt_s: float,
) -> Diary:
    """The account after a step in the stay that goes on."""
    present = diary.present
    worst = None if around.is_sealed else max(present.worst or 0.0, around.relative_humidity)
    dark_s = 0.0 if around.is_measured or around.is_sealed else dt_s
    runs = passage.heading_for > body.material.limit_content and not around.is_sealed
    hot_s = dt_s if is_hot(around) else 0.0
    return replace(
        diary,
        exposure_s=diary.exposure_s + (dt_s if runs else 0.0),
        hot_s=diary.hot_s + hot_s,
        assumed_s=diary.assumed_s + dark_s,
        last_air=(around.temperature_c, around.relative_humidity) if around.is_measured else diary.last_air,
        present=replace(
            present,
            to_s=from_s + dt_s,
            gained_g=present.gained_g + 1000.0 * passage.gained_kg,
            worst=worst,
            warmth_s=present.warmth_s + around.temperature_c * dt_s,
            unmeasured_s=present.unmeasured_s + dark_s,
        ),
    )


def is_same_stay(present: Present, around: Around) -> bool:
    """A gap in the readings ends no stay: whether the heat went on in it is what nobody knows."""
    if present.to_s == 0.0 or present.place != around.place or present.is_sealed != around.is_sealed:
        return False
    return present.is_hot == is_hot(around) or not around.is_measured


def turned_over(
    body: Body, diary: Diary, start: Belief | None, now: Belief, around: Around, at_s: float, mean: Means
) -> Diary:
    """A new stay begins: the one before is closed, and after heat it is judged whether that was a drying."""
    before = diary.present
    if before.to_s - before.from_s >= _SHORTEST_STAY_S and start is not None:
        equivalent = _equivalent_pct(body, before, start, mean(body, now)[1])
        stay = Stay(
            place=before.place,
            is_sealed=before.is_sealed,
            from_s=before.from_s,
            to_s=before.to_s,
            gained_g=before.gained_g,
            equivalent_pct=equivalent,
            worst_pct=None if before.worst is None else 100.0 * before.worst,
            unmeasured_s=before.unmeasured_s,
            is_hot=before.is_hot,
        )
        diary = replace(diary, stays=(*diary.stays, stay)[-STAYS_KEPT:])
        if before.is_hot:
            diary = _after_heat(body, diary, before, mean(body, now))
    fresh = Present(
        place=around.place, is_sealed=around.is_sealed, is_hot=is_hot(around), from_s=at_s, to_s=at_s
    )
    return replace(diary, present=fresh)


def proven_dry(diary: Diary, at_s: float) -> Diary:
    """A weighing showed it dry: that is evidence, too (D-04)."""
    return replace(diary, reset_s=at_s, exposure_s=0.0)


def dump(diary: Diary, belief: Belief, start: Belief | None) -> bytes:
    """Account and belief as stored."""
    head = json.dumps(asdict(diary)).encode()
    now, then = pack(belief), b"" if start is None else pack(start)
    return b"".join(len(part).to_bytes(4, "big") + part for part in (head, now, then))


def load(content: bytes) -> tuple[Diary, Belief, Belief | None]:
    """What was dumped."""
    parts, at = [], 0
    while at < len(content):
        size = int.from_bytes(content[at : at + 4], "big")
        parts.append(content[at + 4 : at + 4 + size])
        at += 4 + size
    members = json.loads(parts[0])
    last_air = members.pop("last_air")
    diary = Diary(
        **{
            **members,
            "last_air": None if last_air is None else (last_air[0], last_air[1]),
            "present": Present(**members["present"]),
            "stays": tuple(Stay(**stay) for stay in members["stays"]),
        }
    )
    return diary, unpack(parts[1]), unpack(parts[2]) if parts[2] else None


def _after_heat(body: Body, diary: Diary, heat: Present, means: tuple[float, float, float]) -> Diary:
    """Only a drying that was measured through, and that the model says went home, resets the account."""
    length_s = heat.to_s - heat.from_s
    is_covered = heat.unmeasured_s <= (1.0 - _FULL_COVER) * length_s
    counted = replace(diary, dryings=diary.dryings + 1)
    if is_covered and means[1] <= body.material.limit_content:
        return replace(counted, reset_s=heat.to_s, partly_s=None, exposure_s=0.0)
    return replace(counted, partly_s=heat.to_s)


def _equivalent_pct(body: Body, stay: Present, start: Belief, mean_content: float) -> float | None:
    if stay.is_sealed:
        return None
    length_s = stay.to_s - stay.from_s
    humidity = equivalent_humidity(body, start, length_s, stay.warmth_s / length_s, mean_content)
    return round(100.0 * humidity, 1)
