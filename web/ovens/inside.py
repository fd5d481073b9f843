"""What lies in an oven, what it still holds, and what becomes of it once it is taken out."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.library import Library
from monitor.model.answers import SpoolAnswer, Spread, StatusAnswer
from monitor.model.inventory import Inventory
from monitor.model.oven_look import OvenLook
from web.inside import VERDICT_WORDS, band, water_band
from web.present import Presenter
from web.spools.words import short_name, until


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One spool in or for an oven."""

    key: str
    name: str
    material: str
    water: str
    verdict: str
    until: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fumes:
    material: str
    words: str


def spools_in(status: StatusAnswer, oven: str) -> tuple[SpoolAnswer, ...]:
    """By the last word of where each is."""
    return tuple(spool for spool in status.spools if spool.place == oven)


def held(spool: SpoolAnswer, library: Library, present: Presenter, now_s: float) -> Held:
    """Its water now, with range, and until when it stays good."""
    grams = "" if spool.water_g is None else f", in all {band(spool.water_g, '.2g', ' g')}"
    return Held(
        key=spool.key,
        name=spool.name,
        material=short_name(library, spool.material),
        water=f"Water: {water_band(spool.moisture_pct)}{grams}",
        verdict=VERDICT_WORDS[spool.verdict],
        until=until(spool, present, now_s),
    )


def water_left(spools: Iterable[SpoolAnswer]) -> str:
    """All water above what each is printed at, with its range: the ends are added, the wider reading."""
    spans = [_above_limit_g(spool) for spool in spools]
    known = [span for span in spans if span is not None]
    if not known:
        return "How much water is still to go is not known."
    low, middle, high = (sum(ends) for ends in zip(*known, strict=True))
    spread = Spread(p10=low, p50=middle, p90=high)
    missing = len(spans) - len(known)
    rest = f" Of {missing} more it is not known." if missing else ""
    if 0.0 < high < 0.05:
        return f"Less than 0.05 g of water is still to go.{rest}"
    if high <= 0.0:
        return f"No water is left to go: all of it is at its printing limit or below.{rest}"
    return f"Water still to go: {band(spread, '.1f', ' g')}.{rest}"


def _above_limit_g(spool: SpoolAnswer) -> tuple[float, float, float] | None:
    moisture, left_g, limit = spool.moisture_pct, spool.left_g, spool.limit_pct
    if left_g is None or limit is None:
        return None
    if moisture.p10 is None or moisture.p50 is None or moisture.p90 is None:
        return None
    low, middle, high = (
        max(pct - limit, 0.0) / 100.0 * left_g for pct in (moisture.p10, moisture.p50, moisture.p90)
    )
    return low, middle, high


def fumes(look: OvenLook, inventory: Inventory, library: Library) -> tuple[Fumes, ...]:
    """B-43: what each material inside gives off when warm."""
    kept = [inventory.spools[item.key] for item in look.load if item.key in inventory.spools]
    keys = dict.fromkeys(spool.material for spool in kept)
    return tuple(
        Fumes(material=library.materials[key].short_name, words=library.materials[key].fumes)
        for key in keys
        if key in library.materials
    )
