"""A spool's answer in finished words: its verdict, its water, until when, and what its place does to it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.library import Library
from monitor.model.answers import SpoolAnswer, Spread
from monitor.model.inventory import Inventory
from web.inside import VERDICT_WORDS, band, content, sentence, water_band
from web.present import Presenter, seconds

# Shape and word together: colour never speaks alone.
MARKS: Mapping[str, tuple[str, str]] = {
    "damaged": ("✕", "Damaged"),
    "dry_first": ("▲", "Dry first"),
    "not_sure": ("?", "Not sure"),
    "ready": ("●", "Ready"),
}
_TREND_BRIEFLY = {
    "sealed": "sealed, so it stays as it is",
    "pause": "stays as it is there",
    "recover": "dries there, but very slowly",
}
_HOUR_S = 3600.0
_SOON_S = 48 * _HOUR_S
# Where a limit stands on a row's rule [% of its length]; the scale is a root, as that of the boxes.
LIMIT_X = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a spool is; `kind` is empty where nobody said so."""

    key: str
    name: str
    kind: str  # "box" | "room" | "oven" | ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Water on a rule whose middle is the limit; positions in percent of its length."""

    low_x: str
    middle_x: str
    high_x: str
    looser_x: str | None  # below it prints look right (P03)
    is_off: bool  # further out than the rule goes
    spoken: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One spool of the list."""

    key: str
    name: str
    material: str
    place: Place
    verdict: str
    mark: str
    word: str
    water: str
    until: str
    trend: str
    track: Track | None


def row(spool: SpoolAnswer, library: Library, inventory: Inventory, present: Presenter, now_s: float) -> Row:
    """One spool in a few words."""
    mark, word = MARKS[spool.verdict]
    if looks_right(spool):
        word = "Dry for strength"
    return Row(
        key=spool.key,
        name=spool.name,
        material=short_name(library, spool.material),
        place=place_of(inventory, spool.place),
        verdict=spool.verdict,
        mark=mark,
        word=word,
        water=water(spool),
        until=until(spool, present, now_s) if not is_over(spool) else "",
        trend=trend_briefly(spool),
        track=track(spool),
    )


def verdict(spool: SpoolAnswer) -> str:
    """What to do with it, in a few words."""
    if spool.verdict == "damaged":
        return "Beyond saving: do not print with it."
    return VERDICT_WORDS[spool.verdict]


def water(spool: SpoolAnswer) -> str:
    """Its outer windings, which print first, with range and limit."""
    if spool.outer_pct.p50 is None:
        return sentence(spool.outer_pct.why or spool.verdict_why or "its water is not known")
    limit = "" if spool.limit_pct is None else f", limit {percent(spool.limit_pct)}"
    held = water_band(spool.outer_pct)
    return f"{held[0].upper()}{held[1:]}{limit}."


def until(spool: SpoolAnswer, present: Presenter, now_s: float) -> str:
    """Until when it stays under its limit, as a sentence."""
    at_s = seconds(spool.use_before)
    if at_s is not None and at_s - now_s < _HOUR_S:
        return "Use it within the hour."
    if at_s is not None:
        return f"Use it before {moment(present, at_s, now_s)}."
    if spool.verdict == "ready" and spool.trend == "sealed":
        return "Good for as long as it stays sealed."
    if spool.verdict == "ready":
        return "Good for at least 90 days there."
    return sentence(spool.use_before_why)


def moment(present: Presenter, at_s: float, now_s: float) -> str:
    """A forecast's time: the hour while it is near, the day further on; more is not known."""
    if at_s - now_s > _SOON_S:
        return _day(present, at_s)
    nearest_s = at_s // 1800.0 * 1800.0  # rounded down: the safe side of a deadline
    return f"{present.clock(nearest_s, '%a %H:%M')} ({_day(present, nearest_s)})"


def _day(present: Presenter, at_s: float) -> str:
    moment = present.local(at_s)
    return f"{moment.day} {moment:%b}"


