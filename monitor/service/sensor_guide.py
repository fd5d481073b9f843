"""Where a sensor's check stands: the round of check points, its jar, and what they ask for."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.estimate.sensor_check import (
    Equilibrium,
    Point,
    correction,
    equilibrium,
    is_mendable,
    left_uncertainty_pct,
    verdict,
)
from monitor.library.salts import load_salts, salt_of
from monitor.model.records import effective
from monitor.model.salt import Salt
from monitor.model.sensor_answers import JarAnswer, PointAnswer, ProposalAnswer, SaltAnswer
from monitor.model.sensor_check import (
    NO_CORRECTION,
    TOLERANCE_PCT,
    Checked,
    Correction,
    CorrectionSet,
    InJar,
    Installed,
    SensorEvent,
    Verdict,
    in_jar,
    installed,
    since_installed,
)
from monitor.physics.salt import LEAST_APART_PCT, fitting_salts, jar_uncertainty_pct, salt_humidity_pct
from monitor.ports import ReadStore
from monitor.service import sensor_words
from monitor.service.air import rfc3339
from monitor.service.sensor_readings import Channel, samples

ROUND_S = 7 * 86_400.0  # points of one round lie no further apart
_USUAL_C = 23.0
_SEVERITY = (Verdict.WITHIN, Verdict.CORRECT, Verdict.REPLACE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Jar:
    """A sensor over a salt, as of a time."""

    event: SensorEvent
    salt: Salt
    found: Equilibrium
    reference_pct: float | None  # None outside the salt's range, or before any reading
    uncertainty_pct: float | None


def jar_of(store: ReadStore, channel: Channel, events: Sequence[SensorEvent], at_s: float) -> Jar | None:
    """None where it lies in none at that time."""
    event = in_jar([each for each in events if each.at_s <= at_s])
    if event is None or not isinstance(event.what, InJar):
        return None
    salt = salt_of(event.what.salt)
    from_ms, to_ms = round(event.at_s * 1000), round(at_s * 1000)
    read = samples(store, [channel], from_ms, to_ms)[channel.key]
    low_c, high_c = salt.range_c
    warmth_c = read[-1].temperature_c if read else None
    is_known = warmth_c is not None and low_c <= warmth_c <= high_c
    reference = salt_humidity_pct(salt, warmth_c) if is_known and warmth_c is not None else None
    found = equilibrium(read, event.at_s, at_s, reference)
    if found.temperature_c is not None and low_c <= found.temperature_c <= high_c:
        return Jar(
            event=event,
            salt=salt,
            found=found,
            reference_pct=salt_humidity_pct(salt, found.temperature_c),
            uncertainty_pct=jar_uncertainty_pct(salt, found.temperature_c),
        )
    return Jar(event=event, salt=salt, found=found, reference_pct=None, uncertainty_pct=None)


def jar_answer(jar: Jar) -> JarAnswer:
    found = jar.found
    words = sensor_words.settling(found, jar.reference_pct)
    if jar.reference_pct is None and found.temperature_c is not None:
        low_c, high_c = jar.salt.range_c
        words = (
            f"It is {found.temperature_c:.1f} °C, and the humidity over this salt is known for {low_c:g} to "
            f"{high_c:g} °C only. Bring the jar to such a temperature, or take another salt."
        )
    return JarAnswer(
        salt=jar.salt.key,
        since=rfc3339(jar.event.at_s),
        settling=str(found.settling),
        sentence=words,
        humidity_pct=found.humidity_pct,
        temperature_c=found.temperature_c,
        reference_pct=jar.reference_pct,
        uncertainty_pct=jar.uncertainty_pct,
        rate_pct_per_h=found.rate_pct_per_h,
        remaining_pct=found.remaining_pct,
        wait_s=found.wait_s,
    )


def tolerance_pct(events: Sequence[SensorEvent]) -> float:
    """Of the data sheet of the sensor on the channel [%RH]."""
    what = None if (event := installed(events)) is None else event.what
    return what.tolerance_pct if isinstance(what, Installed) else TOLERANCE_PCT


def rounds(events: Sequence[SensorEvent]) -> list[tuple[SensorEvent, ...]]:
    """Check points that belong together, oldest first; of a salt that was checked twice the newer point.

    A correction or another sensor ends a round.
    """
    found: list[dict[str, SensorEvent]] = []
    begun_s: float | None = None
    for event in effective(events):
        if isinstance(event.what, CorrectionSet | Installed):
            begun_s = None
        elif isinstance(event.what, Checked):
            if begun_s is None or event.at_s - begun_s > ROUND_S:
                begun_s = event.at_s
                found.append({})
            found[-1][event.what.salt] = event
    return [tuple(sorted(points.values(), key=lambda e: e.at_s)) for points in found]


def newest_round(events: Sequence[SensorEvent]) -> tuple[SensorEvent, ...]:
    """Of the sensor that is on the channel now; empty where it was never checked."""
    found = rounds(since_installed(events))
    return found[-1] if found else ()


def open_round(events: Sequence[SensorEvent]) -> tuple[SensorEvent, ...]:
    """The points of the newest round, while no correction was set by them."""
    points = newest_round(events)
    since = [e for e in since_installed(events) if isinstance(e.what, CorrectionSet)]
    return () if points and since and since[-1].at_s >= points[-1].at_s else points


def worst(points: Sequence[Checked]) -> tuple[Verdict, Checked]:
    """The verdict on several points, and the point furthest off."""
    judged = max(points, key=lambda what: abs(what.error_pct))
    verdicts = [verdict(what.error_pct, what.tolerance_pct) for what in points]
    return max(verdicts, key=_SEVERITY.index), judged


def checks_of(events: Sequence[SensorEvent]) -> tuple[Checked, ...]:
    return tuple(event.what for event in events if isinstance(event.what, Checked))


def as_points(checks: Sequence[Checked]) -> tuple[Point, ...]:
    """Their raw readings, of which a correction is made; the pair furthest apart."""
    points = [
        Point(
            reading_pct=what.reading_pct,
            reference_pct=what.reference_pct,
            uncertainty_pct=what.uncertainty_pct,
        )
        for what in sorted(checks, key=lambda what: what.reference_pct)
    ]
    if len(points) > 1 and points[-1].reference_pct - points[0].reference_pct < LEAST_APART_PCT:
        return (points[-1],)
    return tuple(points if len(points) < 3 else (points[0], points[-1]))


def correction_by(checks: Sequence[Checked]) -> Correction | None:
    """What mends these points; None where the sensor does not even read more where there is more."""
    try:
        return correction(as_points(checks))
    except ValueError:
        return None


def point_answers(events: Sequence[SensorEvent], found: Correction) -> tuple[PointAnswer, ...]:
    return tuple(
        PointAnswer(
            event_id=event.event_id,
            salt=event.what.salt,
            at=rfc3339(event.at_s),
            temperature_c=event.what.temperature_c,
            reading_pct=event.what.reading_pct,
            reference_pct=event.what.reference_pct,
            uncertainty_pct=event.what.uncertainty_pct,
            error_pct=event.what.error_pct,
            as_left_pct=found.corrected(event.what.reading_pct) - event.what.reference_pct,
            verdict=verdict(event.what.error_pct, event.what.tolerance_pct),
        )
        for event in events
        if isinstance(event.what, Checked)
    )


def proposal_of(events: Sequence[SensorEvent], works_at_pct: float) -> ProposalAnswer | None:
    """What an open round asks for."""
    checks = checks_of(events)
    if not checks:
        return None
    judged, furthest = worst(checks)
    found = correction_by(checks)
    mends = found is not None and is_mendable(found)
    held = found or NO_CORRECTION
    left_pct = left_uncertainty_pct(as_points(checks), works_at_pct)
    found_off = sensor_words.point(
        furthest.error_pct, furthest.uncertainty_pct, furthest.tolerance_pct, judged
    )
    mending = sensor_words.proposal(
        judged, held.offset_pct, held.gain, left_pct, works_at_pct, is_mendable=mends
    )
    return ProposalAnswer(
        verdict=judged if mends else Verdict.REPLACE,
        sentence=found_off if judged is Verdict.REPLACE else mending,
        checks=tuple(event.event_id for event in events),
        offset_pct=held.offset_pct,
        gain=held.gain,
        left_uncertainty_pct=left_pct,
        is_mendable=mends and judged is not Verdict.REPLACE,
    )


def salt_answers(works_at_pct: float, temperature_c: float | None, allowed_pct: float) -> list[SaltAnswer]:
    """Salts by how well they fit, each with what a check over it alone would tell (P17)."""
    warmth_c = _USUAL_C if temperature_c is None else temperature_c
    answers = []
    for salt in fitting_salts(load_salts().values(), works_at_pct, warmth_c):
        humidity_pct, known_pct = (
            salt_humidity_pct(salt, warmth_c),
            jar_uncertainty_pct(salt, warmth_c),
        )
        alone = Point(reading_pct=humidity_pct, reference_pct=humidity_pct, uncertainty_pct=known_pct)
        left_pct = left_uncertainty_pct([alone], works_at_pct)
        answers.append(
            SaltAnswer(
                key=salt.key,
                name=salt.name,
                formula=salt.formula,
                humidity_pct=humidity_pct,
                uncertainty_pct=known_pct,
                handling=salt.handling,
                source=salt.source,
                tells=sensor_words.tells(left_pct, works_at_pct, allowed_pct),
            )
        )
    return answers
