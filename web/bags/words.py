"""The answer about a bag in plain words: how long, by when, how many grams, and what its card says."""

import datetime as dt
from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.library import Library
from monitor.library.enclosures import load_enclosures
from monitor.model.bag import BagAnswer, BagWish, CardAnswer, Closure, Leaked
from monitor.model.catalogue import Confidence
from web.inside import sentence
from web.rooms.words import grams

_TWO_YEARS = 730.0
_MOST_SENSIBLE_G = 500.0  # of desiccant beside one spool
_SURE = {Confidence.HIGH: "well known", Confidence.MEDIUM: "fairly known", Confidence.LOW: "a rough guess"}
_CARD_LEVELS = {Leaked.LIKELY: "over", Leaked.UNLIKELY: "dry", Leaked.CANNOT_TELL: "near"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The whole answer, finished."""

    headline: str
    level: str  # dry | near | over
    act: str
    asked: str
    card: str | None
    card_level: str
    facts: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """One film or box of the catalogue."""

    name: str
    figure: str
    sure: str
    source: str


def told(answer: BagAnswer, wish: BagWish, library: Library, today: dt.date) -> Told:
    """Everything that the page says of an answer."""
    material = library.material(wish.material)
    return Told(
        headline=_headline(answer, material.short_name),
        level=_level(answer),
        act=_act(answer, today),
        asked=_asked(answer, wish, library),
        card=None if answer.card is None else answer.card.leaked_why,
        card_level=_card_level(answer.card),
        facts=_facts(answer, wish),
        cautions=answer.cautions,
    )


def lasting(days: float) -> str:
    """A time that is known within a factor: '12 days', '9 weeks', '14 months'."""
    if days >= _TWO_YEARS:
        return "two years or more"
    if days < 1.0:
        return "less than a day"
    if days < 21.0:
        return f"{days:.0f} day{'' if round(days) == 1 else 's'}"
    return f"{days / 7.0:.0f} weeks" if days < 90.0 else f"{days / 30.4:.0f} months"


def film_rows() -> tuple[TableRow, ...]:
    """What each film lets through."""
    return tuple(
        TableRow(
            name=film.name,
            figure=_band(1000.0 * film.transmission_kg_m2_day.low, 1000.0 * film.transmission_kg_m2_day.high),
            sure=_SURE[film.source.confidence],
            source=film.source.text,
        )
        for film in load_enclosures().films.values()
    )


def box_rows() -> tuple[TableRow, ...]:
    """How often each kind of box changes its air."""
    return tuple(
        TableRow(
            name=box.name,
            figure=_changes(box.least_per_day, box.most_per_day),
            sure=_SURE[box.source.confidence],
            source=box.source.text,
        )
        for box in load_enclosures().boxes.values()
    )


def _band(low: float, high: float) -> str:
    return f"{low:.2g}" if low == high else f"{low:.2g} to {high:.2g}"


def _changes(least: float, most: float | None) -> str:
    if most is None:
        return f"{least:g} or more"
    if least == 0.0:
        return f"up to {most:g}"
    return f"{least:g}" if least == most else f"{least:g} to {most:g}"


def _headline(answer: BagAnswer, name: str) -> str:
    worst, usual = answer.days_worst, answer.days_usual
    if worst is None or usual is None:
        return f"{name} stays printable in this air: it needs no desiccant."
    limit = humidity(answer.limit_humidity_pct)
    if usual < 1.0:
        return f"This desiccant cannot keep {name} below the {limit} it asks for, not even at first."
    if worst < 1.0:
        return (
            f"About {lasting(usual)} if all goes as usual, but this desiccant may fail to reach the "
            f"{limit} that {name} asks for from the first day."
        )
    if worst >= _TWO_YEARS:
        return f"This bag keeps {name} printable for two years or more, even at the worst."
    return f"This bag keeps {name} printable for {lasting(worst)} at the worst, {lasting(usual)} as usual."


def _level(answer: BagAnswer) -> str:
    if answer.card is not None and answer.card.leaked is Leaked.LIKELY:
        return "over"
    worst, usual = answer.days_worst, answer.days_usual
    if worst is None or usual is None or worst >= 60.0:
        return "dry"
    return "near" if usual >= 7.0 else "over"


def _act(answer: BagAnswer, today: dt.date) -> str:
    if answer.card is not None and answer.card.leaked is Leaked.LIKELY:
        return "Open it, weigh or dry the filament, and seal it anew with fresh desiccant."
    if answer.days_worst is None:
        return "Keep dust and light off it; that is enough."
    if answer.days_usual is not None and answer.days_usual < 1.0:
        return "Dry the filament, and take more or a stronger desiccant before you shut the bag."
    check, renew = _day(answer.check_by), _day(answer.renew_by)
    parts = []
    if check is not None:
        parts.append(f"Read its card by {_date(check)}" if check > today else "Read its card now")
    if renew is not None:
        by = f"by {_date(renew)}" if renew > today else "now"
        parts.append(f"change the desiccant and seal it anew {by}")
    if not parts:
        return "Write the date on it and look once a year."
    words = ", and ".join(parts)
    return f"{words[0].upper()}{words[1:]}."


def _day(date: str | None) -> dt.date | None:
    return None if date is None else dt.date.fromisoformat(date)


def _date(day: dt.date) -> str:
    return f"{day.day} {day:%B %Y}"


def _asked(answer: BagAnswer, wish: BagWish, library: Library) -> str:
    """The question in one line, so that a shared link explains itself."""
    film = load_enclosures().films[wish.film]
    closed = "welded" if wish.closure is Closure.WELDED else "zip pressed shut"
    times = "once" if wish.openings_week == 1.0 else f"{wish.openings_week:g} times"
    opened = "never opened" if wish.openings_week == 0.0 else f"opened {times} a week"
    return (
        f"{film.name}, {wish.width_cm:g} by {wish.length_cm:g} cm, {closed}, {opened}; {wish.dry_g:g} g of "
        f"{_uncapitalised(library.desiccant(wish.desiccant).name)}. Air: "
        f"{humidity(answer.room_humidity_pct)}, {answer.temperature_c:.0f} °C."
    )


def _uncapitalised(name: str) -> str:
    return f"{name[:1].lower()}{name[1:]}"


def _facts(answer: BagAnswer, wish: BagWish) -> tuple[tuple[str, str], ...]:
    what = "Film and zip let in" if wish.closure is Closure.ZIP else "The film lets in"
    through = (
        f"{grams(answer.film_g_day_worst)} a day at the worst, {grams(answer.film_g_day_usual)} as usual"
    )
    takes = f"{grams(answer.capacity_g_worst)} at the worst, {grams(answer.capacity_g_usual)} as usual"
    rows = [
        ("What it asks for", f"below {humidity(answer.limit_humidity_pct)}"),
        (what, through),
        ("An opening lets in", f"up to {grams(answer.opening_g_worst)}"),
        ("The filament gives off", _contents(answer.contents_g)),
        ("The charge takes up", takes),
    ]
    if answer.needs_desiccant:
        rows.append(("For 6 months at the worst", _needed(answer.grams_6_months, answer.grams_6_months_why)))
        rows.append(
            ("For 12 months at the worst", _needed(answer.grams_12_months, answer.grams_12_months_why))
        )
    if answer.card is not None:
        rows.append(("The card says", _card_words(answer.card)))
    return tuple(rows)


def _contents(contents_g: float) -> str:
    return "nothing that counts" if contents_g <= 0.0 else f"up to {grams(contents_g)} in the end"


def _needed(value_g: float | None, why: str | None) -> str:
    if value_g is None:
        return sentence(why)
    words = f"{max(float(f'{value_g:.2g}'), 1.0):g} g of this desiccant"
    return words if value_g <= _MOST_SENSIBLE_G else f"{words}: take a tighter bag instead"


def _card_words(card: CardAnswer) -> str:
    high = "or more" if card.high_pct >= 100.0 else f"to {card.high_pct:.0f}"
    return (
        f"{card.low_pct:.0f} {high} %RH; without a leak at most {humidity(card.most_explained_pct)} by "
        f"now, with an open seam at least {humidity(card.open_seam_pct)}"
    )


def _card_level(card: CardAnswer | None) -> str:
    return "none" if card is None else _CARD_LEVELS[card.leaked]
