"""The exposure account of a spool in words: stays, dryings, and three verbs kept apart (D-01 to D-06)."""

from dataclasses import dataclass

from monitor.alarms.wording import humidity, span
from monitor.library import Library
from monitor.model.answers import SpoolAccount, SpoolAnswer, StayAnswer
from monitor.model.inventory import Inventory
from web.inside import sentence
from web.present import Presenter, seconds
from web.spools.words import place_of

_MINUS = "\N{MINUS SIGN}"
_REASON_WORDS = {
    "verdict": "Verdict",
    "outer_pct": "Outer windings",
    "moisture_pct": "Whole spool",
    "dry_length_m": "Dry length",
    "heading_for_pct": "Heading for",
    "use_before": "Until when",
    "exposure_h": "Hours of exposure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StayRow:
    """One stay of the table."""

    place: str
    kind: str  # "sealed" | "heat" | ""
    begin: str
    length: str
    gained: str
    as_if: str
    worst: str
    unmeasured: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One of the things that may happen to the clock of its exposure."""

    name: str
    words: str
    is_now: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """Facts, verbs and stays, finished."""

    facts: tuple[tuple[str, str], ...]
    verbs: tuple[Verb, ...]
    trend: str
    stays: tuple[StayRow, ...]
    weighing: str
    signs: str


def account(spool: SpoolAnswer, inventory: Inventory, present: Presenter) -> Account | None:
    """None while nothing is followed yet."""
    book = spool.account
    if book is None:
        return None
    return Account(
        facts=_facts(spool, book, present),
        verbs=_verbs(spool, book, present),
        trend=spool.trend_why or "",
        stays=tuple(_stay(stay, inventory, present) for stay in reversed(book.stays)),
        weighing=book.weighing or "",
        signs=book.signs or "",
    )


def reasons(spool: SpoolAnswer, library: Library) -> tuple[tuple[str, str], ...]:
    """Where each figure comes from; the limit's source is the catalogue's."""
    said = [(_REASON_WORDS.get(name, name), sentence(why)) for name, why in spool.reasons.items()]
    material = library.materials.get(spool.material)
    if material is not None and "limit_pct" in material.sources:
        said.append(("Limit", sentence(material.sources["limit_pct"].text)))
    return tuple(said)


def _facts(spool: SpoolAnswer, book: SpoolAccount, present: Presenter) -> tuple[tuple[str, str], ...]:
    since = "since it was dried" if book.reset else "since its story begins"
    if spool.exposure_h is None:
        exposed = sentence(spool.exposure_h_why)
    else:
        exposed = f"{_hours(spool.exposure_h)} in air that takes it over its limit, {since}"
    dryings = f"{book.dryings} drying{'' if book.dryings == 1 else 's'}" if book.dryings else "no drying"
    heat = f"{dryings}, {_hours(book.hot_h)} in heat" if book.hot_h else dryings
    assumed = f"{_hours(book.assumed_h)}, for which damper air was assumed" if book.assumed_h else "none"
    return (
        ("Exposed", exposed),
        ("Last reset", _reset(book, present)),
        ("Heat so far", heat),
        ("Not measured", assumed),
    )


def _reset(book: SpoolAccount, present: Presenter) -> str:
    if book.partly_reset is not None:
        partly = f"dried {_day(book.partly_reset, present)}, without proof that it got dry"
        return partly if book.reset is None else f"{_day(book.reset, present)}; since then {partly}"
    return "never, as far as is known" if book.reset is None else _day(book.reset, present)


def _verbs(spool: SpoolAnswer, book: SpoolAccount, present: Presenter) -> tuple[Verb, ...]:
    last = f" Last: {_day(book.reset, present)}." if book.reset else ""
    return (
        Verb(
            name="Run",
            words="Its air takes it over its limit: the clock of its exposure runs.",
            is_now=spool.trend == "run",
        ),
        Verb(
            name="Pause",
            words="Its air keeps it as it is: the clock stands.",
            is_now=spool.trend in ("pause", "sealed"),
        ),
        Verb(
            name="Recover",
            words="Its air dries it, slowly: the clock stands, but is not set back.",
            is_now=spool.trend == "recover",
        ),
        Verb(
            name="Reset",
            words=f"A drying that was measured, or a weighing that proves it.{last}",
            is_now=False,
        ),
    )


def _stay(stay: StayAnswer, inventory: Inventory, present: Presenter) -> StayRow:
    length = span(3600.0 * stay.hours)
    is_told = stay.is_hot and stay.place is None  # a drying that a person told of
    return StayRow(
        place="a dryer elsewhere" if is_told else place_of(inventory, stay.place).name,
        kind="sealed" if stay.is_sealed else "heat" if stay.is_hot else "",
        begin=present.clock(seconds(stay.begin) or 0.0),
        length=length if stay.end is not None else f"{length} so far",
        gained=signed_grams(stay.gained_g),
        as_if="–" if stay.equivalent_pct is None else humidity(stay.equivalent_pct),
        worst="–" if stay.worst_pct is None else humidity(stay.worst_pct),
        unmeasured=_hours(stay.unmeasured_h) if stay.unmeasured_h else "–",
    )


def signed_grams(value: float) -> str:
    """Water taken up or given off, always with its sign; nought has none."""
    if value == 0.0:
        return "0 g"
    return f"{'+' if value > 0.0 else _MINUS}{abs(value):g} g"


def _hours(hours: float) -> str:
    return f"{hours:.1f} h" if 0.0 < hours < 9.95 else f"{hours:.0f} h"


def _day(rfc3339: str, present: Presenter) -> str:
    return present.clock(seconds(rfc3339) or 0.0, "%d %b %Y %H:%M")
