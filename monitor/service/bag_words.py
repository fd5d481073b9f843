"""The sentences of the advice on a bag, alike for pages and programs."""

from monitor.alarms.wording import humidity
from monitor.estimate.bag import Bag, Card
from monitor.model.bag import BagWish, Closure, Leaked
from monitor.model.catalogue import Confidence, HydrateIsotherm, Material
from monitor.physics.desiccant import HumidityTells, humidity_tells

_SHORT_DAYS = 60.0
_BARRIER_KG_M2_DAY = 1e-4  # what is tighter has metal in it


def leaked_words(leaked: Leaked, card: Card, most: float, seam: float, days: float) -> str:
    """Whether the bag leaks, and why that is said."""
    since = f"{days:g} day{'' if days == 1.0 else 's'}"
    shown = _range_words(card)
    if leaked is Leaked.LIKELY:
        return (
            f"The bag has probably leaked: the card shows {shown}, and after {since} film, openings and "
            f"contents explain at most {humidity(100.0 * most)}. Look for a pinhole or a bad seam, and use a "
            "new bag."
        )
    if leaked is Leaked.UNLIKELY:
        return (
            f"No sign of a leak: the card shows {shown}, and with a seam open it would show at least "
            f"{humidity(100.0 * seam)} after {since}. A pinhole is slower than that and would not show."
        )
    return (
        f"The card cannot tell: {shown} is what film, openings and contents alone may have brought "
        f"(up to {humidity(100.0 * most)}), and what a leak may have (from {humidity(100.0 * seam)}), after "
        f"{since}. Look again later, or weigh the bag now and then."
    )


def _range_words(card: Card) -> str:
    if card.high >= 1.0:
        return f"more than {humidity(100.0 * card.low)}"
    if card.low <= 0.0:
        return f"less than {humidity(100.0 * card.high)}"
    return f"{100.0 * card.low:.0f} to {humidity(100.0 * card.high)}"


def cautions(
    bag: Bag, wish: BagWish, material: Material, *, days_worst: float, is_needed: bool
) -> tuple[str, ...]:
    """What to mind, the dangerous first."""
    said = [*_of_kind(bag)]
    if bag.film.note is not None:
        said.append(bag.film.note)
    said.append("A bag drawn flat has little air in it, but the film lets vapour through all the same.")
    if wish.closure is Closure.ZIP:
        said.append("A zip leaks more once it is dusty or creased: wipe it, and press it shut twice.")
    is_barrier = bag.film.transmission_kg_m2_day.high < _BARRIER_KG_M2_DAY and wish.closure is Closure.WELDED
    if is_needed and days_worst < _SHORT_DAYS and not is_barrier:
        said.append(
            f"For {material.short_name} this bag is a store of weeks: for months take a barrier bag, welded."
        )
    if bag.contents_kg > 0.0:
        said.append(
            f"What lies inside will give off up to {1000.0 * bag.contents_kg:.2g} g of water, over weeks to "
            "months: dry it first rather than feed the desiccant."
        )
    said.append("A cardboard reel brings 10 to 15 g of water of its own, which is not counted here.")
    said.append("A card holds at 23 °C; read it as soon as the bag is opened.")
    return tuple(said)


def _of_kind(bag: Bag) -> list[str]:
    kind = bag.kind
    said = []
    if isinstance(kind.isotherm, HydrateIsotherm):
        said.append(
            f"{kind.name} does not belong in a bag with filament: silica gel or molecular sieve does."
        )
    if kind.oven_refusal is not None:
        said.append(kind.oven_refusal)
    if kind.note is not None:
        said.append(kind.note)
    if humidity_tells(kind, bag.limit_humidity) is HumidityTells.NEARLY_FULL:
        said.append(
            "With this kind the card shows next to nothing until it is nearly full: weigh the packet."
        )
    if kind.confidence is Confidence.LOW:
        said.append("What is known of this kind is little: take its days for an order of magnitude.")
    return said
