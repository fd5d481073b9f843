"""The spools of a year as the site knows them: the very estimator, in steps of four hours, asked when each passes
its limit once a day; on a table, where hours count, every hour.

Room air is measured; in a box it is what its sensor read. The service does the same in half hours.
"""

import math
from dataclasses import dataclass

import numpy as np
from support.spool_site import spool
from support.year_boxes import LIBRARY, Followed
from support.year_truth import BLOCK_S, HOUR_S, Year

from monitor.estimate.spool_answer import outlooks
from monitor.estimate.spool_belief import Body, stack_states, stacked
from monitor.estimate.spool_course import Around, equilibrium
from monitor.estimate.spool_track import Track, begin, step
from monitor.physics.isotherm import polymer_content
from monitor.physics.spool_reading import outer_water_content

BOX_STEP_S, TABLE_STEP_S = 4.0 * HOUR_S, HOUR_S
_BOX_LOOK_S = 24.0 * HOUR_S  # between two looks at when the limit is passed; on a table at every step
_SENSOR_SD = 0.018
_WORDS = {"dried": "sealed_dry", "open": "open", "unknown": "unknown"}
# What the site's own oven leaves is known: here as a figure, of a spool settled to this humidity.
_OVEN_DRY = 0.07


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolPlace:
    """One spool, and where it is over the year."""

    key: str
    box: int  # or table
    spool: int
    is_table: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolLook:
    """What is answered of a spool over one step; `use_before_s` as of the start of it."""

    place: str | None  # None = not on this site now
    use_before_s: float | None
    is_over: bool  # may be over its limit already
    trend: str
    outer_pct: float | None = None  # of its outer windings, the middle of what is believed
    limit_pct: float | None = None


def all_spools(year: Year) -> list[SpoolPlace]:
    """Those in boxes first, then those that lie on tables now and then."""
    first_table = len(year.boxes) - year.plan.tables
    return [
        SpoolPlace(key=f"spool-{box}-{number}", box=box, spool=number, is_table=box >= first_table)
        for box, of in enumerate(year.boxes)
        for number in range(len(of.spools))
    ]


def follow_spools(
    year: Year, followed: list[Followed], seed: int, *, tables_only: bool = False
) -> dict[str, list[SpoolLook]]:
    """Answers for every step of the year, by spool."""
    dice = np.random.default_rng([seed, 9])
    offset = dice.normal(0.0, 0.01)
    tables = [place for place in all_spools(year) if place.is_table]
    boxes = [] if tables_only else [place for place in all_spools(year) if not place.is_table]
    return _follow(year, followed, boxes, BOX_STEP_S, offset) | _follow(
        year, followed, tables, TABLE_STEP_S, offset
    )


def _follow(
    year: Year, followed: list[Followed], places: list[SpoolPlace], step_s: float, offset: float
) -> dict[str, list[SpoolLook]]:
    tracks = {place.key: _begun(year, place, "", 0.0) for place in places}
    found: dict[str, list[SpoolLook]] = {place.key: [] for place in places}
    per_step = round(step_s / BLOCK_S)
    for at in range(0, len(year.time_s) if places else 0, per_step):
        now_s = at * BLOCK_S
        here: list[tuple[SpoolPlace, Around]] = []
        for place in places:
            where = _where(year, place, now_s, step_s)
            if where == "back":
                tracks[place.key] = _begun(year, place, "dried", now_s)
            if where in ("back", "there"):
                here.append((place, _air(year, followed, place, at, per_step, offset)))
            else:
                found[place.key].append(
                    SpoolLook(place=None, use_before_s=None, is_over=False, trend="recover")
                )
        if here:
            _all_on(here, tracks, found, now_s, step_s)
    return found


