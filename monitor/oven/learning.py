"""What a commissioning run tells of an oven, from its trace alone: pure, by closed forms and least squares.

The chamber counts as one lump that a full heater warms at `rate_c_s` and that loses heat with
`time_constant_s`; both come from integrals over the run, so noise of the sensors averages out and air that is
ahead of its walls does not pass for a light oven.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.model.cycle import Ending
from monitor.model.oven_run import OvenRun, TracePoint
from monitor.oven import hard
from monitor.oven.window import slope

_ON, _FULL = 0.05, 0.95
_REACHED_C = 2.0
_START_ABOVE_ROOM_C = 8.0
_GAP_S, _GAPS_SHARE = 60.0, 0.05
_HELD_LEAST_S = 1200.0
_SETTLES_S = 300.0
_FAST_S = 60.0  # as R7 measures it
_RISE_C = 0.3
_DOOR_S, _DOOR_C = 30.0, 2.5  # colder by so much while fully heated: air came in
_LAG_OFF_S, _LAG_WITHIN_S = 60.0, 900.0
_SETTLED_SHARE = 0.06  # the halves of a settled hold take the same power
_SAMPLES_SURE = 50
_FINE_S = 15.0  # states further apart tell peaks and rates only roughly
_BY_RULE = frozenset({Ending.TRIPPED, Ending.STOPPED_BY_RULE})
# Rules that tell of the oven itself; another one, such as a sensor that was unplugged, ends a run in vain.
_TELLING = frozenset({"R7", "R8", "R9", "R10", "R11", "R12", "R13"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure and how sure it is; `why` says what it lacks."""

    value: float | None = None
    is_sure: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """All that one run tells. `problems`: why it must be run again; empty = its figures may be used."""

    problems: tuple[str, ...]
    is_reached: bool
    was_tripped: bool
    dead_time_s: Estimate
    reach_s: Estimate
    rate_c_s: Estimate  # of the whole chamber at full duty, before it loses anything
    time_constant_s: Estimate
    fastest_c_s: Estimate  # of the air, over a minute
    overshoot_c: Estimate
    swing_c: Estimate  # peak to peak while it is held
    disagree_c: Estimate
    lag_s: Estimate  # from heat off to the highest temperature
    duty: Estimate  # while it is held
    power_w: Estimate  # while it is held, on average
    full_power_w: Estimate
    cool_s: Estimate


@dataclass(frozen=True, slots=True)
class _Course:
    """The trace in the form in which it is used: points that have a temperature."""

    points: tuple[TracePoint, ...]
    heats: tuple[float, ...]  # the hottest reading of each [°C]
    on_s: float
    off_s: float
    room_c: float
    setpoint_c: float
    reach_s: float | None
    # Share of full power: by the meter where there is one. What a controller tells is what it wants at that
    # moment, and it switches in windows: what it gave on average is something else.
    shares: tuple[float, ...]

    def between(self, from_s: float, to_s: float) -> list[int]:
        return [i for i, p in enumerate(self.points) if from_s <= p.at_s <= to_s]


def findings(run: OvenRun) -> Findings:
    """What a run tells; one that is unfit for it says so in `problems` and keeps what could be seen."""
    course = _course(run)
    if course is None:
        return _nothing("The heater was never seen on: nothing can be learned from this run.")
    held_from_s = course.off_s if course.reach_s is None else course.reach_s
    steady = _steady(course, held_from_s)
    is_fine = _spacing_s(course) <= _FINE_S
    rate, constant = _lump(course, steady)
    disagree = _disagree(course, steady)
    return Findings(
        problems=_problems(run, course, held_from_s),
        is_reached=course.reach_s is not None,
        was_tripped=_is_told_by_rule(run),
        dead_time_s=_sure_if(_dead_time_s(course), is_fine, _COARSE),
        reach_s=_sure_if(
            None if course.reach_s is None else course.reach_s - course.on_s, True, "never reached"
        ),
        rate_c_s=rate,
        time_constant_s=constant,
        fastest_c_s=_sure_if(_fastest_c_s(course), is_fine, _COARSE),
        overshoot_c=_sure_if(max(0.0, max(course.heats) - course.setpoint_c), is_fine, _COARSE),
        swing_c=_swing(course, steady),
        disagree_c=disagree,
        lag_s=_sure_if(_lag_s(course), is_fine, "heat was not seen to go off, or not for long enough"),
        duty=_sure_if(_mean_duty(course, steady), len(steady) > 1, "not held for long enough"),
        power_w=_power(course, steady),
        full_power_w=_full_power([course.points[i] for i in course.between(course.on_s, course.off_s)]),
        cool_s=_cool(course),
    )