def facts(spool: SpoolAnswer, present: Presenter, now_s: float) -> tuple[tuple[str, str], ...]:
    """What else is known of it, as (name, words)."""
    heading = spool.heading_for_pct
    if heading is None:
        where_to = sentence(spool.heading_for_pct_why)
    else:
        where_to = f"{percent(heading)}, whole spool, if it stays where it is"
    rows = [("Until when", until(spool, present, now_s)), ("Heading for", where_to)]
    if spool.length_m is not None:
        left = "" if spool.left_g is None else f", {spool.left_g:g} g"
        rows.append(("Left on it", f"{spool.length_m:g} m{left}"))
        rows.append(("Dry from the outside", metres(spool.dry_length_m)))
    if spool.water_g is not None and spool.water_g.p50 is not None:
        rows.append(("Water in it", band(spool.water_g, ".2g", " g")))
    return tuple(row for row in rows if row[1])


def trend_briefly(spool: SpoolAnswer) -> str:
    """What its place does to it, to stand in a row."""
    if spool.trend == "run" and spool.heading_for_pct is not None:
        return f"heads for {percent(spool.heading_for_pct)} there"
    return _TREND_BRIEFLY.get(spool.trend or "", "")


def is_over(spool: SpoolAnswer) -> bool:
    """Whether it is over its limit by the middle figure already: 'until when' says nothing then."""
    outer, limit = spool.outer_pct.p50, spool.limit_pct
    return outer is not None and limit is not None and outer > limit


def looks_right(spool: SpoolAnswer) -> bool:
    """Whether it wants drying for its parts' strength alone: invisible wetness (P03)."""
    looser, outer, mean = spool.looser_limit_pct, spool.outer_pct.p90, spool.moisture_pct.p90
    if spool.verdict != "dry_first" or looser is None or outer is None or mean is None:
        return False
    return is_over(spool) and max(outer, mean) <= looser


def track(spool: SpoolAnswer) -> Track | None:
    """Where its water stands against its limit; None where either is not known."""
    outer, limit = spool.outer_pct, spool.limit_pct
    if outer.p10 is None or outer.p50 is None or outer.p90 is None or not limit:
        return None
    return Track(
        low_x=share_x(outer.p10, limit),
        middle_x=share_x(outer.p50, limit),
        high_x=share_x(outer.p90, limit),
        looser_x=None if spool.looser_limit_pct is None else share_x(spool.looser_limit_pct, limit),
        is_off=outer.p50 > 4.0 * limit,
        spoken=f"{spool.name}, water in its outer windings: {water(spool)}",
    )


def share_x(content_pct: float, limit_pct: float) -> str:
    """Position on a root scale on which the limit stands at `LIMIT_X` [% of the rule's length]."""
    return f"{min(LIMIT_X * math.sqrt(max(content_pct, 0.0) / limit_pct), 100.0):.1f}"


def percent(value: float) -> str:
    """A water content with the two digits that are known of it."""
    return f"{content(value)} %"


def metres(spread: Spread) -> str:
    """A length with its range, in metres."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    if spread.p90 <= 0.0:
        return "none of it"
    if spread.p10 == spread.p90:
        return f"{spread.p50:g} m"
    return f"about {spread.p50:g} m ({spread.p10:g} to {spread.p90:g})"


def short_name(library: Library, key: str) -> str:
    """A material as people call it; one that the catalogue does not have, by its key."""
    material = library.materials.get(key)
    return key.upper() if material is None else material.short_name


def place_of(inventory: Inventory, key: str | None) -> Place:
    """The place by its name; a key that the inventory no longer has stays as it is."""
    if key is None:
        return Place(key="", name="nobody knows where", kind="")
    for kind, items in (("box", inventory.boxes), ("room", inventory.rooms), ("oven", inventory.ovens)):
        if key in items:
            return Place(key=key, name=items[key].name, kind=kind)
    return Place(key=key, name=key, kind="")
