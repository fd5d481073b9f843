"""The report on a box or spool over a time (A-38): gathered from the same answers that the pages show."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from monitor.errors import BadInputError
from monitor.estimate.dose import Dose, Span, dose_over
from monitor.estimate.excursion import Mean, excursions, gaps
from monitor.library import limit_relative_humidity
from monitor.model.answers import SpoolAnswer, Spread, StatusAnswer, unknown
from monitor.model.catalogue import Material
from monitor.model.history import FIVE_MINUTES_S, HOUR_S
from monitor.model.reading import Quantity
from monitor.model.report import DoseLine, Gain, Line, Report, SensorLine
from monitor.model.sensor_answers import Due
from monitor.model.spool_event import Checkpoint, places
from monitor.ports import ReadStore
from monitor.service.audit_log import AuditLog
from monitor.service.changes import DECIDED
from monitor.service.places import stays as channel_stays
from monitor.service.queries import Queries
from monitor.service.report_words import act_words, limit_basis, overall, recipe, time_words

MOST_S = 92 * 86_400.0
_FINE_S = 7 * 86_400.0
_USUAL_PCT, _USUAL_C = 50.0, 23.0  # a room that nobody measures
_NEAR_S = 7 * 86_400.0  # a kept state of a spool so near the beginning of the time stands for it


class Reports:
    """Reports of one site."""

    def __init__(self, queries: Queries) -> None:
        self._queries = queries

    def report(self, kind: str, key: str, from_s: float, to_s: float) -> Report:
        """The report; BadInputError names what is wrong with the question.

        Args:
            kind: "box" or "spool".
            key: Of the inventory.
            from_s: Unix s.
            to_s: Unix s.
        """
        queries = self._queries
        now_s = queries.now_s()
        if not 0.0 < to_s - from_s <= MOST_S or not from_s >= 0.0 or to_s > now_s + 3_600.0:
            raise BadInputError(
                f"the time must end after it begins, by now, and after at most {MOST_S / 86_400:g} days"
            )
        to_s = min(to_s, now_s)
        inventory = queries.inventory()
        named = inventory.boxes if kind == "box" else inventory.spools
        if key not in named:
            raise BadInputError(f"{kind} {key[:63]!r} is not in the inventory")
        status = queries.status(to_s)
        spools = _spools(status, kind, key)
        stays = _stays(queries, kind, key, from_s, to_s)
        span_s = FIVE_MINUTES_S if to_s - from_s <= _FINE_S else HOUR_S
        means, spans, warmth = _air(queries, stays, span_s)
        materials = {spool.material: queries.library().material(spool.material) for spool in spools}
        strictest = min(materials.values(), key=limit_relative_humidity, default=None)
        limit_pct = None if strictest is None else 100.0 * limit_relative_humidity(strictest)
        measured = [mean for mean in means if mean.humidity_pct is not None]
        measured_s = sum(mean.seconds for mean in measured)
        weighted = sum((mean.humidity_pct or 0.0) * mean.seconds for mean in measured)
        whole_s = sum(mean.seconds for mean in means)
        gains = tuple(_gain(queries, spool, materials[spool.material], from_s, to_s) for spool in spools)
        about = (key, *(place for place, _, _ in stays))
        return Report(
            kind=kind,
            key=key,
            name=named[key].name,
            from_s=from_s,
            to_s=to_s,
            made_s=now_s,
            limit_pct=limit_pct,
            limit_basis="" if strictest is None else limit_basis(strictest),
            excursions=() if limit_pct is None else excursions(means, limit_pct),
            lowest_pct=min((m.lowest_pct for m in measured if m.lowest_pct is not None), default=None),
            mean_pct=weighted / measured_s if measured else None,
            highest_pct=max((m.highest_pct or 0.0 for m in measured), default=None),
            temperature_c=warmth,
            coverage=measured_s / whole_s if whole_s else 0.0,
            gaps=gaps(means, 2.5 * span_s),
            doses=tuple(_doses(queries, materials.values(), spans, stays)),
            gains=gains,
            lines=_lines(queries.store, dict.fromkeys(about), from_s, to_s),
            sensors=tuple(_sensors(queries, stays)),
            worst_time=_worst_time(queries.store, stays),
            verdict=overall(gain.verdict for gain in gains),
            decisions=tuple(
                Line(at_s=act.at_ms / 1000.0, who=act.person, words=act.detail)
                for act in queries.store.acts_about(key, round(from_s * 1000), 2**62)
                if act.what == DECIDED
            ),
        )


_Stay = tuple[str, float, float]  # place, from, to


def _spools(status: StatusAnswer, kind: str, key: str) -> list[SpoolAnswer]:
    if kind == "spool":
        return [spool for spool in status.spools if spool.key == key]
    return [spool for spool in status.spools if spool.place == key]


def _stays(queries: Queries, kind: str, key: str, from_s: float, to_s: float) -> list[_Stay]:
    """Where it was; a box is where it is."""
    if kind == "box":
        return [(key, from_s, to_s)]
    history = queries.spool_history(key)
    told = () if history is None else places(history)
    edges = [(at_ms / 1000.0, place) for at_ms, place in told] + [(float("inf"), None)]
    found: list[_Stay] = []
    for (begin_s, place), (end_s, _) in pairwise(edges):
        begin_s, end_s = max(begin_s, from_s), min(end_s, to_s)
        if place is not None and begin_s < end_s:
            found.append((place, begin_s, end_s))
    return found


def _air(
    queries: Queries, stays: Sequence[_Stay], span_s: int
) -> tuple[list[Mean], list[Span], tuple[float, float] | None]:
    means: list[Mean] = []
    spans: list[Span] = []
    warmth: list[float] = []
    for place, from_s, to_s in stays:
        try:
            humid = queries.series(place, Quantity.HUMIDITY, from_s, to_s, span_s).points
            warm = queries.series(place, Quantity.TEMPERATURE, from_s, to_s, span_s).points
        except BadInputError:  # no channel was ever there: nothing was measured
            seconds = to_s - from_s
            means.append(Mean(from_s=from_s, seconds=seconds, place=place, humidity_pct=None))
            spans.append(Span(seconds=seconds, temperature_c=_USUAL_C, humidity=None))
            continue
        for h, t in zip(humid, warm, strict=True):
            seconds = min(h.start_s + span_s, to_s) - max(h.start_s, from_s)
            if seconds <= 0.0:
                continue
            begin_s = max(h.start_s, from_s)
            means.append(
                Mean(
                    from_s=begin_s,
                    seconds=seconds,
                    place=place,
                    humidity_pct=h.mean,
                    lowest_pct=h.lowest,
                    highest_pct=h.highest,
                )
            )
            temperature_c = _USUAL_C if t.mean is None else t.mean
            humidity = None if h.mean is None else h.mean / 100.0
            spans.append(Span(seconds=seconds, temperature_c=temperature_c, humidity=humidity))
            warmth += [value for value in (t.lowest, t.highest) if value is not None]
    return means, spans, (min(warmth), max(warmth)) if warmth else None


def _doses(
    queries: Queries, materials: Iterable[Material], spans: Sequence[Span], stays: Sequence[_Stay]
) -> Iterable[DoseLine]:
    measured = [span.humidity for span in spans if span.humidity is not None]
    if not measured:
        return
    dampest = max([*measured, _room(queries, stays) / 100.0])
    for material in materials:
        found: Dose = dose_over(material, spans, driest=min(measured), dampest=dampest)
        worst = found.worst_hour_humidity
        yield DoseLine(
            material=material.short_name,
            coverage=found.coverage,
            equivalent_low_pct=100.0 * found.equivalent_humidity.low,
            equivalent_high_pct=100.0 * found.equivalent_humidity.high,
            dose_low=found.dose.low,
            dose_high=found.dose.high,
            worst_hour_pct=None if worst is None else 100.0 * worst,
            mean_temperature_c=found.mean_temperature_c,
        )


def _room(queries: Queries, stays: Sequence[_Stay]) -> float:
    """The dampest that the room's air is now: what may have got in where nothing was measured [%RH]."""
    inventory = queries.inventory()
    found = [
        queries.room_air(inventory.boxes[place].room).humidity_pct
        for place, _, _ in stays
        if place in inventory.boxes and inventory.boxes[place].room in inventory.rooms
    ]
    return max([value for value in found if value is not None], default=_USUAL_PCT)


