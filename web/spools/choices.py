"""What the forms of a spool offer: acts, places with their air, the check list, cautions before heat."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.alarms.wording import humidity
from monitor.library import Library, limit_relative_humidity
from monitor.model.answers import AirAnswer, SpoolAnswer, StatusAnswer
from monitor.model.inventory import Spool
from monitor.model.records import effective
from monitor.model.spool_event import Bagged, Opened, SpoolEvent, Weighed
from web.spools.words import short_name

STEPS_G = ("0.01", "0.1", "1", "2", "5")  # of the scales in workshops
_USUAL_STEP_G = "1"
_FIRST_ACTS = (
    ("moved", "Move"),
    ("used", "Printed"),
    ("weighed", "Weigh"),
    ("dried", "Dried"),
    ("signs", "Signs"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place to move to, with its air."""

    key: str
    name: str
    air: str
    is_fit: bool  # its air keeps this spool under its limit
    is_here: bool


def acts(events: Sequence[SpoolEvent]) -> tuple[tuple[str, str], ...]:
    """What can be told: a bag is either closed or opened."""
    bag = ("opened", "Bag opened") if is_bagged(events) else ("bagged", "Into a bag")
    return (*_FIRST_ACTS, bag, ("spoiled", "Beyond saving"))


def is_bagged(events: Sequence[SpoolEvent]) -> bool:
    """Whether the last word about its bag is that it was sealed."""
    about = [event for event in effective(events) if isinstance(event.what, Bagged | Opened)]
    return bool(about) and isinstance(about[-1].what, Bagged)


def spots(status: StatusAnswer, spool: SpoolAnswer, library: Library) -> tuple[tuple[str, list[Spot]], ...]:
    """Boxes, then rooms and ovens, each with what is known of its air."""
    material = library.materials.get(spool.material)
    limit_pct = None if material is None else 100.0 * limit_relative_humidity(material)

    def spot(key: str, name: str, air: AirAnswer | None) -> Spot:
        known = None if air is None or air.stale else air.humidity_pct
        return Spot(
            key=key,
            name=name,
            air="" if known is None else humidity(known),
            is_fit=known is not None and limit_pct is not None and known <= limit_pct,
            is_here=key == spool.place,
        )

    elsewhere = [spot(room.key, room.name, room.air) for room in status.rooms]
    elsewhere += [spot(oven.key, oven.name, None) for oven in status.ovens]
    groups = (
        ("Into a box", [spot(box.key, box.name, box.air) for box in status.boxes]),
        ("Into a room or an oven", elsewhere),
    )
    return tuple(group for group in groups if group[1])


def step_g(events: Sequence[SpoolEvent]) -> str:
    """The scale that was used last: a workshop has one."""
    weighed = [event.what for event in effective(events) if isinstance(event.what, Weighed)]
    return f"{weighed[-1].resolution_g:g}" if weighed else _USUAL_STEP_G


def steps_g(chosen: str) -> tuple[str, ...]:
    """The usual steps, and the one that is chosen."""
    return STEPS_G if chosen in STEPS_G else (*STEPS_G, chosen)


def cautions(kept: Spool, library: Library) -> tuple[str, ...]:
    """What to mind about heat, the weakest thing first; the maker goes before us."""
    material, reel = library.material(kept.material), library.reels.get(kept.reel)
    name = short_name(library, material.key)
    if reel is not None and reel.max_safe_c < material.max_safe_c:
        highest = (
            f"Never above {reel.max_safe_c:g} °C: that is what its reel stands ({reel.name}); "
            f"{name} itself stands {material.max_safe_c:g} °C."
        )
    else:
        highest = f"Never above {material.max_safe_c:g} °C with {name}. {material.too_hot}"
    return (
        highest,
        f"Ventilate. {material.fumes}",
        "The maker's data sheet goes before these figures. Do not leave it alone in an oven that was not"
        " built for this, and never use one for food again.",
    )
