"""A site's own figures over the catalogue's: the maker's word wins, and heat safety over both."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from monitor.errors import BadInputError, BadSettingsError, FieldError
from monitor.library import UNKNOWN, Library, load_library, polymer_content
from monitor.model.catalogue import (
    FIGURES,
    Band,
    Confidence,
    FigureKind,
    Material,
    OwnFigure,
    RationalIsotherm,
    Source,
    figure_value,
)

# An oven overshoots by some degrees: this much always lies between drying and the highest safe
# temperature, and between that and softening where a site raises it.
GUARD_C = 5.0
TEXT_MAX = 200
# Two figures of which one must be above the other differ by this much at least, or the curve turns upright.
_APART = 0.01
_HEAT = ("softening_c", "max_safe_c", "dry_c")


def site_library(settings_figures: Sequence[OwnFigure], stored_figures: Iterable[OwnFigure]) -> Library:
    """The catalogue as a site has it: figures of its settings first, then those set on a page, oldest first.

    A bad one in the settings is a BadSettingsError. A stored one was good when it was set: where a new
    catalogue or new settings contradict it now, it is left out with its reason, and the service starts.
    """
    library = _with_settings(load_library(), settings_figures)
    left_out: list[tuple[OwnFigure, str]] = []
    for figure in stored_figures:
        try:
            check_own_figure(library, figure)
            library = with_own_figures(library, [figure])
        except BadInputError as error:
            left_out.append((figure, str(error)))
    return replace(library, left_out=tuple(left_out))


def with_own_figures(library: Library, figures: Iterable[OwnFigure]) -> Library:
    """The library with a site's checked figures on top of those it has; the last one of a figure holds.

    A withdrawn one (value None) uncovers the one in the settings, or else the catalogue's.
    """
    added = tuple(figures)
    own = _standing((*library.own, *added))
    catalogue, materials = load_library().materials, dict(library.materials)
    for key in {figure.material for figure in added}:
        chosen = {figure.figure: figure for figure in own if figure.material == key}
        materials[key] = _adjusted(catalogue[key], chosen)
    materials[UNKNOWN] = _as_cautious_as_all(catalogue[UNKNOWN], materials)
    return replace(library, materials=materials, own=own)


def check_own_figure(library: Library, figure: OwnFigure) -> None:
    """Refuses a figure that may not hold on this library, in one sentence with field and allowed range.

    BadInputError for a material that is not in the catalogue, FieldError for all else.
    """
    material = library.material(figure.material)
    if figure.material == UNKNOWN:
        raise FieldError(
            "material", "unknown stands for what nobody named and stays the most cautious: name the material"
        )
    if figure.figure not in FIGURES:
        raise FieldError("figure", f"{figure.figure[:40]!r} is unknown; one of: {', '.join(FIGURES)}")
    for name, text in (("who", figure.who), ("why", figure.why)):
        if not (text.strip() and len(text) <= TEXT_MAX and text.isprintable()):
            raise FieldError(name, f"must be 1 to {TEXT_MAX} characters in one line")
    catalogue = load_library().material(figure.material)
    if figure.value is not None:
        _check_range(material, catalogue, figure)
    after = with_own_figures(library, [figure]).materials[figure.material]
    contradiction = _contradiction(after, catalogue)
    if contradiction:
        verb = "withdrawn" if figure.value is None else "set so"
        raise FieldError(figure.figure, f"of {material.name} cannot be {verb}: {contradiction}")


def _with_settings(library: Library, figures: Sequence[OwnFigure]) -> Library:
    """All at once, so that their order in the file does not matter."""
    names = [(figure.material, figure.figure) for figure in figures]
    for material, name in names:
        if names.count((material, name)) > 1:
            raise BadSettingsError(f"settings [[figure]] {material} {name}: it stands there twice")
    # Those that are wrong by themselves come first: they are no measure for the others.
    for figure in sorted(figures, key=lambda each: _is_possible(library, each)):
        others = [other for other in figures if other is not figure and _is_possible(library, other)]
        try:
            check_own_figure(with_own_figures(library, others), figure)
        except BadInputError as error:
            raise BadSettingsError(
                f"settings [[figure]] {figure.material} {figure.figure}: {error}"
            ) from None
    return with_own_figures(library, figures)


def _is_possible(library: Library, figure: OwnFigure) -> bool:
    """Good enough to check the others against; what is wrong with it is said when its turn comes."""
    kind = FIGURES.get(figure.figure)
    if kind is None or figure.value is None or figure.material not in library.materials:
        return False
    return kind.lowest <= figure.value <= kind.highest


def _standing(figures: Iterable[OwnFigure]) -> tuple[OwnFigure, ...]:
    """Those that hold or lie under one that holds, oldest first: settings and pages are two layers."""
    standing: dict[tuple[str, str, bool], OwnFigure] = {}
    for figure in figures:
        layer = (figure.material, figure.figure, figure.at_s is None)
        standing.pop(layer, None)
        if figure.value is not None:
            standing[layer] = figure
    return tuple(standing.values())


def _check_range(material: Material, catalogue: Material, figure: OwnFigure) -> None:
    kind = FIGURES[figure.figure]
    low, high, reason = _range(material, catalogue, figure.figure)
    value = figure.value
    if value is None or not low <= value <= high:
        raise FieldError(
            figure.figure,
            f"is {value:g}; for {material.name} allowed are {low:g} to {high:g} {kind.unit}{reason}",
        )


def _range(material: Material, catalogue: Material, name: str) -> tuple[float, float, str]:
    """What one figure may be while the others stay as they are, in its unit, and why no more."""
    kind = FIGURES[name]
    low, high, reason = kind.lowest, kind.highest, ""
    if name == "dry_c":
        high = min(high, material.max_safe_c - GUARD_C)
        reason = f", as {GUARD_C:g} °C stay between it and max_safe_c"
    elif name == "max_safe_c":
        # A softening point raised by the site itself earns no hotter drying.
        raised_c = max(catalogue.max_safe_c, min(catalogue.softening_c, material.softening_c) - GUARD_C)
        high = min(high, raised_c, material.softening_c - GUARD_C)
        reason = f", as {GUARD_C:g} °C stay between it and softening: heat safety first"
    elif name == "softening_c":
        low = max(low, material.max_safe_c + GUARD_C)
        reason = f", as {GUARD_C:g} °C stay between it and max_safe_c"
    elif name == "looser_limit_pct":
        low, reason = max(low, 100.0 * material.limit_content), ", as it is not below limit_pct"
    elif name == "limit_pct":
        high, reason = _limit_high(material, catalogue, high)
    elif name == "water_50_pct" and not _keeps_shape(catalogue):
        high = min(high, 100.0 * material.content_saturated * (1.0 - _APART))
        reason = ", as it stays below water_saturated_pct"
    elif name == "water_saturated_pct" and not _keeps_shape(catalogue):
        low = max(low, 100.0 * material.content_50 * (1.0 + _APART))
        reason = ", as it stays above water_50_pct"
    return _rounded(low, kind, up=True), _rounded(high, kind, up=False), reason


def _limit_high(material: Material, catalogue: Material, high: float) -> tuple[float, str]:
    bounds = [(high, "")]
    if material.looser_limit_content is not None:
        bounds.append((100.0 * material.looser_limit_content, ", as it is not above looser_limit_pct"))
    if _can_reach_limit(catalogue):
        most = 100.0 * material.content_saturated * (1.0 - _APART)
        bounds.append((most, ", as it stays below water_saturated_pct"))
    return min(bounds)


def _rounded(value: float, kind: FigureKind, *, up: bool) -> float:
    """To four digits, inwards: a bound that is printed is itself allowed."""
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 3) if value else 1.0
    share = round(value / step, 6)
    inwards = (math.ceil(share) if up else math.floor(share)) * step
    return float(f"{min(max(inwards, kind.lowest), kind.highest):.6g}")


def _can_reach_limit(material: Material) -> bool:
    """Polypropylene and polystyrene take up less water than their limit, even when saturated."""
    return material.limit_content < material.content_saturated


def _contradiction(material: Material, catalogue: Material) -> str | None:
    """What two figures say against each other, as a clause."""
    if material.content_50 >= material.content_saturated:
        return "water_50_pct would not lie below water_saturated_pct"
    if _can_reach_limit(catalogue) and not _can_reach_limit(material):
        return "limit_pct would not lie below water_saturated_pct"
    if material.looser_limit_content is not None and material.looser_limit_content < material.limit_content:
        return "looser_limit_pct would lie below limit_pct"
    if material.max_safe_c > material.softening_c - GUARD_C:
        return f"{GUARD_C:g} °C would not stay between max_safe_c and softening_c"
    return None


def _adjusted(material: Material, chosen: dict[str, OwnFigure]) -> Material:
    """A material of the catalogue with a site's figures, and what follows from them."""
    members: dict[str, float] = {}
    sources = dict(material.sources)
    for name, figure in chosen.items():
        if figure.value is not None:
            members[FIGURES[name].member] = figure.value * FIGURES[name].times
            sources[name] = Source(text=f"Set here by {figure.who}: {figure.why}", confidence=Confidence.HIGH)
    own = replace(material, sources=sources, **members)  # type: ignore[arg-type]  # members hold floats alone
    return _with_guard(_with_faster_band(_with_water(own, material, chosen), material))