_COARSE = "the oven spoke too seldom for more than a rough figure"


def _nothing(problem: str) -> Findings:
    none = Estimate(why="nothing was seen of it")
    names = [n for n in Findings.__dataclass_fields__ if n not in ("problems", "is_reached", "was_tripped")]
    estimates = dict.fromkeys(names, none)
    return Findings(problems=(problem,), is_reached=False, was_tripped=False, **estimates)


def _sure_if(value: float | None, is_sure: bool, why: str) -> Estimate:
    sure = is_sure and value is not None
    return Estimate(value=value, is_sure=sure, why="" if sure else why)


def _course(run: OvenRun) -> _Course | None:
    known = [(p, p.hottest_c) for p in run.trace]
    points = tuple(p for p, heat in known if heat is not None)
    heats = tuple(heat for _, heat in known if heat is not None)
    on_s = next((p.at_s for p in points if p.heater >= _ON), None)
    if on_s is None:
        return None
    before = [heat for p, heat in zip(points, heats, strict=True) if p.at_s <= on_s]
    room_c = run.room_c if run.room_c is not None else sum(before) / len(before)
    off_s = run.heated_s if run.heated_s is not None else points[-1].at_s
    reached = (
        p.at_s
        for p, heat in zip(points, heats, strict=True)
        if on_s <= p.at_s <= off_s and heat >= run.setpoint_c - _REACHED_C
    )
    inside = [p for p in points if on_s <= p.at_s <= off_s]
    full_w = _full_power(inside).value
    shares = tuple(p.heater if full_w is None or p.power_w is None else p.power_w / full_w for p in points)
    return _Course(points, heats, on_s, off_s, room_c, run.setpoint_c, next(reached, None), shares)


def _problems(run: OvenRun, course: _Course, held_from_s: float) -> tuple[str, ...]:
    """Why this run does not count."""
    said = []
    start_c = course.heats[course.between(course.on_s, course.off_s)[0]]
    if start_c > course.room_c + _START_ABOVE_ROOM_C:
        said.append(f"The chamber was still at {start_c:.0f} °C when it began: start it cold.")
    said += _gaps(course)
    said += _door(course)
    if run.ending is not Ending.TIME_UP and not _is_told_by_rule(run):
        ended = f"It was ended before its time: {run.why}"
        said.append(ended if run.ending else "It did not come to its end.")
    elif run.ending is Ending.TIME_UP and course.reach_s is not None:
        held_s = course.off_s - held_from_s
        if held_s < _HELD_LEAST_S:
            said.append(f"It was at its temperature for {held_s / 60.0:.0f} min only; 20 min are needed.")
    return tuple(said)


def _is_told_by_rule(run: OvenRun) -> bool:
    return run.ending in _BY_RULE and run.rule in _TELLING


def _gaps(course: _Course) -> list[str]:
    times = [course.points[i].at_s for i in course.between(course.on_s, course.off_s)]
    times = [*times, course.off_s]
    gaps_s = [b - a for a, b in pairwise(times) if b - a > _FINE_S]
    missing_s = sum(gaps_s)
    if not gaps_s or (
        max(gaps_s) <= _GAP_S and missing_s <= _GAPS_SHARE * max(course.off_s - course.on_s, 1.0)
    ):
        return []
    return [f"The oven was not heard for {missing_s / 60.0:.1f} min of it."]


