"""A room's air in plain words: what relative and absolute humidity mean, and what happened to it lately."""

from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.model.answers import AirAnswer, Spread
from monitor.model.room_air import Airing, AiringAnswer, DayAnswer, HourAnswer, MeasureAnswer, RoomAdvice
from web.inside import sentence
from web.present import signed
from web.rooms.figure import MONTHS, DayFigure, SeasonFigure, day_figure, season_figure

# Below these a change over three hours is the sensor's own wandering.
_LEAST_PCT, _LEAST_DEW_C = 0.5, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureRow:
    """One box of a drier room."""

    key: str
    name: str
    share: str
    now: str
    then: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """All that the page says, finished."""

    missing: tuple[str, ...]
    now: tuple[str, ...]
    explained: tuple[str, ...]
    usual: str
    day: str
    day_facts: tuple[tuple[str, str], ...]
    day_figure: DayFigure | None
    season: str
    season_figure: SeasonFigure | None
    airing: str | None
    airing_facts: str
    airing_level: str
    measure: str | None
    measure_rows: tuple[MeasureRow, ...]
    measure_has_grams: bool


def told(advice: RoomAdvice, air: AirAnswer) -> Told:
    """Everything beside the chart."""
    return Told(
        missing=advice.missing,
        now=_now(air),
        explained=_explained(advice, air),
        usual=sentence(advice.usual.words),
        day=sentence(advice.day_why) if advice.day is None else advice.day.advice,
        day_facts=() if advice.day is None else _day_facts(advice.day),
        day_figure=None if advice.day is None else day_figure(advice.day),
        season=_season(advice),
        season_figure=None if advice.season is None else season_figure(advice.season),
        airing=None if advice.airing is None else advice.airing.advice,
        airing_facts="" if advice.airing is None else _airing_facts(advice.airing),
        airing_level=_airing_level(advice.airing),
        measure=None if advice.measure is None else advice.measure.advice,
        measure_rows=() if advice.measure is None else _measure_rows(advice.measure),
        measure_has_grams=advice.measure is not None
        and any(box.leak_g_day is not None for box in advice.measure.boxes),
    )


def grams(value: float) -> str:
    """Grams with the two digits that are known of them; never '0 g' for something."""
    if 0.0 < value < 0.0095:
        return "under 0.01 g"
    rounded = float(f"{value:.2g}")
    return f"{rounded:g} g"


def _now(air: AirAnswer) -> tuple[str, ...]:
    if air.humidity_pct is None or air.temperature_c is None or air.vapour_g_m3 is None:
        return ()
    was = "was" if air.stale else "is"
    held = "held" if air.stale else "holds"
    words = [f"A cubic metre of this air {held} {air.vapour_g_m3:.1f} g of water."]
    if air.dew_point_c is not None:
        kind = "dew" if air.dew_point_c >= 0.0 else "dew or frost"
        words.append(
            f"Its dew point {was} {signed(air.dew_point_c)} °C: on anything colder than that, {kind} forms."
        )
    if not air.stale:
        words.append(_trend(air))
    return tuple(word for word in words if word)


def _trend(air: AirAnswer) -> str:
    """What the relative humidity did, and whether water came or went with it (P12)."""
    moist, dew = air.humidity_change_pct, air.dew_point_change_c
    if moist is None or dew is None:
        return ""
    by = f"by {abs(moist):.0f} %RH" if abs(moist) >= 1.5 else f"by {abs(moist):.1f} %RH"
    if abs(dew) < _LEAST_DEW_C:
        if abs(moist) < _LEAST_PCT:
            return "Neither humidity nor dew point has changed in the last three hours."
        warmth = "warmer" if moist < 0 else "cooler"
        return (
            f"In three hours the relative humidity {_went(moist)} {by}, but the dew point stayed: "
            f"it got {warmth}, no water came or went."
        )
    water = "water came into the air" if dew > 0 else "water left the air"
    change = f"the dew point {_went(dew)} by {abs(dew):.1f} °C: {water}"
    if abs(moist) >= _LEAST_PCT and (moist > 0) != (dew > 0):
        warmth = "warmer" if moist < 0 else "cooler"
        return (
            f"In three hours {change}, though the relative humidity {_went(moist)} {by}, as it got {warmth}."
        )
    return f"In three hours {change}."


def _went(change: float) -> str:
    return "rose" if change > 0 else "fell"


