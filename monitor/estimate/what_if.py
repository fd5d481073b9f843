"""What becomes of a material after hours in some air, with the range that its figures leave open."""

from monitor.errors import FieldError
from monitor.estimate.ensemble import three_digits
from monitor.estimate.what_if_air import KnownSpan, Piece, air_taken, bridged, pieces
from monitor.estimate.what_if_course import Body, Course, body_of, course_of
from monitor.estimate.what_if_drying import ceiling, drying_of
from monitor.estimate.what_if_members import (
    Members,
    dried_content,
    equilibrium,
    members_of,
    start_content,
)
from monitor.estimate.what_if_spread import (
    first_over_h,
    low_and_high,
    percent,
    spread,
    time_spread,
)
from monitor.model.answers import Spread
from monitor.model.catalogue import Confidence
from monitor.model.what_if import AirTaken, BandPoint, CurvePoint, Night, Question, Start, WhatIf
from monitor.physics.constants import Array

NIGHT_H = 12.0
_WEEK_H = 168.0
_LONGEST_H = 20_000.0


def answer_what_if(question: Question) -> WhatIf:
    """Moisture after the time in that air, what it costs, what drying takes; FieldError names the field."""
    _check(question)
    spans = bridged(question.air)
    taken = air_taken(question.air, spans)
    members = members_of(question.material)
    body = _begun(question, members, spans[0], taken)
    course = course_of(body, pieces(spans))
    limit = question.material.limit_content
    looser = question.material.looser_limit_content
    return WhatIf(
        moisture_pct=spread(course.mean[-1], 100.0),
        outer_pct=spread(course.outer[-1], 100.0),
        equilibrium_pct=percent(float(equilibrium(members, taken.humidity_pct / 100.0)[0])),
        limit_pct=percent(limit),
        looser_limit_pct=None if looser is None else percent(looser),
        start_pct=spread(course.mean[0], 100.0),
        over_limit_after_h=_over_after(course.hours, course.mean, limit, "it stays"),
        outer_over_limit_after_h=_over_after(course.hours, course.outer, limit, "its outer windings stay"),
        air_taken=taken,
        curve=_curve(course),
        band=_band(course),
        night_outside=_night(question, members, taken),
        drying=drying_of(question, members, taken, course.end),
        cautions=_cautions(question),
    )


def _check(question: Question) -> None:
    material = question.material
    hours = [span.hours for span in question.air]
    bounds = [
        ("diameter-mm", question.diameter_mm, 1.0, 4.0, "mm"),
        ("net-g", question.net_g, 10.0, 50_000.0, "g"),
        ("hours", sum(hours), 0.01, _LONGEST_H, "h"),
        ("start-pct", question.start_pct or 0.0, 0.0, 100.0 * material.content_saturated, "%"),
    ]
    for span in question.air:
        bounds += [
            # Air that was not measured, None, passes as 0, which is within its range.
            ("rh", span.humidity_pct or 0.0, 0.0, 100.0, "%RH"),
            ("temperature", span.temperature_c or 0.0, 0.0, material.max_safe_c, "°C"),
            ("hours", span.hours, 0.0, _LONGEST_H, "h"),
        ]
    for name, value, lowest, highest, unit in bounds:
        if not lowest <= value <= highest:
            allowed = f"{lowest:g} to {highest:g} {unit}"
            raise FieldError(name, f"is {value:g}; for {material.short_name} allowed are {allowed}")
    if not all(hour > 0.0 for hour in hours):
        raise FieldError("hours", f"is 0 in a part of the course; allowed are above 0 to {_LONGEST_H:g} h")


def _begun(question: Question, members: Members, first: KnownSpan, taken: AirTaken) -> Body:
    """The body when the asked time begins."""
    content = start_content(question, members)
    body = body_of(question, members, content, first.temperature_c)
    if question.start_pct is not None or question.start is not Start.WEEK:
        return body
    return body.after(_one_piece(taken, _WEEK_H))


def _one_piece(taken: AirTaken, hours: float) -> Piece:
    return Piece(
        hours=hours, settled_h=0.0, temperature_c=taken.temperature_c, humidity_pct=taken.humidity_pct
    )


def _night(question: Question, members: Members, taken: AirTaken) -> Night:
    before = dried_content(members)
    body = body_of(question, members, before, taken.temperature_c).after(_one_piece(taken, NIGHT_H))
    gain = body.contents()[0] - before
    return Night(
        hours=NIGHT_H,
        gain_pct=spread(gain, 100.0),
        gain_g=spread(gain, question.net_g),
        lost_m=spread(body.over_m(question.material.limit_content)),
        length_m=three_digits(body.length_m()),
    )


def _curve(course: Course) -> tuple[CurvePoint, ...]:
    rows = zip(course.hours, course.mean[:, 0], course.outer[:, 0], course.inner[:, 0], strict=True)
    return tuple(
        CurvePoint(h=round(float(h), 3), mean_pct=percent(m), outer_pct=percent(o), inner_pct=percent(i))
        for h, m, o, i in rows
    )


def _band(course: Course) -> tuple[BandPoint, ...]:
    rows = zip(course.hours, *low_and_high(course.mean), *low_and_high(course.outer), strict=True)
    return tuple(
        BandPoint(
            h=round(float(h), 3),
            mean_p10_pct=percent(mean_low),
            mean_p90_pct=percent(mean_high),
            outer_p10_pct=percent(outer_low),
            outer_p90_pct=percent(outer_high),
        )
        for h, mean_low, mean_high, outer_low, outer_high in rows
    )


def _over_after(hours: Array, values: Array, limit: float, who: str) -> Spread:
    return time_spread(
        first_over_h(hours, values, limit),
        never=f"{who} under its limit for {hours[-1]:.3g} h",
        perhaps="null: it may stay under its limit for all of the time",
    )


def _cautions(question: Question) -> tuple[str, ...]:
    material = question.material
    cautions = [ceiling(question)]
    if material.is_excess_permanent:
        cautions.append("Printed wet it is damaged for good: drying the part afterwards mends nothing.")
    if material.confidence is Confidence.LOW:
        cautions.append("Little is published on this material: take its figures as a rough guide.")
    cautions.append(f"Air the room while it dries. {material.fumes}")
    cautions.append("An oven that has dried plastic is never used for food again.")
    cautions.append("The maker's data sheet goes before these figures.")
    return tuple(cautions)