def _door(course: _Course) -> list[str]:
    """An open door, told by its switch or by air that cools while the heater is fully on."""
    inside = course.between(course.on_s, course.off_s)
    for place in inside:
        if course.points[place].door_open:
            return [_opened(course, place)]
    for place in inside:
        ahead = course.between(course.points[place].at_s, course.points[place].at_s + _DOOR_S)
        if (
            all(course.points[i].heater >= _FULL for i in ahead)
            and course.points[ahead[-1]].at_s <= course.off_s
            and course.heats[place] - course.heats[ahead[-1]] >= _DOOR_C
        ):
            return [_opened(course, place)]
    return []


def _opened(course: _Course, place: int) -> str:
    minute = course.points[place].at_s / 60.0
    return f"The door seems to have been open {minute:.0f} min after the start: leave it shut throughout."


def _spacing_s(course: _Course) -> float:
    times = [course.points[i].at_s for i in course.between(course.on_s, course.off_s)]
    return (times[-1] - times[0]) / max(len(times) - 1, 1) if len(times) > 1 else float("inf")


def _steady(course: _Course, held_from_s: float) -> list[int]:
    """The later half of what was held, without the first minutes."""
    from_s = max(held_from_s + _SETTLES_S, (held_from_s + course.off_s) / 2.0)
    return course.between(from_s, course.off_s)


def _dead_time_s(course: _Course) -> float | None:
    places = course.between(course.on_s, course.off_s)
    start_c = course.heats[places[0]]
    rises = (course.points[i].at_s - course.on_s for i in places if course.heats[i] >= start_c + _RISE_C)
    return next(rises, None)


def _fastest_c_s(course: _Course) -> float | None:
    """The steepest minute on the way up [°C/s]."""
    best: float | None = None
    top_s = course.off_s if course.reach_s is None else course.reach_s + _FAST_S
    first = 0
    places = course.between(course.on_s, top_s)
    for last in range(len(places)):
        while course.points[places[last]].at_s - course.points[places[first]].at_s > _FAST_S:
            first += 1
        part = places[first : last + 1]
        if course.points[part[-1]].at_s - course.points[part[0]].at_s < 0.75 * _FAST_S:
            continue
        rate = slope([course.points[i].at_s for i in part], [course.heats[i] for i in part])
        if rate is not None and (best is None or rate > best):
            best = rate
    return best


def _weighted(course: _Course, places: Sequence[int], values: Sequence[float]) -> float:
    """Integral over time of values that hold from each point to the next."""
    total = 0.0
    for (a, b), value in zip(pairwise(places), values, strict=False):
        total += value * (course.points[b].at_s - course.points[a].at_s)
    return total


def _span_s(course: _Course, places: Sequence[int]) -> float:
    return course.points[places[-1]].at_s - course.points[places[0]].at_s if len(places) > 1 else 0.0


def _mean_duty(course: _Course, places: Sequence[int]) -> float | None:
    span_s = _span_s(course, places)
    if span_s <= 0.0:
        return None
    return _weighted(course, places, [course.shares[i] for i in places]) / span_s


