"""What drying takes in the room's own air, merely heated: how hot, how long, and why no further down."""

import math

import numpy as np

from monitor.estimate.ensemble import three_digits
from monitor.estimate.what_if_air import Piece
from monitor.estimate.what_if_course import Body, Course, course_of
from monitor.estimate.what_if_members import Members, equilibrium
from monitor.estimate.what_if_spread import percent, time_spread
from monitor.library import UNKNOWN
from monitor.model.answers import Spread, unknown
from monitor.model.catalogue import Material, Reel
from monitor.model.what_if import AirTaken, Drying, Question
from monitor.physics.constants import Array
from monitor.physics.drying import attainable_floor, chamber_humidity
from monitor.physics.isotherm import curve_humidity, polymer_curve
from monitor.physics.psychrometrics import saturation_pressure_pa

LONGEST_H = 120.0
_NOTES = 24  # times at which the course is looked at, closer together at first
_NEAR_FLOOR = 1.1
_TOO_HUMID = unknown("the heated air itself holds too much water, however long it takes")


def drying_of(question: Question, members: Members, air: AirTaken, body: Body) -> Drying:
    """Drying the body as it is now, in the asked air heated to what material and reel stand."""
    material = question.material
    temperature_c, limited_by = _temperature(question)
    humidity = float(chamber_humidity(air.temperature_c, air.humidity_pct / 100.0, temperature_c))
    floors = equilibrium(members, humidity)
    floor = float(floors[0])
    target = _target(material, floor)
    reaches_limit = floor < material.limit_content
    mean = float(body.contents()[0][0])
    course = course_of(
        body, _notes(temperature_c, humidity), _NEAR_FLOOR * floors if target is None else target
    )
    hours = _TOO_HUMID if target is None else _hours(course, np.full_like(floors, target))
    return Drying(
        temperature_c=temperature_c,
        limited_by=limited_by,
        humidity_pct=three_digits(100.0 * humidity),
        floor_pct=percent(floor),
        target_pct=None if target is None else percent(target),
        reaches_limit=reaches_limit,
        makes_wetter=mean < floor,
        hours=hours,
        settles_h=_settles(course, floors, target, mean),
        why=None if reaches_limit else _why(material, air, temperature_c, floor, mean),
        remedies=() if hours.p90 == 0.0 else _remedies(question, air, temperature_c, floor),
    )


def ceiling(question: Question) -> str:
    """The temperature that must not be passed, and why, in a sentence."""
    material, reel = question.material, _reel(question)
    if reel is not None and reel.max_safe_c < material.max_safe_c:
        return f"Never above {reel.max_safe_c:g} °C: {_weakest(reel)}."
    return f"Never above {material.max_safe_c:g} °C: {_uncapitalised(material.too_hot)}"


def _reel(question: Question) -> Reel | None:
    """The reel that is heated, too; loose filament has none."""
    return None if question.is_strand else question.reel


def _weakest(reel: Reel) -> str:
    if reel.key == UNKNOWN:
        return f"the reel is not known, and the weakest common one softens from {reel.softening_c:g} °C"
    return f"the {reel.name} softens from about {reel.softening_c:g} °C"


def _temperature(question: Question) -> tuple[float, str]:
    """The drying temperature [°C], and what sets it."""
    name, reel, temperature_c = question.material.short_name, _reel(question), _own_c(question.material)
    if reel is not None and reel.max_safe_c < temperature_c:
        return reel.max_safe_c, f"{_weakest(reel)}; {name} by itself would be dried at {temperature_c:g} °C"
    return temperature_c, f"the usual drying temperature of {name}"


def _own_c(material: Material) -> float:
    return min(material.dry_c, material.max_safe_c)


def _uncapitalised(words: str) -> str:
    return words if words[:2].isupper() else f"{words[:1].lower()}{words[1:]}"


def _target(material: Material, floor: float) -> float | None:
    limits = (material.limit_content, material.looser_limit_content)
    return next((limit for limit in limits if limit is not None and floor < limit), None)


def _settles(course: Course, floors: Array, target: float | None, mean: float) -> Spread:
    if target is not None:
        return unknown("it need not: drying ends at its target before")
    if mean < floors[0]:
        return unknown("it would take up water in there")
    return _hours(course, _NEAR_FLOOR * floors)


def _hours(course: Course, down_to: Array) -> Spread:
    times = [_first_under(course, member, float(content)) for member, content in enumerate(down_to)]
    return time_spread(
        np.array(times),
        never=f"it takes longer than {LONGEST_H:g} h",
        perhaps=f"null: it may take longer than {LONGEST_H:g} h, or not get there",
    )


def _notes(temperature_c: float, humidity: float) -> list[Piece]:
    edges = LONGEST_H * np.linspace(0.0, 1.0, _NOTES + 1) ** 2
    return [
        Piece(
            hours=float(end - begin),
            settled_h=float(begin),
            temperature_c=temperature_c,
            humidity_pct=100.0 * humidity,
        )
        for begin, end in zip(edges[:-1], edges[1:], strict=True)
    ]


def _first_under(course: Course, member: int, target: float) -> float:
    """When mean and outer windings are both under the target; what falls away falls as an exponential."""
    values = np.maximum(course.mean[:, member], course.outer[:, member])
    under = np.nonzero(values <= target)[0]
    if len(under) == 0:
        return math.inf
    at = int(under[0])
    if at == 0:
        return 0.0
    return _between(course.hours, values, at, target)


def _between(hours: Array, values: Array, at: int, target: float) -> float:
    high, low = float(values[at - 1]), max(float(values[at]), 1e-12)
    share = math.log(high / target) / math.log(high / low) if high > low else 1.0
    return float(hours[at - 1] + min(max(share, 0.0), 1.0) * (hours[at] - hours[at - 1]))


def _why(material: Material, air: AirTaken, temperature_c: float, floor: float, mean: float) -> str:
    name = material.short_name
    why = (
        f"Room air of {air.humidity_pct:.0f} %RH at {air.temperature_c:.0f} °C, merely heated to "
        f"{temperature_c:g} °C, leaves {100.0 * floor:.2g} % in {name} however long it takes; "
        f"its limit is {100.0 * material.limit_content:.2g} %."
    )
    if mean < floor:
        why += f" It holds {100.0 * mean:.2g} % now: in there it would take up water."
    return why


def _remedies(question: Question, air: AirTaken, temperature_c: float, floor: float) -> tuple[str, ...]:
    """What would lower the floor, or quicken the drying: drier air, desiccant in the chamber, more heat."""
    material, room_c = question.material, air.temperature_c
    remedies = []
    if floor >= material.limit_content:
        chamber = float(curve_humidity(polymer_curve(material.isotherm), material.limit_content))
        room = chamber * saturation_pressure_pa(temperature_c) / saturation_pressure_pa(room_c)
        remedies += [
            "Dry desiccant in the chamber, or a dryer that dries its air, to hold it below "
            f"{100.0 * chamber:.2g} %RH.",
            f"A day on which the room's air at {room_c:.0f} °C is below {100.0 * room:.2g} %RH.",
        ]
    hottest_c = _own_c(material)
    if temperature_c < hottest_c:
        hot = float(chamber_humidity(room_c, air.humidity_pct / 100.0, hottest_c))
        least = 100.0 * float(attainable_floor(material, hot))
        remedies.append(
            f"A reel that stands {hottest_c:g} °C: the hotter air dries faster, and down to {least:.2g} %."
        )
    return tuple(remedies)