def _all_on(
    here: list[tuple[SpoolPlace, Around]],
    tracks: dict[str, Track],
    found: dict[str, list[SpoolLook]],
    now_s: float,
    step_s: float,
) -> None:
    now = [tracks[place.key] for place, _ in here]
    airs = [air for _, air in here]
    is_due = [
        place.is_table
        or now_s % _BOX_LOOK_S == 0.0
        or not found[place.key]
        or found[place.key][-1].place != air.place
        for place, air in here
    ]
    rises = [_may_rise(track, air) for track, air in zip(now, airs, strict=True)]
    asked = [n for n in range(len(here)) if is_due[n] and rises[n]]
    told = dict(zip(asked, outlooks([now[n] for n in asked], [airs[n] for n in asked]), strict=True))
    for number, (place, air) in enumerate(here):
        before = found[place.key][-1] if found[place.key] else None
        if number in told:
            after_s = told[number].over_after_s
            use_before_s = None if after_s is None or after_s == 0.0 else now_s + after_s
            body, belief = now[number].body, now[number].belief
            outer = outer_water_content(stacked([body], [belief]), stack_states([belief]))
            look = SpoolLook(
                place=air.place,
                use_before_s=use_before_s,
                is_over=after_s == 0.0,
                trend=told[number].trend,
                outer_pct=100.0 * float(np.median(outer)),
                limit_pct=100.0 * body.material.limit_content,
            )
        elif rises[number] and before is not None and before.place == air.place:
            look = before
        else:
            look = SpoolLook(place=air.place, use_before_s=None, is_over=False, trend="pause")
        found[place.key].append(look)
    for (place, _), track in zip(here, step(now, airs, step_s), strict=True):
        tracks[place.key] = track


def _may_rise(track: Track, air: Around) -> bool:
    """Whether its air may take any member over its limit; of all others nothing runs out."""
    return float(equilibrium(track.body, track.belief, air).max()) > track.body.material.limit_content


def _begun(year: Year, place: SpoolPlace, told: str, now_s: float) -> Track:
    of = year.boxes[place.box].spools[place.spool]
    material = LIBRARY.material(of.material)
    start: dict[str, object] = {"start": _WORDS[told or of.stated]}
    if told == "dried":
        start = {"start_pct": 100.0 * float(polymer_content(material, _OVEN_DRY))}
    held = spool(place.key, of.material, net_g=1000.0 * of.net_kg, since_s=now_s, **start)
    body = Body(spool=held, material=material, reel=LIBRARY.reel("unknown"))
    return begin(body, now_s)


def _where(year: Year, place: SpoolPlace, now_s: float, step_s: float) -> str:
    """there | back: it came within the last step, dried | away."""
    is_there, came_s = not place.is_table, -math.inf
    for swap in year.plan.swaps:
        if (swap.box, swap.spool) != (place.box, place.spool):
            continue
        begin_s, end_s = (swap.from_s, swap.to_s)
        if begin_s <= now_s < end_s:
            is_there = place.is_table
            came_s = begin_s if place.is_table else came_s
        elif end_s <= now_s and not place.is_table:
            came_s = max(came_s, end_s)
    if not is_there:
        return "away"
    return "back" if now_s - step_s < came_s <= now_s else "there"


def _air(
    year: Year, followed: list[Followed], place: SpoolPlace, at: int, per_step: int, offset: float
) -> Around:
    span = slice(max(at - per_step, 0), max(at, 1))
    if place.is_table:
        humidity = float(year.room_humidity[span, place.box].mean()) + offset
        warm = float(year.room_c[span, place.box].mean())
        return Around(
            place="room", temperature_c=warm, relative_humidity=humidity, relative_humidity_sd=_SENSOR_SD
        )
    of = followed[place.box]
    heard = of.read[span][~np.isnan(of.read[span])]
    # A gap is bridged with what was read last; the service takes a wider band there.
    before = of.read[:at][~np.isnan(of.read[:at])][-1:] if len(heard) == 0 else heard
    humidity = float(before.mean()) if len(before) else 0.3
    return Around(
        place=f"box-{place.box}",
        temperature_c=float(year.temperature_c[span, place.box].mean()),
        relative_humidity=min(max(humidity, 0.002), 0.98),
        relative_humidity_sd=_SENSOR_SD,
    )
