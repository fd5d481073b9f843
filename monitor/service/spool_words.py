"""The sentence behind each figure of a spool."""

from dataclasses import dataclass

from monitor.estimate.spool_answer import Outlook, Reading
from monitor.estimate.spool_course import Around
from monitor.estimate.spool_diary import Diary
from monitor.estimate.spool_signs import MEANINGS
from monitor.estimate.spool_track import Track
from monitor.model.history import DAY_S
from monitor.model.inventory import Spool
from monitor.model.spool_event import Sign

_START_WORDS = {
    "sealed_dry": "it began sealed with desiccant, which a maker's seal does not prove dry",
    "sealed": "it began in a maker's sealed bag, which does not prove it dry",
    "open": "it began open, at rest with an ordinary room",
    "unknown": "nobody knew its past, so the damper half of what is usual was taken",
}


def reasons(track: Track, reading: Reading, outlook: Outlook, lately: Around) -> dict[str, str]:
    """Member to sentence; each says where the figure comes from."""
    diary = track.diary
    return {
        "moisture_pct": _moisture(track.body.spool, diary),
        "outer_pct": "The outermost millimetre follows the air within hours; printing begins there.",
        "dry_length_m": _dry_length(reading),
        "heading_for_pct": _heading(lately),
        "use_before": _use_before(outlook),
        "verdict": reading.verdict_why,
        "exposure_h": _exposure(diary),
    }


def trend_words(outlook: Outlook) -> str:
    """What its place does to it: three verbs that are kept apart (D-02)."""
    if outlook.trend == "sealed":
        return "Sealed: its water stays as it is."
    if outlook.trend == "run":
        return f"Its place takes it over its limit: it is heading for {_water(outlook.heading_for_pct)}."
    if outlook.trend == "recover":
        return f"Its place dries it slowly towards {_water(outlook.heading_for_pct)}{_recovers(outlook)}"
    return "Its place keeps it as it is: the clock stands, but only drying sets it back."


def _water(percent: float) -> str:
    """Below a thousandth of a per cent no figure means anything."""
    return f"{percent:.2g} %" if percent >= 0.001 else "less than 0.001 %"


def _recovers(outlook: Outlook) -> str:
    """With its honest time scale."""
    after_s = outlook.under_after_s
    if after_s is None:
        return ", but not within 90 days. Only an oven sets its clock back."
    span = f"{after_s / 3600.0:.0f} hours" if after_s < 2 * DAY_S else f"{after_s / DAY_S:.0f} days"
    return f": under its limit after about {span}, if the air there stays so. An oven is quicker."


def _moisture(spool: Spool, diary: Diary) -> str:
    parts = []
    if diary.last_weighing is not None:
        parts.append("it was weighed")
    if diary.reset_s is not None or diary.partly_s is not None:
        parts.append("it was dried")
    if not parts:
        start = "its water was stated at the start" if spool.start_pct is not None else None
        parts.append(start or _START_WORDS[spool.start or "unknown"])
    if diary.assumed_s >= 3600.0:
        dark_h = diary.assumed_s / 3600.0
        parts.append(f"for {dark_h:.0f} h nothing was measured round it and the damper air was assumed")
    words = ", and ".join(parts)
    return f"Followed through the air of its places; {words}."


def _dry_length(reading: Reading) -> str:
    share = (reading.dry_length_m.p50 or 0.0) / max(reading.length_m, 1.0)
    if share >= 0.98:
        is_sure = (reading.dry_length_m.p10 or 0.0) >= 0.98 * reading.length_m
        return f"Every winding is {'' if is_sure else 'probably '}under the limit."
    if share <= 0.0:
        return "The outermost winding is over the limit already."
    return f"Printing takes the outer windings first; {100.0 * share:.0f} % of the rest is under the limit."


def _heading(lately: Around) -> str:
    if lately.is_sealed:
        return "It is sealed, so it keeps what it has."
    humidity = f"{100.0 * lately.relative_humidity:.0f} %RH"
    if lately.place is None:
        return f"Nobody said where it is: the rooms had about {humidity} over the last day."
    had = "had" if lately.is_measured else "was not measured and is taken to have had"
    return f"Over the last day its place {had} {humidity}."


def heading_in_oven(lately: Around) -> str:
    """What lies in an oven goes where the room's air takes it once heat has ended (D-14)."""
    had = "had" if lately.is_measured else "is taken to have had"
    humidity = f"{100.0 * lately.relative_humidity:.0f} %RH"
    return f"Once heat has ended the air of the room counts, which {had} {humidity} over the last day."


def _use_before(outlook: Outlook) -> str:
    if outlook.over_after_s is None:
        return "While the air there stays as on the last day, its outer windings stay under the limit."
    if outlook.over_after_s == 0.0:
        return "Its outer windings may be over the limit already."
    return "If the air there stays as on the last day, one chance in ten that it is over its limit by then."


def _exposure(diary: Diary) -> str:
    since = "since it was last dried" if diary.reset_s is not None else "since its story begins"
    return f"Hours {since} in air that would take it over its limit; only drying sets this clock back."


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One line of the check list of signs."""

    sign: Sign
    asked: str
    look_alikes: str


def sign_questions() -> tuple[Question, ...]:
    """The check list, the surest signs first."""
    return tuple(
        Question(sign=sign, asked=meaning.asked, look_alikes=meaning.look_alikes)
        for sign, meaning in MEANINGS.items()
    )
