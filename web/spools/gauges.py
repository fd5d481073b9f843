"""Two gauges side by side: the air round a spool, and the water in it, which are not the same (P11)."""

from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.library import Library, limit_relative_humidity
from monitor.model.answers import AirAnswer, SpoolAnswer, Spread, StatusAnswer
from web.inside import sentence, water_band
from web.present import STATE_WORDS, Age, Presenter, rule_x, seconds
from web.spools.words import percent, share_x

_ANY_HUMIDITY = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AirGauge:
    """The air of its place; positions on the humidity rule in percent of its length."""

    figure: str
    state: str
    state_word: str
    words: tuple[str, ...]
    now_x: str | None
    limit_x: str | None
    spoken: str
    age: Age | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One water content with its range, on a rule on which the limit stands in the middle."""

    name: str
    words: str
    low_x: str
    middle_x: str
    high_x: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterGauge:
    """The water in the filament against its two limits (P03)."""

    figure: str
    lanes: tuple[Lane, ...]
    limit: str | None  # in words: for full strength
    looser: str | None  # for looks; None where no such figure is known
    looser_x: str | None
    spoken: str
    why: str  # why there is none


def air_gauge(spool: SpoolAnswer, status: StatusAnswer, library: Library, present: Presenter) -> AirGauge:
    """What is measured where it is."""
    if spool.trend == "sealed":
        return _bare("sealed off", "In its bag the air of the place does not reach it.")
    if spool.place is None:
        return _bare("not known", "Nobody said where it is: the air of the rooms is assumed.")
    oven = next((oven for oven in status.ovens if oven.key == spool.place), None)
    if oven is not None:
        is_known = oven.chamber_c is not None and not oven.stale
        figure = f"{oven.chamber_c:.0f} °C" if is_known else "not heard"
        return _bare(figure, f"In the chamber of {oven.name}.")
    air = _air_at(spool.place, status)
    if air is None or air.humidity_pct is None:
        return _bare("not measured", sentence(air.why if air else "its place has no sensor"))
    return _measured(air, spool, library, present, seconds(status.at))


def water_gauge(spool: SpoolAnswer) -> WaterGauge:
    """What the model says of its outer windings and of the whole spool."""
    limit, looser = spool.limit_pct, spool.looser_limit_pct
    lanes = tuple(
        lane
        for lane in (
            _lane("Outer windings", spool.outer_pct, limit),
            _lane("Whole spool", spool.moisture_pct, limit),
        )
        if lane is not None
    )
    known = spool.outer_pct.p50
    said = "; ".join(f"{lane.name}: {lane.words}" for lane in lanes)
    return WaterGauge(
        figure="not known" if known is None else percent(known),
        lanes=lanes,
        limit=None if limit is None else percent(limit),
        looser=None if looser is None else percent(looser),
        looser_x=None if looser is None or not limit else share_x(looser, limit),
        spoken=said or "Its water is not known.",
        why="" if known is not None else sentence(spool.outer_pct.why or spool.verdict_why),
    )


def _measured(
    air: AirAnswer, spool: SpoolAnswer, library: Library, present: Presenter, now_s: float | None
) -> AirGauge:
    assert air.humidity_pct is not None  # the caller looked
    limit = _limit_humidity(spool, library)
    figure = humidity(air.humidity_pct)
    words = ["An old reading: what it is now is not known."] if air.stale else []
    if limit is not None and limit < _ANY_HUMIDITY:
        words.append(f"Below {humidity(100.0 * limit)} the air keeps it under its limit.")
    elif limit is not None:
        words.append("In any air it stays under its limit.")
    return AirGauge(
        figure=figure,
        state=str(air.freshness),
        state_word=STATE_WORDS[air.freshness],
        words=tuple(words),
        now_x=rule_x(air.humidity_pct),
        limit_x=rule_x(100.0 * limit) if limit is not None and limit < _ANY_HUMIDITY else None,
        spoken=f"Air now: {figure}. {' '.join(words)}",
        age=present.age(seconds(air.at), air.due_s, now_s),
    )


def _limit_humidity(spool: SpoolAnswer, library: Library) -> float | None:
    material = library.materials.get(spool.material)
    return None if material is None else limit_relative_humidity(material)


def _air_at(place: str, status: StatusAnswer) -> AirAnswer | None:
    for box in status.boxes:
        if box.key == place:
            return box.air
    return next((room.air for room in status.rooms if room.key == place), None)


def _bare(figure: str, words: str) -> AirGauge:
    return AirGauge(
        figure=figure,
        state="never",
        state_word="",
        words=(words,),
        now_x=None,
        limit_x=None,
        spoken=f"Air now: {figure}. {words}",
        age=None,
    )


def _lane(name: str, spread: Spread, limit_pct: float | None) -> Lane | None:
    if spread.p10 is None or spread.p50 is None or spread.p90 is None or not limit_pct:
        return None
    return Lane(
        name=name,
        words=water_band(spread),
        low_x=share_x(spread.p10, limit_pct),
        middle_x=share_x(spread.p50, limit_pct),
        high_x=share_x(spread.p90, limit_pct),
    )
