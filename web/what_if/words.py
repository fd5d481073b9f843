"""A what-if answer in plain words: the headline, the figures, the night outside, the drying."""

from dataclasses import dataclass

from monitor.alarms.wording import humidity, span
from monitor.model.answers import Spread
from monitor.model.what_if import CurvePoint, Drying, Start
from monitor.service.advice import Advice, AirKind
from web.present import Presenter
from web.what_if.figure import Figure, figure_of

_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table that says the same as the figure."""

    when: str
    mean: str
    outer: str
    inner: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The whole answer, finished."""

    headline: str
    level: str  # over | near | dry
    act: str
    asked: str
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    figure: Figure
    is_strand: bool
    is_dated: bool  # times of a room's past, not of a stretch that begins at 0
    rows: tuple[Row, ...]
    night: str
    drying: tuple[str, ...]
    remedies: tuple[str, ...]
    cautions: tuple[str, ...]


def told(advice: Advice, present: Presenter) -> Told:
    """Everything that the page says."""
    answer = advice.answer
    level = _level(advice)
    note = answer.air_taken.note
    return Told(
        headline=_headline(advice, level),
        level=level,
        act=_act(level),
        asked=_asked(advice, present),
        facts=_facts(advice),
        notes=() if note is None else (note,),
        figure=figure_of(advice, present),
        is_strand=advice.wish.is_strand,
        is_dated=advice.begins_s is not None,
        rows=_rows(advice, present),
        night=_night(advice),
        drying=_drying(answer.drying),
        remedies=answer.drying.remedies,
        cautions=answer.cautions,
    )


def two_digits(value: float) -> str:
    """A figure with the two digits that are known of it, never in powers of ten."""
    rounded = float(f"{value:.2g}")
    text = f"{rounded:.6f}".rstrip("0").rstrip(".") if abs(rounded) < 10 else f"{rounded:.0f}"
    return text.replace("-", "\N{MINUS SIGN}")


def about(spread: Spread, unit: str) -> str:
    """'about 0.31 % (0.2 to 0.45)': never a figure without how well it is known."""
    if spread.p10 is None or spread.p50 is None:
        return "not known"
    low, middle = two_digits(spread.p10), two_digits(spread.p50)
    if spread.p90 is None:
        return f"about {middle}{unit} ({low} or more)"
    high = two_digits(spread.p90)
    return f"about {middle}{unit}" + ("" if low == high else f" ({low} to {high})")


def lasting(hours: float) -> str:
    """A time that is known within a factor: '7 min', '25 min', '1.5 h', '31 h', '5 days'."""
    minutes = 60.0 * hours
    if minutes < 9.5:
        return f"{max(minutes, 1.0):.0f} min"
    if minutes < 47.5:
        return f"{5.0 * round(minutes / 5.0):.0f} min"
    if hours < 9.75:
        return f"{round(2.0 * hours) / 2.0:g} h"
    return span(_HOUR_S * hours)


def _level(advice: Advice) -> str:
    """How the outer windings, which are printed first, stand to the limit in the end."""
    outer, limit = advice.answer.outer_pct, advice.answer.limit_pct
    if outer.p10 is None or outer.p50 is None or outer.p90 is None:
        return "near"
    if outer.p50 > limit:
        return "over" if outer.p10 > limit else "near"
    return "dry" if outer.p90 <= limit else "near"


def _headline(advice: Advice, level: str) -> str:
    answer = advice.answer
    name = advice.material.short_name
    what = f"loose {name} holds" if advice.wish.is_strand else f"the outer windings of {name} hold"
    passed = answer.outer_over_limit_after_h.p50
    limit = f"limit of {two_digits(answer.limit_pct)} %"
    if answer.outer_pct.p50 is not None and answer.outer_pct.p50 <= answer.limit_pct:
        end = f"under its {limit}" if level == "dry" else f"probably still under its {limit}"
    elif passed is not None and passed > 0.0:
        end = f"over its {limit} after about {lasting(passed)}"
    else:
        end = f"over its {limit} from the start"
    return f"{_after(advice)} {what} {about(answer.outer_pct, ' %')}: {end}."


def _after(advice: Advice) -> str:
    kind, room = advice.wish.air, advice.room_name
    asked_h = advice.answer.air_taken.hours
    is_in_days = asked_h > 72.0 and asked_h % 24.0 == 0.0
    hours = f"{asked_h / 24.0:g} days" if is_in_days else f"{asked_h:g} h"
    if kind is AirKind.WEEKEND:
        return f"After the weekend in {room}" if advice.is_weekend else f"After {hours} in {room}"
    if kind is AirKind.WEEK:
        return f"After the last 7 days in {room}"
    return f"After {hours}" + ("" if room is None else f" in {room}")


def _asked(advice: Advice, present: Presenter) -> str:
    """The question in one line, so that a shared link explains itself."""
    wish, taken = advice.wish, advice.answer.air_taken
    if wish.start_pct is not None:
        start = f"{two_digits(wish.start_pct)} % of water at first"
    else:
        start = {
            Start.DRIED: "freshly dried",
            Start.SOLD: "as sold, sealed",
            Start.WEEK: "open for a week before",
        }[wish.start]
    reel = "" if wish.is_strand else f" on {_reel(advice)}"
    air = f"{humidity(taken.humidity_pct)}, {taken.temperature_c:.0f} °C"
    if advice.begins_s is not None and advice.ends_s is not None:
        begins, ends = (present.clock(at_s, "%a %d %b %H:%M") for at_s in (advice.begins_s, advice.ends_s))
        air = f"{air} in the mean, measured from {begins} to {ends}"
    return (
        f"{advice.material.name}, {wish.net_g:.0f} g of {wish.diameter_mm:g} mm{reel}, {start}. Air: {air}."
    )