def _gain(queries: Queries, spool: SpoolAnswer, material: Material, from_s: float, to_s: float) -> Gain:
    course = queries.spool_course(spool.key, from_s - _NEAR_S, to_s)
    before = [state for state in course if state.at_ms <= from_s * 1000]
    within = [state for state in course if state.at_ms > from_s * 1000]
    first: Checkpoint | None = before[-1] if before else (within[0] if within else None)
    none = unknown("nothing is kept of it at the beginning of the time")
    before_pct = none if first is None else _spread(first.mean_pct)
    gained_g = none
    after = spool.moisture_pct
    if first is not None and spool.left_g is not None:
        gained_g = _gained(first.mean_pct, after, spool.left_g)
    return Gain(
        key=spool.key,
        name=spool.name,
        material=material.short_name,
        limit_pct=100.0 * material.limit_content,
        before_pct=before_pct,
        after_pct=after,
        gained_g=gained_g,
        verdict=spool.verdict,
        verdict_why=spool.verdict_why or "",
        recipe=recipe(material) if spool.verdict in ("dry_first", "not_sure") else "",
    )


def _gained(before_pct: tuple[float, float, float], after: Spread, left_g: float) -> Spread:
    """Members keep their order, the thirsty one is so at both ends: so their differences are the range."""
    if after.p10 is None or after.p50 is None or after.p90 is None:
        return unknown(after.why or "its water cannot be told")
    low, middle, high = (
        left_g / 100.0 * (now - then)
        for then, now in zip(before_pct, (after.p10, after.p50, after.p90), strict=True)
    )
    return _spread((min(low, middle, high), middle, max(low, middle, high)))