def _lump(course: _Course, steady: Sequence[int]) -> tuple[Estimate, Estimate]:
    """Rate at full duty and time constant of the chamber as one lump.

    Held, duty x gain = height over the room; until then rate x (duty - height / gain) sums to the rise.
    """
    why = "not held for long enough"
    duty = _mean_duty(course, steady)
    span_s = _span_s(course, steady)
    if duty is None or duty <= 0.01 or span_s < _HELD_LEAST_S / 4.0:
        return Estimate(why=why), Estimate(why=why)
    above = [course.heats[i] - course.room_c for i in steady]
    gain_c = _weighted(course, steady, above) / span_s / duty
    middle_s = course.points[steady[len(steady) // 2]].at_s
    rise = course.between(course.on_s, middle_s)
    net_s = _weighted(
        course, rise, [course.shares[i] - (course.heats[i] - course.room_c) / gain_c for i in rise]
    )
    risen_c = sum(above) / len(above) - (course.heats[rise[0]] - course.room_c)
    if gain_c <= 0.0 or net_s <= 0.0 or risen_c <= 0.0:
        return Estimate(why=why), Estimate(why=why)
    rate_c_s = risen_c / net_s
    is_settled = _is_settled(course, steady, duty)
    unsettled = "its walls were still warming: a longer run tells it better"
    return _sure_if(rate_c_s, is_settled, unsettled), _sure_if(gain_c / rate_c_s, is_settled, unsettled)


def _is_settled(course: _Course, steady: Sequence[int], duty: float) -> bool:
    half = len(steady) // 2
    halves = [_mean_duty(course, part) for part in (steady[:half], steady[half:])]
    return all(part is not None and abs(part - duty) <= _SETTLED_SHARE * duty for part in halves)


def _swing(course: _Course, steady: Sequence[int]) -> Estimate:
    if len(steady) < 3:
        return Estimate(why="not held for long enough")
    heats = [course.heats[i] for i in steady]
    is_long = _span_s(course, steady) >= _HELD_LEAST_S / 2.0
    return _sure_if(max(heats) - min(heats), is_long, "held for a short while only")


def _disagree(course: _Course, steady: Sequence[int]) -> Estimate:
    places = steady or course.between(course.on_s, course.off_s)
    spreads = []
    for i in places:
        known = [value for value in course.points[i].chamber_c if value is not None]
        if len(known) > 1:
            spreads.append(max(known) - min(known))
    if not spreads:
        return Estimate(why="fewer than two sensors were heard")
    return _sure_if(sum(spreads) / len(spreads), len(steady) > 2, "not held for long enough")


def _lag_s(course: _Course) -> float | None:
    """The longest time from heat off to the highest temperature after it [s]."""
    longest: float | None = None
    points = course.points
    for place in range(1, len(points)):
        has_heated = any(p.heater >= 0.1 for p in points[max(place - 3, 0) : place])
        if not (has_heated and points[place].heater < 0.02 <= points[place - 1].heater):
            continue
        after = []
        for i in range(place, len(points)):
            if points[i].heater >= 0.02 or points[i].at_s - points[place].at_s > _LAG_WITHIN_S:
                break
            after.append(i)
        if _span_s(course, after) < _LAG_OFF_S:
            continue
        top = max(after, key=lambda i: course.heats[i])
        lag_s = points[top].at_s - points[place].at_s
        longest = lag_s if longest is None else max(longest, lag_s)
    return longest


def _power(course: _Course, steady: Sequence[int]) -> Estimate:
    """Mean electrical power while held [W]."""
    known = [course.points[i].power_w for i in steady]
    told = [value for value in known if value is not None]
    if len(told) < max(3, len(known) - len(known) // 10):
        return Estimate(why="the heater's power is not measured")
    return _sure_if(sum(told) / len(told), len(told) >= _SAMPLES_SURE, "few readings")


def _full_power(points: Iterable[TracePoint]) -> Estimate:
    told = [p.power_w for p in points if p.heater >= _FULL]
    known = sorted(value for value in told if value is not None and value > 1.0)
    if len(known) < 3:
        return Estimate(why="the heater was never seen at full power with a meter")
    return Estimate(value=known[len(known) // 2], is_sure=True)


def _cool(course: _Course) -> Estimate:
    """From the end of heat until it is as good as cold [s]."""
    limit_c = max(hard.COOL_C, course.room_c + hard.COOL_ABOVE_ROOM_C)
    for point, heat in zip(course.points, course.heats, strict=True):
        if point.at_s >= course.off_s and heat < limit_c:
            return Estimate(value=point.at_s - course.off_s, is_sure=True)
    return Estimate(why="the record ended before it was cold")