def _reel(advice: Advice) -> str:
    return "a reel that is not known" if advice.reel.key == "unknown" else f"a {advice.reel.name}"


def _act(level: str) -> str:
    if level == "over":
        return "Dry it before printing."
    if level == "near":
        return "Too close to call: dry it first where the part matters, or print a test piece."
    return "It can be printed as it is."


def _facts(advice: Advice) -> tuple[tuple[str, str], ...]:
    answer, net_g = advice.answer, advice.wish.net_g
    water = two_digits((answer.moisture_pct.p50 or 0.0) * net_g / 100.0)
    mean = f"{about(answer.moisture_pct, ' %')}, {water} g of water; {_passed(answer.over_limit_after_h)}"
    outer = f"{about(answer.outer_pct, ' %')}; {_passed(answer.outer_over_limit_after_h)}"
    limits = f"{two_digits(answer.limit_pct)} %"
    if answer.looser_limit_pct is not None:
        limits += f"; under {two_digits(answer.looser_limit_pct)} % prints begin to look right"
    rows = (
        [("Filament", mean)] if advice.wish.is_strand else [("Outer windings", outer), ("Whole spool", mean)]
    )
    return (
        *rows,
        ("At the start", about(answer.start_pct, " %")),
        ("Limit for printing", limits),
        ("Heading for", f"{two_digits(answer.equilibrium_pct)} %, if that air goes on for long"),
    )


def _passed(spread: Spread) -> str:
    if spread.p50 is None:
        return "not over the limit in that time"
    if spread.p50 == 0.0:
        return "over the limit from the start"
    low = "" if spread.p10 is None else lasting(spread.p10)
    high = "or more" if spread.p90 is None else f"to {lasting(spread.p90)}"
    return f"over the limit after about {lasting(spread.p50)} ({low} {high})"


def _rows(advice: Advice, present: Presenter) -> tuple[Row, ...]:
    """Some ten of the curve's points, evenly over the time."""
    curve = advice.answer.curve
    chosen = sorted({_nearest(curve, curve[-1].h * share / 10.0) for share in range(11)})
    return tuple(
        Row(
            when=_when(advice, present, curve[at].h),
            mean=two_digits(curve[at].mean_pct),
            outer=two_digits(curve[at].outer_pct),
            inner=two_digits(curve[at].inner_pct),
        )
        for at in chosen
    )


def _nearest(curve: tuple[CurvePoint, ...], hours: float) -> int:
    return min(range(len(curve)), key=lambda at: abs(curve[at].h - hours))


def _when(advice: Advice, present: Presenter, hours: float) -> str:
    if advice.begins_s is not None:
        return present.clock(advice.begins_s + _HOUR_S * hours, "%a %H:%M")
    return "start" if hours == 0.0 else span(_HOUR_S * hours)


def _night(advice: Advice) -> str:
    night, gain = advice.answer.night_outside, advice.answer.night_outside.gain_pct
    air = advice.answer.air_taken
    what = "Loose filament" if advice.wish.is_strand else "A freshly dried spool"
    where = f"in {humidity(air.humidity_pct)} at {air.temperature_c:.0f} °C"
    middle = night.gain_g.p50 or 0.0
    taken = (
        f"{what} takes up {about(gain, ' %')} in {night.hours:.0f} h {where}, {two_digits(middle)} g of water"
    )
    if (gain.p50 or 0.0) <= 0.0:
        taken = f"{what} takes up next to nothing in {night.hours:.0f} h {where}"
    return f"{taken}. {_lost(night.lost_m, night.length_m)}"


def _lost(lost: Spread, length_m: float) -> str:
    middle = lost.p50 or 0.0
    if middle >= 0.995 * length_m:
        return f"All {two_digits(length_m)} m are over the limit then."
    if (lost.p90 or 0.0) <= 0.0:
        return f"None of its {two_digits(length_m)} m is over the limit then."
    return f"Over the limit then: {about(lost, ' m')} of {two_digits(length_m)} m."


def _drying(drying: Drying) -> tuple[str, ...]:
    heat = f"In this air, heated to {drying.temperature_c:g} °C"
    if drying.hours.p50 == 0.0 and drying.hours.p90 == 0.0:
        return (f"None: it is under {two_digits(drying.target_pct or 0.0)} % throughout.",)
    if drying.target_pct is not None:
        goal = "its limit" if drying.reaches_limit else "where prints begin to look right"
        end = f"until it is under {two_digits(drying.target_pct)} %, {goal}"
        lines = [f"{heat}: {_hours(drying.hours)} {end}."]
    elif drying.makes_wetter:
        lines = [f"{heat}, it would get wetter, not drier."]
    else:
        lines = [f"{heat}, it does not get dry enough."]
    if drying.why is not None:
        lines.append(drying.why)
    if drying.target_pct is None and drying.settles_h.p50 is not None:
        lines.append(f"It is nearly down to that after {_hours(drying.settles_h)}; longer gains nothing.")
    lines.append(f"{drying.temperature_c:g} °C: {drying.limited_by}.")
    return tuple(lines)


def _hours(spread: Spread) -> str:
    if spread.p50 is None:
        return "longer than 120 h"
    return about(spread, " h")