def _spread(values: tuple[float, float, float]) -> Spread:
    return Spread(p10=values[0], p50=values[1], p90=values[2])


def _lines(store: ReadStore, about: Iterable[str], from_s: float, to_s: float) -> tuple[Line, ...]:
    """What people did, and what the monitor said of these places: its alarms."""
    log, found = AuditLog(store), list[Line]()
    for key in about:
        acts = store.acts_about(key, round(from_s * 1000), round(to_s * 1000) + 1)  # and just now
        found += [
            Line(at_s=act.at_ms / 1000.0, who=act.person, words=act_words(act))
            for act in acts
            if act.what != DECIDED
        ]
        found += log.said(key, from_s, to_s)
    return tuple(sorted(found, key=lambda line: line.at_s))


def _sensors(queries: Queries, stays: Sequence[_Stay]) -> Iterable[SensorLine]:
    channels = {sensor.place: sensor for sensor in queries.sensors.all() if sensor.place is not None}
    for place in dict.fromkeys(place for place, _, _ in stays):
        sensor = channels.get(place)
        if sensor is not None:
            yield SensorLine(
                channel=sensor.channel, words=sensor.sentence, is_overdue=sensor.due_state is Due.OVERDUE
            )


def _worst_time(store: ReadStore, stays: Sequence[_Stay]) -> str | None:
    """In words; None where the raw readings are not kept any more."""
    humid = [series for series in store.series() if series.quantity is Quantity.HUMIDITY]
    ids = {f"{series.node}/{series.channel}": series.series_id for series in humid}
    channels = channel_stays(store.placements())
    found = [
        store.worst_quality(
            ids[stay.channel],
            max(round(from_s * 1000), stay.from_ms),
            min(round(to_s * 1000), stay.to_ms),
        )
        for place, from_s, to_s in stays
        for stay in channels.get(place, ())
        if stay.channel in ids
    ]
    known = [quality for quality in found if quality is not None]
    return time_words(known) if known else None
