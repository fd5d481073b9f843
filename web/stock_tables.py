"""Reels and desiccants as the tables under the materials show them, in finished words."""

from dataclasses import dataclass

from monitor.library import Library
from monitor.model.catalogue import DesiccantKind
from web.care_card import SURE_WORDS


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelRow:
    name: str
    highest: str
    softens: str
    water: str
    source: str
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DesiccantRow:
    name: str
    renew: str
    highest: str
    danger: str
    note: str
    source: str
    sure: str


def reels(library: Library) -> tuple[ReelRow, ...]:
    """What each reel stands, and the water it brings along."""
    return tuple(
        ReelRow(
            name=reel.name,
            highest=f"{reel.max_safe_c:g}",
            softens=f"{reel.softening_c:g}",
            water=f"{100.0 * reel.water_content:.2g}",
            source=reel.source.text,
            sure=SURE_WORDS[reel.source.confidence],
        )
        for reel in library.reels.values()
    )


def desiccants(library: Library) -> tuple[DesiccantRow, ...]:
    """How each desiccant is renewed, what destroys it, and what makes it dangerous."""
    return tuple(
        DesiccantRow(
            name=kind.name,
            renew=_renewal(kind),
            highest="–" if kind.max_safe_c is None else f"{kind.max_safe_c:g}",
            danger=kind.oven_refusal or "",
            note=kind.note or "",
            source=kind.source.text,
            sure=SURE_WORDS[kind.confidence],
        )
        for kind in library.desiccants.values()
    )


def _renewal(kind: DesiccantKind) -> str:
    if kind.regenerate_c is None or kind.regenerate_s is None:
        return "not in an oven"
    least = "" if kind.regenerate_least_c is None else f", at least {kind.regenerate_least_c:g} °C"
    return f"{kind.regenerate_c:g} °C for {kind.regenerate_s / 3600.0:g} h{least}"