def _with_faster_band(own: Material, material: Material) -> Material:
    ratio = own.diffusivity_m2_s / material.diffusivity_m2_s
    return replace(own, diffusivity_band_m2_s=_scaled(material.diffusivity_band_m2_s, ratio))


def _with_water(own: Material, material: Material, chosen: dict[str, OwnFigure]) -> Material:
    """Isotherm and bands that fit the water figures.

    One figure alone scales a curve that has a shape of its own, and the other figure with it; else the
    curve is bent to pass through both, as the catalogue's are.
    """
    names = [name for name in ("water_50_pct", "water_saturated_pct") if name in chosen]
    if not names:
        return own
    if len(names) == 1 and _keeps_shape(material):
        own = _scaled_curve(own, material, names[0])
    else:
        own = replace(own, isotherm=_through(own.content_50, own.content_saturated, material.isotherm))
    text = f"Follows from what was set here for {' and '.join(names)}"
    sources = own.sources | {"isotherm": Source(text=text, confidence=Confidence.MEDIUM)}
    return replace(
        own,
        content_50_band=_scaled(material.content_50_band, own.content_50 / material.content_50),
        content_saturated_band=_scaled(
            material.content_saturated_band, own.content_saturated / material.content_saturated
        ),
        sources=sources,
    )


