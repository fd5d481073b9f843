"""A material's care card and its row in the table, in finished words for a customer at a counter."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.estimate.care import Care
from monitor.library import UNKNOWN, Library
from monitor.library.own_figures import GUARD_C
from monitor.model.catalogue import FIGURES, Confidence, Material, OwnFigure, figure_value
from web.inside import sentence
from web.pictures import Picture, about, brief, isotherm_picture, pct, uptake_picture

SURE_WORDS = {
    Confidence.HIGH: "well founded",
    Confidence.MEDIUM: "fair",
    Confidence.LOW: "rough",
}
_ROW_WORDS = {
    Confidence.HIGH: "The figures of this material are well founded.",
    Confidence.MEDIUM: "Some figures of this material are measured, some are handbook knowledge.",
    Confidence.LOW: "Most figures of this material are handbook knowledge: good for a start, not a promise.",
}
# Water at 50 %RH [kg/kg] from which on the next word holds.
_THIRST = ((0.0, "Hardly at all"), (0.0005, "A little"), (0.003, "Quite"), (0.01, "Very"))
_LAW = "The maker's data sheet and your local codes go before this card."
_FOOD = "An oven that has dried plastic is never used for food again."
_AIR = "Dry with the window open or under an extractor; at an unusual smell switch off and look."


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """One material in the table."""

    key: str
    name: str
    is_unknown: bool
    is_own: bool
    water: str
    half: str
    limit: str
    looser: str
    dry: str
    highest: str
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One of the few figures that the card is about."""

    what: str
    figure: str
    more: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureRow:
    """A figure with where it is from."""

    name: str
    words: str
    value: str
    band: str
    source: str
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    key: str
    name: str
    sure: str
    keys: tuple[Key, ...]
    sections: tuple[Section, ...]
    pictures: tuple[Picture, ...]
    figures: tuple[FigureRow, ...]
    note: str


def table_row(material: Material, care: Care, own: Iterable[OwnFigure]) -> TableRow:
    """The material's row; figures of the site itself are marked."""
    looser = material.looser_limit_content
    return TableRow(
        key=material.key,
        name=material.name,
        is_unknown=material.key == UNKNOWN,
        is_own=any(figure.material == material.key for figure in own),
        water=f"{100.0 * material.content_50:.3g}",
        half=brief(care.uptake.half_s),
        limit=f"{100.0 * material.limit_content:.3g}",
        looser="–" if looser is None else f"{100.0 * looser:.3g}",
        dry=f"{material.dry_c:g}",
        highest=f"{material.max_safe_c:g}",
        sure=SURE_WORDS[material.confidence],
    )


def card(library: Library, key: str, care: Care) -> Card:
    """The whole card of one material."""
    material = library.material(key)
    return Card(
        key=key,
        name=material.name,
        sure=_ROW_WORDS[material.confidence],
        keys=_keys(material, care),
        sections=(
            Section(title="How thirsty", sentences=_thirst(material)),
            Section(title="How fast", sentences=_speed(care)),
            Section(title="How to keep it", sentences=_keeping(care)),
            Section(title="How to dry it", sentences=_drying(material, library)),
            Section(title="How dry that gets it", sentences=_floor(material, care)),
            Section(title="Printed wet", sentences=_wet(material)),
            Section(title="Fumes and food", sentences=(material.fumes, _AIR, _FOOD, _LAW)),
        ),
        pictures=(isotherm_picture(material, care), uptake_picture(material, care)),
        figures=tuple(_figure_rows(material)),
        note=material.note or "",
    )


def _keys(material: Material, care: Care) -> tuple[Key, ...]:
    looser = material.looser_limit_content
    if care.limit_humidity < 1.0:
        box = Key(what="Keep it below", figure=_rh(care.limit_humidity), more="in a closed box")
    else:
        box = Key(what="Keep it", figure="anywhere", more="that is not wet")
    more = "" if looser is None else f"prints look right up to {100.0 * looser:.3g} %"
    return (
        box,
        Key(what="Dry it at", figure=f"{material.dry_c:g} °C", more=f"for {_hours(material)} to begin with"),
        Key(what="Never above", figure=f"{material.max_safe_c:g} °C", more="nor above what its reel stands"),
        Key(what="Print it below", figure=f"{100.0 * material.limit_content:.3g} % water", more=more),
    )


def _thirst(material: Material) -> tuple[str, ...]:
    word = next(word for least, word in reversed(_THIRST) if material.content_50 >= least)
    band, grams = material.content_50_band, 1000.0 * material.content_50
    times = material.content_50 / material.limit_content
    compared = (
        f"That is {times:.2g} times what prints well."
        if times >= 1.05
        else "That is still no more than prints well."
    )
    return (
        f"{word}. In a room at 50 %RH it ends at about {100 * material.content_50:.3g} % of water "
        f"({pct(100 * band.low)} to {pct(100 * band.high)} in the literature): {grams:.2g} g in a kilogram. "
        f"In wet air it goes up to {pct(100 * material.content_saturated)} %.",
        compared,
    )