def _explained(advice: RoomAdvice, air: AirAnswer) -> tuple[str, ...]:
    usual = advice.usual
    vapour, percent, warmth = usual.vapour_g_m3, usual.humidity_pct, usual.temperature_c
    if not air.stale and None not in (air.vapour_g_m3, air.humidity_pct, air.temperature_c):
        vapour, percent, warmth = air.vapour_g_m3 or 0.0, air.humidity_pct or 0.0, air.temperature_c or 0.0
    full = f", {100.0 * vapour / percent:.1f} g" if percent > 1.0 else ""
    return (
        f"Absolute humidity is the water itself: here {vapour:.1f} g in each cubic metre. Relative humidity "
        f"is its share of what air at {warmth:.0f} °C can hold at most{full}: {humidity(percent)}.",
        f"Heating a box makes its relative humidity fall though no water leaves: this room's usual air, "
        f"{humidity(usual.humidity_pct)}, shows {humidity(advice.warmed_pct)} once it is warmed to "
        f"{advice.warmed_c:.0f} °C, with all its water still in it. Warm filament gives its water off "
        "faster, but in a shut box that water stays.",
        f"{advice.cool_pct:.0f} %RH is not the same everywhere: at {advice.cool_c:.0f} °C it is dry air, "
        f"which shows {humidity(advice.cool_carried_pct)} once it is at {advice.cool_carried_c:.0f} °C. To "
        "compare a cellar with a loft, or outside with inside, compare dew points or grams.",
    )


def _day_facts(day: DayAnswer) -> tuple[tuple[str, str], ...]:
    volume = f"{day.box_volume_l:g} l box"
    if day.volume_is_assumed:
        volume = f"{volume} (assumed: no box stands here)"
    difference = abs(day.dampest.opening_g - day.driest.opening_g)
    saved = f"{grams(difference)} of water for each opening of a {volume}"
    if day.charge_g:
        saved += f", beside {day.charge_g:.0f} g of desiccant"
    return (
        (f"Driest, {_clock(day.driest)}", f"{_vapour(day.driest.vapour_g_m3)}; {_opening(day.driest)}"),
        (f"Dampest, {_clock(day.dampest)}", f"{_vapour(day.dampest.vapour_g_m3)}; {_opening(day.dampest)}"),
        ("The hour is worth", saved),
        ("Comes again each day", f"{_swing(day.swing_g_m3)}, from {day.days} whole days"),
    )


def _swing(swing_g_m3: float) -> str:
    return "nothing beyond chance" if swing_g_m3 < 0.05 else f"{swing_g_m3:.1f} g/m³ of swing"


def _clock(hour: HourAnswer) -> str:
    return f"{hour.hour:02}:00 to {(hour.hour + 1) % 24:02}:00"


def _vapour(spread: Spread) -> str:
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    return f"{spread.p50:.1f} g/m³ ({spread.p10:.1f} to {spread.p90:.1f})"


def _opening(hour: HourAnswer) -> str:
    return f"an opening lets in {grams(hour.opening_g)}"


def _season(advice: RoomAdvice) -> str:
    season = advice.season
    if season is None:
        return sentence(advice.season_why)
    driest, dampest = month_words(season.driest.month), month_words(season.dampest.month)
    part = "" if season.is_whole_year else " Not every month of the year is stored yet."
    if season.ratio < 1.15:
        return f"The months differ little: {driest} was the driest, {dampest} the dampest.{part}"
    return (
        f"In {dampest} this air held {season.ratio:.1f} times the water of {driest}: boxes and bags take "
        f"in about as much more then, and their desiccant is used up so much sooner.{part}"
    )


def month_words(month: str) -> str:
    """'2026-07' as 'July 2026'."""
    return f"{MONTHS[int(month[5:]) - 1]} {month[:4]}"


def _airing_facts(airing: AiringAnswer) -> str:
    dew = "" if airing.dew_point_c is None else f", dew point {signed(airing.dew_point_c)} °C"
    return (
        f"Outside {signed(airing.outside_c)} °C and {airing.outside_pct:.0f} %RH: {airing.vapour_g_m3:.1f} "
        f"g/m³ once inside{dew}. A difference under {airing.least_change_pct:.0f} %RH two readings cannot "
        "tell. Airing cools the room, too: what counts is the dew point, which warming up does not change."
    )


def _airing_level(airing: AiringAnswer | None) -> str:
    if airing is None:
        return "none"
    return {Airing.DRIER: "dry", Airing.SAME: "near", Airing.DAMPER: "over", Airing.DEW: "over"}[
        airing.verdict
    ]


def _measure_rows(measure: MeasureAnswer) -> tuple[MeasureRow, ...]:
    if measure.leak_share >= 1.0:  # nothing changes
        return ()
    return tuple(
        MeasureRow(
            key=box.key,
            name=box.name,
            share=_share(box.leak_share, box.leak_share_why),
            now="not known" if box.leak_g_day is None else grams(box.leak_g_day),
            then=_then(box.leak_then_g_day),
        )
        for box in measure.boxes
    )


def _share(share: float | None, why: str | None) -> str:
    if share is None:
        return why or "not known"
    return "none: it would dry out" if share <= 0.0 else f"{100.0 * share:.0f} %"


def _then(leak_g_day: float | None) -> str:
    if leak_g_day is None:
        return "not known"
    return "0 g" if leak_g_day <= 0.0 else grams(leak_g_day)
