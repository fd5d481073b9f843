"""The sentences of a report."""

from collections.abc import Iterable

from monitor.library import limit_relative_humidity
from monitor.model.catalogue import Material
from monitor.model.people import Act
from monitor.model.reading import TimeQuality

_TIMES = {
    TimeQuality.SYNCED: "every reading bears its own node's clock",
    TimeQuality.ESTIMATED: "some readings were placed by their node's running time, to some seconds",
    TimeQuality.ARRIVAL: "some readings bear only the time at which they came in",
    TimeQuality.SUSPECT: "some readings were placed by a clock that had jumped: their times are in doubt",
}
_WORST_FIRST = ("damaged", "dry_first", "not_sure", "ready")
_OVERALL = {"damaged": "discard", "dry_first": "dry first", "not_sure": "not sure", "ready": "as is"}


def limit_basis(material: Material) -> str:
    """Where the limit of humidity comes from."""
    source = material.sources.get("limit_pct")
    told = "" if source is None else f" ({source.text}; {source.confidence} confidence)"
    return (
        f"{material.short_name} is the most demanding inside. It prints well up to"
        f" {100.0 * material.limit_content:.2g} % of water{told}, at which it settles in air of"
        f" {100.0 * limit_relative_humidity(material):.1f} %RH."
    )


def recipe(material: Material) -> str:
    """How it is usually dried; the plan for an oven says it for this spool."""
    return (
        f"Usually {material.dry_c:.0f} °C for about {material.dry_s / 3600.0:.0f} h, never above"
        f" {material.max_safe_c:.0f} °C, and never hotter than its maker and its reel allow; plan it on the"
        " oven's page, which counts with this spool's water and today's air."
    )


def time_words(found: Iterable[TimeQuality]) -> str:
    """The worst way in which a reading got its time."""
    ranks = tuple(TimeQuality)
    return _TIMES[max(found, key=ranks.index)]


def overall(verdicts: Iterable[str]) -> str:
    """Of all that is inside: the worst of them."""
    found = set(verdicts)
    return next((_OVERALL[verdict] for verdict in _WORST_FIRST if verdict in found), "nothing inside")


def act_words(act: Act) -> str:
    """What somebody did."""
    told = f"{act.what} {act.on_what}".strip()
    return f"{told} ({act.detail})" if act.detail else told