def _speed(care: Care) -> tuple[str, ...]:
    uptake = care.uptake
    half = f"A full, dry kilogram, left out at 50 %RH, is half-way there after {about(uptake.half_s)}."
    if uptake.mean_over_s is None or uptake.outer_over_s is None:
        passed = "It does not pass its printing limit there."
    else:
        outer = about(uptake.outer_over_s)
        passed = (
            f"Its outer windings, which print first, pass the limit after {outer}, "
            f"the whole spool on average after {about(uptake.mean_over_s)}."
        )
    return half, passed, "Such times are right within a factor of 2 to 3."


def _keeping(care: Care) -> tuple[str, ...]:
    if care.limit_humidity >= 1.0:
        return ("Any shelf will do: even in saturated air it stays under its limit.",)
    below = f"In a closed box whose air stays below {_rh(care.limit_humidity)}."
    if care.limit_humidity < 0.15:
        below += " That takes fresh desiccant and a tight lid."
    looser = care.looser_limit_humidity
    softer = () if looser is None else (f"Below {_rh(looser)} prints still look right.",)
    return (below, *softer, "A dry box keeps it as it is; wet filament is dried before it goes in.")


def _drying(material: Material, library: Library) -> tuple[str, ...]:
    return (
        f"At {material.dry_c:g} °C. Begin with {_hours(material)}, a figure for loose pellets: "
        "a full reel takes longer, so weigh it or try a print.",
        f"Never above {material.max_safe_c:g} °C. {material.too_hot} "
        f"It softens at {material.softening_c:g} °C.",
        _reels(material, library),
        "Let it cool in a closed dry box: warm and dry it drinks fastest.",
    )


def _reels(material: Material, library: Library) -> str:
    """Which reels would give way at this material's drying temperature, an oven's overshoot included."""
    weak: dict[float, list[str]] = {}
    for reel in library.reels.values():
        if reel.max_safe_c < material.dry_c + GUARD_C:
            weak.setdefault(reel.max_safe_c, []).append(reel.name)
    if not weak:
        return "Every usual reel stands that."
    listed = "; ".join(f"{', '.join(weak[highest_c])} ({highest_c:g} °C)" for highest_c in sorted(weak))
    return f"The weakest thing in the oven decides. Reels too weak for that with some overshoot: {listed}."


def _floor(material: Material, care: Care) -> tuple[str, ...]:
    floor, limit = 100.0 * care.floor, 100.0 * material.limit_content
    left = (
        f"Room air of 23 °C and 50 %RH, merely heated to {material.dry_c:g} °C, leaves {pct(floor)} % "
        f"however long it takes"
    )
    over = ", which is above it" if floor <= limit < 100.0 * care.muggy_floor else ""
    muggy = f"From a room at 28 °C and 70 %RH it would be {pct(100.0 * care.muggy_floor)} %{over}."
    if floor <= limit:
        return f"{left}: under the limit of {limit:.3g} %, so a plain oven will do.", muggy
    looser = material.looser_limit_content
    softer = ""
    if looser is not None and care.floor <= looser:
        softer = f" It is under the {100.0 * looser:.3g} % at which prints look right."
    return (
        f"{left}: above the limit of {limit:.3g} %. It takes dried air, or desiccant in the chamber.{softer}",
        muggy,
    )


def _wet(material: Material) -> tuple[str, ...]:
    lasting = (
        "That damage is for good: drying mends the next print, not this part."
        if material.is_excess_permanent
        else "Dry the spool and print again: the plastic on it has not suffered for good."
    )
    return sentence(material.excess_water), lasting


def _figure_rows(material: Material) -> Iterable[FigureRow]:
    bands = {
        "water_50_pct": (material.content_50_band, 100.0),
        "water_saturated_pct": (material.content_saturated_band, 100.0),
        "diffusivity_m2_s": (material.diffusivity_band_m2_s, 1.0),
    }
    for name, kind in FIGURES.items():
        value = figure_value(material, name)
        if value is None:
            continue
        band, times = bands.get(name, (None, 1.0))
        source = material.sources[name]
        yield FigureRow(
            name=name,
            words=kind.words,
            value=f"{value:.4g} {kind.unit}",
            band="" if band is None else f"{times * band.low:.3g} to {times * band.high:.3g}",
            source=source.text,
            sure=SURE_WORDS[source.confidence],
        )
    source = material.sources["isotherm"]
    yield FigureRow(
        name="isotherm",
        words="Curve of water over humidity",
        value="",
        band="",
        source=source.text,
        sure=SURE_WORDS[source.confidence],
    )


def choices() -> Mapping[str, str]:
    """What a site may set, by its name in the files."""
    return {name: f"{kind.words} [{kind.unit}]" for name, kind in FIGURES.items()}


def _rh(share: float) -> str:
    return humidity(100.0 * share)


def _hours(material: Material) -> str:
    return f"{material.dry_s / 3600.0:g} h"