def _keeps_shape(material: Material) -> bool:
    """A straight line and a curve fitted to measurements are more than the two figures on them."""
    curve = material.isotherm
    return curve.linear == 0.0 or curve.quadratic != 0.0


def _scaled_curve(own: Material, material: Material, name: str) -> Material:
    is_at_50 = name == "water_50_pct"
    wanted = own.content_50 if is_at_50 else own.content_saturated
    ratio = wanted / polymer_content(material, 0.5 if is_at_50 else 1.0)
    curve = replace(material.isotherm, scale=material.isotherm.scale * ratio)
    scaled = replace(own, isotherm=curve)
    other = "water_saturated_pct" if is_at_50 else "water_50_pct"
    moved = Source(text=f"Follows from what was set here for {name}", confidence=Confidence.MEDIUM)
    if is_at_50:
        scaled = replace(scaled, content_saturated=polymer_content(scaled, 1.0))
    else:
        scaled = replace(scaled, content_50=polymer_content(scaled, 0.5))
    return replace(scaled, sources=own.sources | {other: moved})


def _through(content_50: float, saturated: float, else_curve: RationalIsotherm) -> RationalIsotherm:
    """k a / (1 - b a) through both figures; where none can rise through them, a check refuses the figure."""
    ratio = content_50 / saturated
    if ratio >= 1.0:
        return else_curve
    b = (1.0 - 2.0 * ratio) / (1.0 - ratio)
    return RationalIsotherm(scale=saturated * (1.0 - b), linear=-b)


def _scaled(band: Band, ratio: float) -> Band:
    return Band(low=band.low * ratio, high=band.high * ratio)


def _with_guard(own: Material) -> Material:
    """Drying goes down with the highest safe temperature, so that lowering that is always obeyed."""
    highest_c = own.max_safe_c - GUARD_C
    if own.dry_c <= highest_c:
        return own
    text = f"Taken down to stay {GUARD_C:g} °C below the highest safe temperature set here"
    sources = own.sources | {"dry_c": Source(text=text, confidence=Confidence.HIGH)}
    return replace(own, dry_c=highest_c, sources=sources)


def _as_cautious_as_all(unknown: Material, materials: dict[str, Material]) -> Material:
    """What nobody named may be any of them: no cycle planned for it may harm the one that stands least."""
    for name in _HEAT:
        least = min((m for key, m in materials.items() if key != UNKNOWN), key=lambda m: _figure(m, name))
        if _figure(least, name) < _figure(unknown, name):
            text = f"As for {least.name}, which stands the least of all here"
            sources = unknown.sources | {name: Source(text=text, confidence=Confidence.HIGH)}
            unknown = replace(unknown, **{name: _figure(least, name)}, sources=sources)  # type: ignore[arg-type]  # a float
    return unknown


def _figure(material: Material, name: str) -> float:
    value = figure_value(material, name)
    return math.inf if value is None else value
